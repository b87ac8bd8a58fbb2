// Where the focus goes: to the next field on Enter, and after a button to the field where the tape is read on.
// What is typed before that field is there waits for it.
import { isRunLength } from "./names.js";

export const following = (form, field) => {
  const fields = [...form.querySelectorAll("input:not([type=hidden]), select, .actions .button")].filter((one) => one.offsetParent && !one.disabled && one.tabIndex >= 0);
  return fields[fields.indexOf(field) + 1];
};

const last = (form, selector) => [...form.querySelectorAll(selector)].pop();

// Returns the field to go to after an edit.
export const placeOf = (form, edit) => {
  const [verb, argument] = edit.split(":");
  const place = (argument || "").split("/")[0];
  const pick = {
    "add-run": () => [...form.querySelectorAll("input[name$='/length_mm']")].filter((one) => isRunLength(one.name)).pop(),
    "add-gate": () => last(form, `input[name^='runs/${place}/gates/'][name$='/from_mm']`),
    "gate-in": () => last(form, "input[name$='/opening_mm']"),
    "add-station": () => last(form, `input[name^='runs/${place}/levels/'][name$='/0']`),
    "add-reading": () => last(form, `input[name^='runs/${place}/book/'][name$='/at_mm']`),
    "add-retrofit": () => last(form, "input[name$='/bays_mm']"),
    fix: () => null,
    meet: () => null,
    show: () => place === "strength" ? form.querySelector("#strength input, #strength select:not([name='strength/method'])") : form.querySelector(`#run-${place} .fields input[name*='/levels/'], #run-${place} input[name*='/book/']`),
  }[verb];
  return pick ? pick() : document.getElementById(`run-${place}`);
};

// What is typed before its field is there: a button that brings a field takes the keys until the field comes.

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
