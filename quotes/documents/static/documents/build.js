// Ticks are kept on this phone first and sent when there is a connection; the later mark of two counts.
(() => {
  "use strict";
  const form = document.getElementById("ticks");
  if (!form) return;
  const key = `draft:build:${form.dataset.job}`;
  const told = document.getElementById("told");
  const count = document.getElementById("count");
  const read = () => { try { return JSON.parse(localStorage.getItem(key)) || {}; } catch { return {}; } };
  const write = (marks) => {
    if (Object.keys(marks).length) localStorage.setItem(key, JSON.stringify(marks)); else localStorage.removeItem(key);
  };
  const boxes = () => form.querySelectorAll("input[name=done]");
  const show = (place, done) => {
    for (const box of boxes()) if (box.value === place) { box.checked = done; box.closest(".tickable")?.classList.toggle("done", done); }
  };
  const tell = (text) => {
    const places = new Map([...boxes()].map((box) => [box.value, box.checked]));
    count.textContent = `${[...places.values()].filter(Boolean).length} of ${places.size}`;
    told.textContent = text;
  };
  const waiting = () => {
    const left = Object.keys(read()).length;
    return left ? `${left} not sent yet; kept on this phone.` : "Everything is sent.";
  };
  const token = () => (document.cookie.match(/(?:^|; )csrftoken=([^;]+)/) || [])[1] || form.querySelector("[name=csrfmiddlewaretoken]").value;

  let busy = false;
  let asked = false; // to send while something was on its way: the signal may be back before that has failed
  let pause = 4_000;
  let later = 0;
  const send = async () => {
    clearTimeout(later);
    const marks = read();
    asked = busy;
    if (busy || !Object.keys(marks).length) return tell(waiting());
    busy = true;
    try {
      const answer = await fetch(form.action, {
        method: "POST",
        headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
        body: JSON.stringify({ marks: Object.entries(marks).map(([place, mark]) => ({ place, ...mark })) }),
      });
      if (answer.redirected || !(answer.headers.get("Content-Type") || "").includes("json")) return tell(`${waiting()} Sign in again to send.`);
      const body = await answer.json();
      if (!answer.ok) return tell(`${waiting()} ${(body.faults || []).join(" ")}`);
      const since = read();
      for (const place of Object.keys(marks)) if (since[place] && since[place].at === marks[place].at) delete since[place];
      write(since);
      for (const [place, done] of Object.entries(body.marks)) if (!(place in since)) show(place, done);
      pause = 4_000;
      tell(waiting());
    } catch {
      // a phone does not always say that the signal is back
      later = setTimeout(send, pause);
      pause = Math.min(2 * pause, 60_000);
      tell(waiting());
    } finally {
      busy = false;
      if (asked) send();
    }
  };

  form.addEventListener("change", (event) => {
    if (event.target.name !== "done") return;
    const marks = read();
    marks[event.target.value] = { done: event.target.checked, at: Date.now() };
    write(marks);
    show(event.target.value, event.target.checked);
    tell(waiting());
    send();
  });
  form.addEventListener("submit", (event) => { event.preventDefault(); send(); });
  for (const [place, mark] of Object.entries(read())) show(place, mark.done);
  for (const name of ["online", "focus"]) window.addEventListener(name, send);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  send();

  const keep = async () => {
    if (!("serviceWorker" in navigator)) return;
    await navigator.serviceWorker.register(form.dataset.worker, { scope: location.pathname });
    const kept = await caches.open("build-sheets");
    const own = performance.getEntriesByType("resource").map((one) => one.name).filter((name) => name.startsWith(`${location.origin}/static/`));
    await Promise.allSettled([location.href.split("#")[0], ...own].map((name) => kept.add(name)));
    document.documentElement.dataset.kept = "yes";
  };
  keep().catch(() => {});
})();
