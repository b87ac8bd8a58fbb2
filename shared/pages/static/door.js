// The door remembers that somebody came to it in the middle of something, so that the sheet behind it brings back what was typed.
(() => {
  "use strict";
  const told = document.querySelector("[data-turned-back] [hidden]");
  if (!told) return;
  try { sessionStorage.setItem("signed-out", "1"); told.hidden = false; } catch { /* nothing is kept here */ }
})();
