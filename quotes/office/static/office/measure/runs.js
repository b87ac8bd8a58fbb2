// A run that is added without a connection: the same fields and values as the server would give it (measure_edits.py).
import { nextRunId } from "./names.js";
import { resetEcho } from "./state.js";

const fresh = (html, from, to) => html.replaceAll(from, to);
export const addRun = (form, way) => {
  const runs = form.querySelectorAll("fieldset[data-run]");
  if (!runs.length) return null;
  const last = runs[runs.length - 1], number = runs.length, was = number - 1;
  const copy = document.createElement("template");
  copy.innerHTML = fresh(fresh(last.outerHTML, `runs/${was}/`, `runs/${number}/`), `f-runs-${was}-`, `f-runs-${number}-`).replaceAll(`run-${was}"`, `run-${number}"`).replaceAll(`ways-${was}"`, `ways-${number}"`);
  const run = copy.content.firstElementChild;
  for (const one of run.querySelectorAll("fieldset.inner, .notice, .tape")) one.remove();
  for (const one of run.querySelectorAll("input[name*='/levels/'], input[name*='/book/']")) one.closest(".field").remove();
  if (!run.querySelector("input[name$='/turn_deg']")) {
    const turn = document.createElement("template");
    turn.innerHTML = fresh(fresh(document.getElementById("turn").innerHTML, "runs/0/", `runs/${number}/`), "f-runs-0-", `f-runs-${number}-`);
    run.querySelector("input[name$='/length_mm']").closest(".field").after(turn.content);
  }
  for (const input of run.querySelectorAll("input")) input.value = "";
  for (const list of run.querySelectorAll("select")) list.selectedIndex = 0;
  for (const echo of run.querySelectorAll(".echo")) resetEcho(echo);
  const free = nextRunId(new Set([...form.elements].filter((one) => /^(runs|retrofits)\/\d+\/id$/.test(one.name)).map((one) => one.value)));
  run.dataset.run = free;
  run.querySelector("legend").textContent = `Run ${free}`;
  run.querySelector("input[name$='/id']").value = free;
  last.after(run);
  if (way === "corner") {
    form.elements.namedItem(`runs/${was}/end`).value = form.elements.namedItem(`runs/${number}/start`).value = "corner";
    form.elements.namedItem(`runs/${number}/turn_deg`).value = document.getElementById("turn").content.querySelector("input").value;
  }
  return run.querySelector("input[name$='/length_mm']");
};
