// The measure sheet: Enter moves on, readings are echoed, and what is typed is kept in the browser until the server has it. Without this file the sheet works too, with its Draw button.
(() => {
  "use strict";
  const form = document.getElementById("typed");
  if (!form) return;
  const ref = form.dataset.measure;
  const key = `draft:${ref}`;
  const keeping = document.getElementById("keeping");
  const skipped = new Set(["csrfmiddlewaretoken", "do", "live"]);

  const entries = () => [...new FormData(form)].filter(([name]) => !skipped.has(name));
  const stored = () => { try { return JSON.parse(localStorage.getItem(key) || "null"); } catch { return null; } };
  const say = (words, unsent) => { keeping.textContent = words; keeping.classList.toggle("unsent", !!unsent); };
  let typed = 0, sent = 0;
  const remember = () => {
    typed += 1;
    if (!keeping.classList.contains("unsent")) say("typing", false);
    try { localStorage.setItem(key, JSON.stringify({ at: Date.now(), entries: entries() })); }
    catch { say("this browser cannot save offline: stay connected", true); }
  };
  const forget = () => { try { localStorage.removeItem(key); } catch { /* nothing was kept */ } };

  // -- narrow screens get a drawing of their own size
  const narrow = window.matchMedia("(max-width: 48rem)");
  const size = () => { document.cookie = `narrow=${narrow.matches ? "1; max-age=31536000" : "; max-age=0"}; path=/; SameSite=Lax`; };
  size();
  narrow.addEventListener("change", () => { size(); ask("draw", { again: "1" }); });

  const addRunHere = (way) => {
    const field = window.measureRuns.add(form, way);
    if (!field) return false;
    field.focus();
    remember();
    return true;
  };

  // -- what is typed while an answer is on its way stands, wherever the answer puts its field
  const since = new Map();
  const moved = (name, what) => {
    const drop = /^drop-(run|retrofit|gate|station|reading):(\d+)(?:\/(\d+))?$/.exec(what);
    if (!drop) return name;
    const [, kind, first, second] = drop;
    const list = { run: "runs/", retrofit: "retrofits/", gate: `runs/${first}/gates/`, station: `runs/${first}/levels/`, reading: `runs/${first}/book/` }[kind];
    if (!name.startsWith(list)) return name;
    const gone = Number(second ?? first), [at, ...rest] = name.slice(list.length).split("/");
    if (Number(at) === gone) return "";
    return Number(at) > gone ? `${list}${at - 1}/${rest.join("/")}` : name;
  };
  const putBack = (what) => {
    for (const [name, value] of [...since]) {
      const now = moved(name, what), field = now && form.elements.namedItem(now);
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
    asks.set(String(number), { what, from: document.activeElement, texts: [] });
    if (/^(add|gate)-/.test(what)) typeAhead(asks.get(String(number)));
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
    const here = document.activeElement && document.activeElement.closest("fieldset[data-run]");
    parameters.live = here ? here.dataset.run : "";
    if (narrow.matches) parameters.narrow = "1";
  });

  // -- what is typed before the field it is meant for is there: a button that brings a field takes the keys until it comes
  const ahead = Object.assign(document.createElement("input"), { className: "ahead", inputMode: "decimal", autocomplete: "off", tabIndex: -1 });
  ahead.setAttribute("aria-label", "Next field (loading)");
  form.after(ahead);
  let waiting = null;
  const typeAhead = (one) => {
    if (waiting) waiting.texts.push(ahead.value);
    ahead.value = "";
    waiting = one;
    ahead.focus({ preventScroll: true });
  };
  ahead.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    if (waiting) waiting.texts.push(ahead.value);
    ahead.value = "";
  });
  const pour = (one, field) => {
    const texts = waiting === one ? [...one.texts, ahead.value] : one.texts;
    if (waiting === one) { waiting = null; ahead.value = ""; }
    let at = field;
    texts.forEach((text, place) => {
      if (place && at) at = following(at);
      if (!text || !at || !at.matches("input")) return;
      at.value = text;
      at.dispatchEvent(new Event("input", { bubbles: true }));
    });
    return texts.some((text) => text) || texts.length > 1 ? at : null;
  };

  // -- no answer: it stays in this browser and is tried again by itself
  const outside = () => {
    const link = Object.assign(document.createElement("a"), { href: "/sign-in", target: "_blank", textContent: "sign in again" });
    say("signed out, saved on this device: ", true);
    keeping.append(link);
  };
  // ... and what was calculated before is marked as old, at the field, in the drawing and in the strip
  let answered = new Map(entries());
  const markOld = (old) => {
    form.classList.toggle("old", old);
    for (const id of ["answer", "drawing"]) {
      const part = document.getElementById(id);
      part.classList.toggle("old", old);
      if (!old) part.querySelector(".old-note")?.remove();
      else if (!part.querySelector(".old-note")) {
        const note = Object.assign(document.createElement(id === "answer" ? "span" : "p"), { className: "old-note" });
        note.textContent = id === "answer" ? "not recalculated" : "Not recalculated: the last changes are missing.";
        part.prepend(note);
      }
    }
    if (old) for (const [name, value] of entries()) {
      const field = form.elements.namedItem(name), echo = field && field.id && document.getElementById(`${field.id}-note`);
      if (echo && answered.get(name) !== value) { echo.textContent = echo.dataset.hint || ""; echo.classList.remove("fault"); }
    }
  };
  let tried = 0, retry = 0;
  const failed = () => {
    busy = false;
    remember();
    const { what } = current, one = current;
    current = { what: "draw" };
    const added = /^add-run:/.test(what) && addRunHere(what.split(":")[1]);
    if (added) pour(one, document.activeElement);
    else if (document.activeElement === ahead && one.from) one.from.focus();
    markOld(true);
    say(added || /^(draw|restore|show)/.test(what) ? "saved on this device, not sent yet" : "saved on this device, not sent yet: press the button again when you are connected", true);
    clearTimeout(retry);
    retry = setTimeout(send, Math.min(30, 4 * 2 ** tried) * 1000);
    tried += 1;
  };
  for (const name of ["sendError", "timeout", "sendAbort"]) document.body.addEventListener(`htmx:${name}`, (event) => { if (event.detail.elt === form) failed(); });
  document.body.addEventListener("htmx:responseError", (event) => {
    if (event.detail.elt !== form) return;
    const { status } = event.detail.xhr;
    failed();
    if (status === 401 || status === 403) { clearTimeout(retry); outside(); }
  });
  let refreshing = 0;
  document.body.addEventListener("htmx:afterRequest", (event) => {
    if (event.detail.elt !== form) return;
    busy = false;
    if (!event.detail.successful) return;
    land();
    tried = 0;
    clearTimeout(retry);
    if (event.detail.xhr.status === 409) {
      say("", true);
      keeping.append(Object.assign(document.createElement("a"), { href: "#conflict", textContent: "edited in two places: choose a version" }));
      return;
    }
    if (sent !== typed) return;
    answered = new Map(entries());
    markOld(false);
    forget();
    say("saved", false);
    clearTimeout(refreshing);
    if (navigator.serviceWorker && navigator.serviceWorker.controller) {
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
    at = stays ? { name: moved(field.name, current.what), from: field.selectionStart, to: field.selectionEnd } : null;
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
    else if (echoes) show(echoes);
    const target = whole ? placeOf(current) : null, last = whole ? pour(current, target) : null;
    if (field) {
      field.focus({ preventScroll: true });
      if (field.setSelectionRange && at.from !== null) field.setSelectionRange(at.from, at.to);
    } else if (whole) goTo(target, last);
    const wanted = document.querySelector("[data-focus]");
    if (wanted) {
      wanted.removeAttribute("data-focus");
      if (current.what !== "draw") wanted.focus();
    }
    if (whole && waiting && document.activeElement !== ahead && !field) ahead.focus({ preventScroll: true });
    at = null;
    whole = false;
  };

  const show = (echoes) => {
    const states = new Map([...echoes.children].map((echo) => [echo.dataset.of, echo.dataset]));
    for (const echo of form.querySelectorAll(".echo")) {
      const id = echo.id.replace(/-note$/, ""), state = states.get(id), field = document.getElementById(id);
      const fault = (state && state.fault) || "";
      echo.textContent = fault || (state && state.echo) || echo.dataset.hint || "";
      echo.classList.toggle("fault", !!fault);
      if (fault) field.setAttribute("aria-invalid", "true"); else field.removeAttribute("aria-invalid");
    }
  };

  // -- after a button the next field is where the tape is read on
  const placeOf = ({ what }) => {
    const [verb, argument] = what.split(":");
    const place = (argument || "").split("/")[0];
    const pick = {
      "add-run": () => [...form.querySelectorAll("input[name$='/length_mm']")].filter((one) => /^runs\/\d+\/length_mm$/.test(one.name)).pop(),
      "add-gate": () => [...form.querySelectorAll(`input[name^='runs/${place}/gates/'][name$='/from_mm']`)].pop(),
      "gate-in": () => [...form.querySelectorAll("input[name$='/opening_mm']")].pop(),
      "add-station": () => [...form.querySelectorAll(`input[name^='runs/${place}/levels/'][name$='/0']`)].pop(),
      "add-reading": () => [...form.querySelectorAll(`input[name^='runs/${place}/book/'][name$='/at_mm']`)].pop(),
      "add-retrofit": () => [...form.querySelectorAll("input[name$='/bays_mm']")].pop(),
      fix: () => null,
      meet: () => null,
      show: () => place === "strength" ? form.querySelector("#strength input, #strength select:not([name='strength/method'])") : form.querySelector(`#run-${place} .fields input[name*='/levels/'], #run-${place} input[name*='/book/']`),
    }[verb];
    return pick ? pick() : document.getElementById(`run-${place}`);
  };
  const goTo = (field, last) => {
    if (last || field) {
      (last || field).focus();
      if (!last && field.select && field.value) field.select();
    } else if ([document.body, ahead].includes(document.activeElement)) document.getElementById("drawing").focus({ preventScroll: true });
  };

  form.addEventListener("input", (event) => {
    if (!event.target.name) return;
    since.set(event.target.name, event.target.value);
    remember();
    if (!/^runs\/\d+\/id$/.test(event.target.name)) return;
    const run = event.target.closest("fieldset[data-run]");  // what is drawn is found by the run's name
    run.dataset.run = event.target.value;
    run.querySelector("legend").textContent = `Run ${event.target.value}`;
  });
  const following = (field) => {
    const fields = [...form.querySelectorAll("input:not([type=hidden]), select, .actions .button")].filter((one) => one.offsetParent && !one.disabled && one.tabIndex >= 0);
    return fields[fields.indexOf(field) + 1];
  };
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
    const next = following(event.target);
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
    const runs = kept.entries.filter(([name]) => /^runs\/\d+\/id$/.test(name)).length;
    while (form.querySelectorAll("fieldset[data-run]").length < runs && form.querySelector("fieldset[data-run]")) addRunHere();
    for (const [name, value] of kept.entries) {
      const field = form.elements.namedItem(name);
      if (field && field.value !== undefined && name !== "version" && name !== "page") field.value = value;
    }
  };
  const send = () => {
    const kept = stored();
    if (!kept || !window.htmx || busy) return;
    ask("restore", Object.fromEntries(kept.entries));
  };
  const start = () => {
    const kept = stored();
    if (kept) {
      fill(kept);
      try { localStorage.setItem(key, JSON.stringify(kept)); } catch { /* it is in the fields */ }
      markOld(true);
      say("saved on this device, not sent yet", true);
      send();
    }
  };
  document.addEventListener("measure:ask", (event) => ask(event.detail));
  document.addEventListener("click", (event) => { if (event.target.closest("[data-drop-draft]")) forget(); });
  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {});
  if (navigator.serviceWorker) navigator.serviceWorker.register("/offline-worker.js", { scope: "/" }).catch(() => {});
  start();
})();
