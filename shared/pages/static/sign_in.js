// Notes that the person was signed out on a page, so that the page restores its entries after the next sign-in.
(() => {
  "use strict";
  const hint = document.querySelector("[data-signed-out] [hidden]");
  if (!hint) return;
  try { sessionStorage.setItem("signed-out", "1"); hint.hidden = false; } catch { /* the browser stores nothing */ }
})();
