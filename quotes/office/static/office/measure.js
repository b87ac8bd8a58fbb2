// The measure sheet: Enter moves on, readings are echoed, and what is typed is kept in the browser until the server has it.
// Without this file the sheet works too, with its Draw button.
import { growingPause } from "../retry.js";
import { changedSince, draftStore, entriesOf, isEdited, toRestore } from "./measure/draft.js";
import "./measure/drawing.js";
import { createTypeAhead, following, placeOf } from "./measure/focus.js";
import { isInEntries, isRunId, nameAfter } from "./measure/names.js";
import { addRun } from "./measure/runs.js";
import { isUnsent, markOld, say, sayWithLink, showEchoes } from "./measure/state.js";

const form = document.getElementById("typed");
const ref = form.dataset.measure;
const draft = draftStore(() => localStorage, `draft:${ref}`);
const typeAhead = createTypeAhead(form);
const entries = () => entriesOf(new FormData(form));
const NOT_SENT = "saved on this device, not sent yet";
let typed = 0, sent = 0;
const remember = () => {
  typed += 1;
  if (!isUnsent()) say("typing", false);
  if (!draft.write(entries())) say("this browser cannot save offline: stay connected", true);
};

// -- narrow screens get a drawing of their own size
const narrow = window.matchMedia("(max-width: 48rem)");
const size = () => { document.cookie = `narrow=${narrow.matches ? "1; max-age=31536000" : "; max-age=0"}; path=/; SameSite=Lax`; };
size();
narrow.addEventListener("change", () => { size(); ask("draw", { again: "1" }); });

const addRunHere = (way) => {
  const field = addRun(form, way);
  if (!field) return false;
  field.focus();
  remember();
  return true;
};

// -- what is typed while an answer is on its way stands, wherever the answer puts its field
const since = new Map();
const putBack = (edit) => {
  for (const [name, value] of [...since]) {
    const now = nameAfter(name, edit), field = now && form.elements.namedItem(now);
    since.delete(name);
    if (now) since.set(now, value);
    if (field && field.value !== undefined) field.value = value;
  }
};

// -- asking the server: one request after the other, each with the button that was pressed for it and no other
const asks = new Map();
let number = 0, busy = false, current = { what: "draw" };
const ask = (what, extra) => {
  if (!window.htmx) return;
  number += 1;
  const edit = { what, from: document.activeElement, texts: [] };
  asks.set(String(number), edit);
  if (/^(add|gate)-/.test(what)) typeAhead.begin(edit);
  window.htmx.ajax("POST", form.action, { source: form, swap: "none", values: { asking: number, ...extra } }).catch(() => {});
};
// htmx forgets which button was pressed once the focus moves on, and a queued request would only draw
form.addEventListener("submit", (event) => {
  if (!window.htmx || !event.submitter) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  ask(event.submitter.value || "draw", { again: "1" });
}, true);
// ... or remembers it while the focus stays on it, and would press it again with everything typed before
document.body.addEventListener("htmx:configRequest", (event) => {
  if (event.detail.elt !== form) return;
  const parameters = event.detail.parameters, own = asks.get(parameters.asking);
  asks.delete(parameters.asking);
  delete parameters.asking;
  parameters.do = own ? own.what : "draw";
  if (parameters.do === "draw" && sent === typed && !parameters.again) { event.preventDefault(); return; }
  current = own || { what: "draw" };
  busy = true;
  sent = typed;
  since.clear();
  parameters.csrfmiddlewaretoken = event.detail.headers["X-CSRFToken"] = window.deskToken() || parameters.csrfmiddlewaretoken;
  const here = document.activeElement?.closest("fieldset[data-run]");
  parameters.live = here ? here.dataset.run : "";
  if (narrow.matches) parameters.narrow = "1";
});

// -- no answer: it stays in this browser and is tried again by itself; what was calculated before is marked as old
let answered = new Map(entries()), retry = 0;
const pause = growingPause(4_000, 30_000);
const failed = () => {
  busy = false;
  remember();
  const edit = current;
  current = { what: "draw" };
  const added = /^add-run:/.test(edit.what) && addRunHere(edit.what.split(":")[1]);
  if (added) typeAhead.finish(edit, document.activeElement);
  else if (typeAhead.hasFocus() && edit.from) edit.from.focus();
  markOld(form, true, changedSince(answered, entries()));
  say(added || isInEntries(edit.what) ? NOT_SENT : `${NOT_SENT}: press the button again when you are connected`, true);
  clearTimeout(retry);
  retry = setTimeout(send, pause.next());
};
for (const name of ["sendError", "timeout", "sendAbort"]) document.body.addEventListener(`htmx:${name}`, (event) => { if (event.detail.elt === form) failed(); });
document.body.addEventListener("htmx:responseError", (event) => {
  if (event.detail.elt !== form) return;
  const { status } = event.detail.xhr;
  failed();
  if (status !== 401 && status !== 403) return;
  clearTimeout(retry);
  sayWithLink("signed out, saved on this device: ", { href: "/sign-in", target: "_blank", textContent: "sign in again" });
});
let refreshing = 0;
document.body.addEventListener("htmx:afterRequest", (event) => {
  if (event.detail.elt !== form) return;
  busy = false;
  if (!event.detail.successful) return;
  land();
  pause.reset();
  clearTimeout(retry);
  if (event.detail.xhr.status === 409) return sayWithLink("", { href: "#conflict", textContent: "edited in two places: choose a version" });
  if (sent !== typed) return;
  answered = new Map(entries());
  markOld(form, false);
  draft.forget();
  say("saved", false);
  clearTimeout(refreshing);
  if (navigator.serviceWorker?.controller) {
    refreshing = setTimeout(() => fetch(location.pathname, { headers: { "X-Refresh": "1" } }).catch(() => {}), 1500);
  }
});
document.body.addEventListener("htmx:beforeSwap", (event) => {
  if (event.detail.xhr.status === 409) { event.detail.shouldSwap = true; event.detail.isError = false; }
});

