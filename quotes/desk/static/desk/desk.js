// What every inside sheet needs: Escape and a tap elsewhere close an open list; signing out warns of what was not sent and
// leaves nothing of this business behind in the browser.
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

  const drafts = () => {
    try { return Object.keys(localStorage).filter((key) => key.startsWith("draft:")); } catch { return []; }
  };
  document.addEventListener("submit", async (event) => {
    if (!event.target.matches("[data-sign-out]") || event.target.dataset.ready) return;
    event.preventDefault();
    const kept = drafts();
    if (kept.length && !confirm(`${kept.length} measure${kept.length > 1 ? "s have" : " has"} changes that were not sent yet. Sign out and lose them?`)) return;
    try {
      for (const key of kept) localStorage.removeItem(key);
      if (window.caches) for (const name of await caches.keys()) await caches.delete(name);
      if (navigator.serviceWorker) for (const one of await navigator.serviceWorker.getRegistrations()) await one.unregister();
    } finally {
      event.target.dataset.ready = "1";
      event.target.submit();
    }
  });
})();
