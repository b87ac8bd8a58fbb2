// The drawing of the measure sheet: a tap in a bay makes a gate there, a tap on a gate goes to its fields, keys do the same.
// It stays where it was scrolled to, and stays up while what is typed can't be drawn.
const form = document.getElementById("typed"), drawing = () => document.getElementById("drawing");
const ask = (what) => document.dispatchEvent(new CustomEvent("measure:ask", { detail: what }));

const tap = (mark) => {
  if (mark.dataset.gate) {
    const found = /^(.*)-G(\d+)$/.exec(mark.dataset.gate);
    const run = found && form.querySelector(`fieldset[data-run="${CSS.escape(found[1])}"]`);
    const field = run?.querySelector(`input[name$='/gates/${found[2] - 1}/from_mm']`);
    if (field) field.focus();
    return;
  }
  ask(`gate-in:${mark.dataset.bay}`);
};
document.addEventListener("click", (event) => {
  const mark = event.target.closest("#drawing [data-bay], #drawing [data-gate]");
  if (mark) tap(mark);
  const place = event.target.closest("[data-show]"), there = place && bays().find((one) => place.dataset.show === (one.dataset.bay || one.dataset.gate));
  if (there) { event.preventDefault(); stepTo(there); }
});

// -- the same by keys: Enter on the drawing goes to its first bay, arrows from bay to bay, Enter makes the gate, Escape leaves
const bays = () => {
  const seen = new Set(), marks = [...drawing().querySelectorAll("svg:last-of-type [data-bay], svg:last-of-type [data-gate]")];
  const once = marks.filter((mark) => { const name = mark.dataset.bay || mark.dataset.gate; return !seen.has(name) && seen.add(name); });
  const box = new Map(once.map((mark) => [mark, mark.getBoundingClientRect()]));
  const inOrder = (one, other) => (box.get(one).bottom < box.get(other).top ? -1 : box.get(one).top > box.get(other).bottom ? 1 : box.get(one).left - box.get(other).left);
  return once.sort(inOrder);
};
const stepTo = (mark) => {
  if (!mark) return;
  mark.setAttribute("tabindex", "-1");
  mark.setAttribute("role", "button");
  mark.setAttribute("aria-label", mark.dataset.gate ? `Gate ${mark.dataset.gate}: go to its fields` : `Bay ${mark.dataset.bay}: add gate here`);
  mark.focus();
  mark.scrollIntoView({ block: "nearest", inline: "nearest" });
};
const byKeys = {
  ArrowRight: (list, at) => stepTo(list[Math.min(at + 1, list.length - 1)]),
  ArrowLeft: (list, at) => stepTo(list[Math.max(at - 1, 0)]),
  Home: (list) => stepTo(list[0]),
  End: (list) => stepTo(list[list.length - 1]),
  Enter: (list, at) => (at < 0 ? stepTo(list[0]) : tap(list[at])),
  Escape: () => drawing().focus(),
};
document.addEventListener("keydown", (event) => {
  if (!event.target.closest("#drawing") || event.ctrlKey || event.altKey || event.metaKey) return;
  const list = bays(), at = list.indexOf(event.target), go = byKeys[event.key];
  if (!go || (at < 0 && event.key !== "Enter")) return;
  event.preventDefault();
  go(list, at);
});

// -- a new drawing: an incomplete entry keeps the last one, and a narrow page scrolls to the run that is edited
const narrow = window.matchMedia("(max-width: 48rem)");
let scrolled = [0, 0], shown = "", mark = "";
document.body.addEventListener("htmx:oobBeforeSwap", (event) => {
  const { target, fragment } = event.detail;
  if (!target || target.id !== "drawing") return;
  if (target.querySelector("svg") && !fragment.querySelector("svg")) {
    event.detail.shouldSwap = false;
    if (!target.querySelector(".before")) target.insertAdjacentHTML("afterbegin", '<p class="before small">Last valid drawing. Correct the marked fields to update it.</p>');
    return;
  }
  const here = document.activeElement;
  scrolled = [target.scrollLeft, target.scrollTop];
  mark = target.contains(here) ? here.dataset.bay || here.dataset.gate || "drawing" : "";
});
document.body.addEventListener("htmx:oobAfterSwap", (event) => {
  if (event.target.id !== "drawing" || event.detail.target.id !== "drawing") return;
  const now = drawing(), live = now.querySelector(".drawing-elevation .d-live"), strip = live?.closest(".g-strip");
  [now.scrollLeft, now.scrollTop] = scrolled;
  const run = document.activeElement?.closest("fieldset[data-run]"), name = run ? run.dataset.run : "";
  if (narrow.matches && strip && name !== shown) now.scrollTop += strip.getBoundingClientRect().top - now.getBoundingClientRect().top - 8;
  if (name) shown = name;
  if (!mark) return;
  const again = bays().find((one) => mark === (one.dataset.bay || one.dataset.gate));
  if (again) stepTo(again); else now.focus({ preventScroll: true });
});
