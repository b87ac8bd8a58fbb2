// Rules for the scripts of the pages. `make lint` runs it.
import js from "@eslint/js";
import globals from "globals";

export default [
  js.configs.recommended,
  {
    files: ["**/static/**/*.js"],
    languageOptions: { globals: globals.browser, sourceType: "module" },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: { complexity: ["error", 16], eqeqeq: "error", "no-console": "error", "no-var": "error", "prefer-const": "error" },
  },
  {
    files: ["**/offline-worker.js"],
    languageOptions: { globals: globals.serviceworker },
  },
  {
    files: ["tests/**/*.mjs"],
    languageOptions: { globals: globals.node },
  },
];
