// Checklist marks and as-built entries are saved on this phone first. One queue sends them when there is a connection.
// The later of two marks of one item counts. Each entry has its own id, so that it is recorded once even if sent twice.
import { growingPause } from "../retry.js";
import { describe, entriesAfter, marksAfter } from "./build-queue.js";

const form = document.getElementById("ticks");
const key = `draft:build:${form.dataset.job}`, entriesKey = `${key}:entries`;
const progress = document.getElementById("progress");
const count = document.getElementById("count");
const record = document.getElementById("record");
const unsent = document.getElementById("unsent");
const read = (name, empty) => { try { return JSON.parse(localStorage.getItem(name)) || empty; } catch { return empty; } };
const write = (name, kept) => {
  if (Object.keys(kept).length) localStorage.setItem(name, JSON.stringify(kept)); else localStorage.removeItem(name);
};
const savedMarks = () => read(key, {}), savedEntries = () => read(entriesKey, []);
const boxes = () => form.querySelectorAll("input[name=done]");
const show = (place, done) => {
  for (const box of boxes()) if (box.value === place) { box.checked = done; box.closest(".tickable")?.classList.toggle("done", done); }
};
const showProgress = (text) => {
  const places = new Map([...boxes()].map((box) => [box.value, box.checked]));
  count.textContent = `${[...places.values()].filter(Boolean).length} of ${places.size}`;
  progress.textContent = text;
};
const waitingCount = () => Object.keys(savedMarks()).length + savedEntries().length;
const waiting = () => {
  const left = waitingCount();
  return left ? `${left} not sent, saved on this phone.` : "All changes sent.";
};
const token = () => (document.cookie.match(/(?:^|; )csrftoken=([^;]+)/) || [])[1] || form.querySelector("[name=csrfmiddlewaretoken]").value;

// -- entries that are not sent yet; a rejected entry shows its errors and can be edited again
const put = (tag, text, more) => Object.assign(document.createElement(tag), { textContent: text, ...more });
const list = () => {
  const kept = savedEntries();
  unsent.hidden = !kept.length;
  unsent.querySelector("ul").replaceChildren(...kept.map((entry) => {
    const row = put("li", `${describe(entry)} `);
    row.dataset.entry = entry.id;
    if (entry.faults) row.append(put("strong", `Not recorded: ${entry.faults.join(" ")} `));
    row.append(put("button", entry.take_back ? "Cancel undo" : "Change", { type: "button", className: "button quiet" }));
    return row;
  }));
};
const drop = (ids) => write(entriesKey, savedEntries().filter((entry) => !ids.includes(entry.id)));

let busy = false;
let sendAgain = false; // send again after the current request: the connection may be back before that request fails
const pause = growingPause(4_000, 60_000);
let later = 0;
const applyResponse = (marks, body) => {
  const since = marksAfter(savedMarks(), marks);
  write(key, since);
  for (const [place, done] of Object.entries(body.marks)) if (!(place in since)) show(place, done);
  write(entriesKey, entriesAfter(savedEntries(), body.entries || {}));
  if (body.built) document.getElementById("built").innerHTML = body.built;
  list();
  // the page saved for offline use was made before these marks were sent
  if (!waitingCount()) navigator.serviceWorker?.ready.then(({ active }) => active.postMessage([location.href]));
};
const send = async () => {
  clearTimeout(later);
  const marks = savedMarks(), entries = savedEntries().filter((entry) => !entry.faults);
  sendAgain = busy;
  if (busy || !(Object.keys(marks).length + entries.length)) return showProgress(waiting());
  busy = true;
  try {
    const response = await fetch(form.action, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
      body: JSON.stringify({ marks: Object.entries(marks).map(([place, mark]) => ({ place, ...mark })), entries: entries.slice(0, 200) }),
    });
    if (response.redirected || !(response.headers.get("Content-Type") || "").includes("json")) return showProgress(`${waiting()} Sign in again to send.`);
    const body = await response.json();
    if (!response.ok) return showProgress(`${waiting()} ${(body.faults || []).join(" ")}`);
    applyResponse(marks, body);
    pause.reset();
    showProgress(waiting());
  } catch {
    // a phone does not always report that the connection is back
    later = setTimeout(send, pause.next());
    showProgress(waiting());
  } finally {
    busy = false;
    if (sendAgain) send();
  }
};
const saveEntry = (entry) => {
  const id = [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  try { write(entriesKey, [...savedEntries(), { ...entry, id }]); } catch { showProgress("This browser cannot save offline: stay connected."); return false; }
  list();
  showProgress(waiting());
  send();
  return true;
};

form.addEventListener("change", (event) => {
  if (event.target.name !== "done") return;
  const marks = savedMarks();
  marks[event.target.value] = { done: event.target.checked, at: Date.now() };
  write(key, marks);
  show(event.target.value, event.target.checked);
  showProgress(waiting());
  send();
});
form.addEventListener("submit", (event) => { event.preventDefault(); send(); });

// -- as-built entries: checked like on the server, because an error may otherwise come hours later
const FIELDS = ["kind", "role", "quantity", "location", "note"];
const complete = () => {
  const { kind, role, quantity, note } = record.elements, changed = kind.value === "changed";
  note.setCustomValidity(changed && !note.value.trim() ? "Enter what was changed." : "");
  role.setCustomValidity(!changed && !role.value ? "Select a part." : "");
  quantity.setCustomValidity(!changed && !/^[\d\s.,]*[1-9][\d\s.,]*$/.test(quantity.value.trim()) ? "Enter a quantity." : "");
  return record.reportValidity();
};
if (record) {
  record.addEventListener("input", () => { for (const name of FIELDS) record.elements[name].setCustomValidity(""); });
  record.noValidate = true; // complete() checks the form with our own messages
}
document.addEventListener("submit", (event) => {
  const takes = event.target.matches("[data-take-back]");
  if (event.target !== record && !takes) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  if (takes) {
    const ref = event.submitter.value, row = event.target.closest("tr");
    if (!savedEntries().some((entry) => entry.take_back === ref)) saveEntry({ take_back: ref, words: `Undo entry: ${row.cells[0].textContent.trim()}` });
    return;
  }
  if (!complete()) return;
  const typed = Object.fromEntries(FIELDS.map((name) => [name, record.elements[name].value.trim()]));
  if (saveEntry({ ...typed, kindWord: record.elements.kind.selectedOptions[0].textContent })) record.reset();
}, true);
unsent.addEventListener("click", (event) => {
  const row = event.target.closest("button") && event.target.closest("[data-entry]");
  const entry = row && savedEntries().find((item) => item.id === row.dataset.entry);
  if (!entry) return;
  if (busy && !entry.faults) return showProgress("This entry is being sent.");
  if (!entry.take_back && record) {
    for (const name of FIELDS) record.elements[name].value = entry[name] || "";
    record.elements.kind.focus();
  }
  drop([entry.id]);
  list();
  showProgress(waiting());
});

for (const [place, mark] of Object.entries(savedMarks())) show(place, mark.done);
list();
for (const name of ["online", "focus"]) window.addEventListener(name, send);
document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
send();

const saveForOffline = async () => {
  if (!("serviceWorker" in navigator)) return;
  await navigator.serviceWorker.register(form.dataset.worker, { scope: "/" });
  const { active } = await navigator.serviceWorker.ready;
  navigator.serviceWorker.addEventListener("message", (event) => {
    if (event.data === "saved") document.documentElement.dataset.savedOffline = "yes";
  });
  const files = performance.getEntriesByType("resource").map((entry) => entry.name);
  active.postMessage([location.href, ...files]);
};
saveForOffline().catch(() => {});
