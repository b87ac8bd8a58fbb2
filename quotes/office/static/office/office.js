// For every page of a signed-in user. Escape and a tap elsewhere close an open list. A form is sent once, and its entries are
// restored if the session had ended. Signing out warns of unsent changes and removes the data of this business.
(() => {
  "use strict";
  const closeLists = (except) => {
    for (const list of document.querySelectorAll("details.who[open]")) if (list !== except) list.open = false;
  };
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    const open = document.querySelector("details.who[open]");
    if (open) { open.open = false; open.querySelector("summary").focus(); }
  });
  document.addEventListener("click", (event) => closeLists(event.target.closest("details.who")));

  // The token of now: signing in again, in another tab too, changes it, and this page may be older than that.
  window.deskToken = () => (/(?:^|; )csrftoken=([^;]*)/.exec(document.cookie) || [])[1] || "";

  // -- a form is sent once, however often its button is pressed
  const LOCKED_MS = 8000;
  const page = `sent:${location.pathname}`;
  const session = (act) => { try { return act(sessionStorage); } catch { return null; } };
  const isTyped = (field) => field.name && field.name !== "csrfmiddlewaretoken" && field.type !== "password" && field.type !== "file" && !field.matches("button, fieldset");
  const posts = () => [...document.querySelectorAll("main form[method=post]")].filter((form) => form.id !== "typed");
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (event.defaultPrevented || form.method !== "post" || form.matches("#typed, [data-sign-out]")) return;
    const sure = event.submitter?.dataset.sure;  // what can't be taken back is asked once more
    if (sure && !confirm(sure)) { event.preventDefault(); return; }
    if (form.dataset.sent && Date.now() - form.dataset.sent < LOCKED_MS) { event.preventDefault(); return; }
    form.dataset.sent = Date.now();
    for (const field of form.querySelectorAll("[name=csrfmiddlewaretoken]")) field.value = window.deskToken() || field.value;
    const typed = [...form.elements].filter(isTyped).map((field) => [field.name, field.type === "checkbox" || field.type === "radio" ? field.checked : field.value]);
    session((kept) => kept.setItem(page, JSON.stringify({ at: Date.now(), form: posts().indexOf(form), typed })));
  });
  window.addEventListener("pageshow", () => { for (const form of posts()) delete form.dataset.sent; });

  // -- the session had ended and the form was not accepted: fill its fields in again
  const bringBack = () => {
    const kept = session((store) => JSON.parse(store.getItem(page) || "null")), wasSignedOut = session((store) => store.getItem("signed-out"));
    session((store) => { store.removeItem(page); store.removeItem("signed-out"); });
    const form = kept && wasSignedOut && Date.now() - kept.at < 12 * 3600_000 && posts()[kept.form];
    if (!form || !kept.typed.length) return;
    const seen = new Map();
    for (const [name, value] of kept.typed) {
      const place = seen.get(name) || 0, field = [...form.elements].filter((one) => one.name === name)[place];
      seen.set(name, place + 1);
      if (!field || field.type === "hidden") continue;
      if (typeof value === "boolean") field.checked = value; else field.value = value;
      for (let box = field.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
    }
    const notice = document.createElement("p");
    notice.className = "notice warning";
    notice.setAttribute("role", "status");
    notice.innerHTML = "<b>Not saved</b>You were signed out. Your entries are restored. Check them and submit again.";
    form.before(notice);
    notice.scrollIntoView({ block: "center" });
  };
  bringBack();

  const drafts = () => {
    try { return Object.keys(localStorage).filter((key) => key.startsWith("draft:")); } catch { return []; }
  };
  const forgetBusiness = async (kept) => {
    for (const key of kept) localStorage.removeItem(key);
    session((store) => store.clear());
    if (window.caches) for (const name of await caches.keys()) await caches.delete(name);
    if (navigator.serviceWorker) for (const one of await navigator.serviceWorker.getRegistrations()) await one.unregister();
  };
  document.addEventListener("submit", async (event) => {
    if (!event.target.matches("[data-sign-out]") || event.target.dataset.ready) return;
    event.preventDefault();
    const kept = drafts();
    if (kept.length && !confirm(`${kept.length} measure${kept.length > 1 ? "s have" : " has"} unsent changes. Sign out and discard them?`)) return;
    try {
      await forgetBusiness(kept);
    } finally {
      event.target.dataset.ready = "1";
      event.target.submit();
    }
  });
})();