// -- the answer: the focus stays if the user went on to another field in the meantime
let open = [], at = null, whole = false;
document.body.addEventListener("htmx:oobBeforeSwap", (event) => {
  if (!event.detail.target || event.detail.target.id !== "fields") return;
  const field = document.activeElement;
  open = [...form.querySelectorAll("details[open][id]")].map((one) => one.id);
  const stays = field.form === form && field.name && field.matches("input, select, textarea") && (field !== current.from || since.has(field.name));
  at = stays ? { name: nameAfter(field.name, current.what), from: field.selectionStart, to: field.selectionEnd } : null;
  whole = true;
});
document.body.addEventListener("htmx:oobAfterSwap", (event) => {
  if (event.target.id !== "fields" || event.detail.target.id !== "fields") return;  // comes once for every part that was swapped before
  for (const id of open) { const one = document.getElementById(id); if (one) one.open = true; }
  putBack(current.what);
});
document.body.addEventListener("htmx:afterSwap", (event) => {
  if (event.target.id && /^more-/.test(event.target.id)) putBack("");
});
// in the same breath as the swap: no key falls between the old field and the new one
const land = () => {
  const echoes = document.getElementById("echoes"), field = at && form.elements.namedItem(at.name);
  if (whole) echoes.replaceChildren();  // the fields came with their own
  else if (echoes) showEchoes(form, echoes);
  const target = whole ? placeOf(form, current.what) : null, last = whole ? typeAhead.finish(current, target) : null;
  if (field) {
    field.focus({ preventScroll: true });
    if (field.setSelectionRange && at.from !== null) field.setSelectionRange(at.from, at.to);
  } else if (whole) goTo(target, last);
  const wanted = document.querySelector("[data-focus]");
  if (wanted) {
    wanted.removeAttribute("data-focus");
    if (current.what !== "draw") wanted.focus();
  }
  if (whole && typeAhead.isWaiting() && !typeAhead.hasFocus() && !field) typeAhead.focus();
  at = null;
  whole = false;
};
const goTo = (field, last) => {
  if (last || field) {
    (last || field).focus();
    if (!last && field.select && field.value) field.select();
  } else if (document.activeElement === document.body || typeAhead.hasFocus()) document.getElementById("drawing").focus({ preventScroll: true });
};

// -- typing
form.addEventListener("input", (event) => {
  if (!event.target.name) return;
  since.set(event.target.name, event.target.value);
  remember();
  if (!isRunId(event.target.name)) return;
  const run = event.target.closest("fieldset[data-run]");  // what is drawn is found by the run's name
  run.dataset.run = event.target.value;
  run.querySelector("legend").textContent = `Run ${event.target.value}`;
});
// a second press of the same button, by a double click or a key held down, is one press
form.addEventListener("click", (event) => { if (event.detail > 1 && event.target.closest("button[name=do]")) event.preventDefault(); });
form.addEventListener("keydown", (event) => { if (event.repeat && event.key === "Enter" && event.target.matches("button")) event.preventDefault(); });
// of many runs only those near the one that is typed in are in elevation
form.addEventListener("focusin", (event) => {
  const run = event.target.closest("fieldset[data-run]"), part = document.querySelector("#drawing [data-drawn]");
  if (run && part && !part.dataset.drawn.split(" ").includes(run.dataset.run)) ask("draw", { again: "1" });
});
form.addEventListener("change", (event) => {
  const ground = /^runs\/(\d+)\/ground$/.exec(event.target.name || "");
  if (ground) ask(`show:${ground[1]}`);
  else if (event.target.name === "strength/method") ask("show:strength");
});
form.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches("input:not([type=hidden]), select")) return;
  event.preventDefault();
  const next = following(form, event.target);
  if (next) { next.focus(); if (next.select) next.select(); }
});

// -- a draft as a file, for a browser that may forget
const save = document.getElementById("export");
if (save) {
  save.hidden = false;
  save.addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([JSON.stringify(Object.fromEntries(entries()), null, 1)], { type: "application/json" }));
    link.download = `measure-${ref}.json`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
  });
}

// -- what was not sent when the page was left
const fill = (kept) => {
  const runs = kept.entries.filter(([name]) => isRunId(name)).length;
  while (form.querySelectorAll("fieldset[data-run]").length < runs && form.querySelector("fieldset[data-run]")) addRunHere();
  for (const [name, value] of toRestore(kept)) {
    const field = form.elements.namedItem(name);
    if (field && field.value !== undefined) field.value = value;
  }
};
const send = () => {
  const kept = draft.read();
  if (kept && window.htmx && !busy) ask("restore", Object.fromEntries(kept.entries));
};
const kept = draft.read();
if (kept) {
  fill(kept);
  draft.write(kept.entries, kept.at);
  markOld(form, true, changedSince(answered, entries()));
  say(NOT_SENT, true);
  send();
} else if ([...form.elements].some(isEdited)) {  // typed before this script was loaded
  remember();
  ask("draw", { again: "1" });
}
document.addEventListener("measure:ask", (event) => ask(event.detail));
document.addEventListener("click", (event) => { if (event.target.closest("[data-drop-draft]")) draft.forget(); });
window.addEventListener("online", send);
document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
if (navigator.storage?.persist) navigator.storage.persist().catch(() => {});
if (navigator.serviceWorker) navigator.serviceWorker.register("/offline-worker.js", { scope: "/" }).catch(() => {});
