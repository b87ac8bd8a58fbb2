// Where the focus goes: to the next field on Enter, and after a button to the field where the tape is read on.
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
