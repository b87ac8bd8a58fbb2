// What is typed before its field is there: a button that brings a field takes the keys until the field comes.
import { following } from "./focus.js";

export const createTypeAhead = (form) => {
  const input = Object.assign(document.createElement("input"), { className: "ahead", inputMode: "decimal", autocomplete: "off", tabIndex: -1 });
  input.setAttribute("aria-label", "Next field (loading)");
  form.after(input);
  let waiting = null;
  const next = () => {
    if (waiting) waiting.texts.push(input.value);
    input.value = "";
  };
  input.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    next();
  });
  const focus = () => input.focus({ preventScroll: true });
  return {
    hasFocus: () => document.activeElement === input,
    isWaiting: () => !!waiting,
    focus,
    // takes the keys for an edit that was just asked for
    begin(edit) {
      next();
      waiting = edit;
      focus();
    },
    // writes the texts into the field and those after it; returns the last one, or null if nothing was typed
    finish(edit, field) {
      const texts = waiting === edit ? [...edit.texts, input.value] : edit.texts;
      if (waiting === edit) { waiting = null; input.value = ""; }
      let at = field;
      texts.forEach((text, place) => {
        if (place && at) at = following(form, at);
        if (!text || !at || !at.matches("input")) return;
        at.value = text;
        at.dispatchEvent(new Event("input", { bubbles: true }));
      });
      return texts.some((text) => text) || texts.length > 1 ? at : null;
    },
  };
};
