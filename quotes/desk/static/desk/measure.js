// The measure sheet: Enter moves on, readings are echoed, a tap on the drawing makes a gate, and what is typed is kept in the
// browser until the server has it. Without this file the sheet works too, with its Draw button.
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
    catch { say("this browser keeps nothing: stay connected", true); }
  };
  const forget = () => { try { localStorage.removeItem(key); } catch { /* nothing was kept */ } };

  // -- narrow screens get a drawing of their own size
  const narrow = window.matchMedia("(max-width: 48rem)");
  const size = () => { document.cookie = `narrow=${narrow.matches ? "1; max-age=31536000" : "; max-age=0"}; path=/; SameSite=Lax`; };
  size();
  narrow.addEventListener("change", () => { size(); ask("draw", { again: "1" }); });

  // -- rows that are added without a connection
  const fresh = (html, from, to) => html.replaceAll(from, to);
  const addRunHere = () => {
    const runs = form.querySelectorAll("fieldset[data-run]");
    if (!runs.length) return;
    const last = runs[runs.length - 1], number = runs.length, was = number - 1;
    const copy = document.createElement("template");
    copy.innerHTML = fresh(fresh(last.outerHTML, `runs/${was}/`, `runs/${number}/`), `f-runs-${was}-`, `f-runs-${number}-`).replaceAll(`run-${was}"`, `run-${number}"`).replaceAll(`ways-${was}"`, `ways-${number}"`);
    const run = copy.content.firstElementChild;
    for (const one of run.querySelectorAll("fieldset.inner, .notice, .tape")) one.remove();
    for (const input of run.querySelectorAll("input")) input.value = "";
    for (const list of run.querySelectorAll("select")) list.selectedIndex = 0;
    for (const echo of run.querySelectorAll(".echo")) { echo.textContent = echo.dataset.hint || ""; echo.classList.remove("fault"); }
    const ids = new Set([...runs].map((one) => one.querySelector("input[name$='/id']").value));
    const free = [..."ABCDEFGHIJKLMNOPQRSTUVWXYZ"].find((letter) => !ids.has(letter)) || `R${number + 1}`;
    run.dataset.run = free;
    run.querySelector("legend").textContent = `Run ${free}`;
    run.querySelector("input[name$='/id']").value = free;
    last.after(run);
    run.querySelector("input[name$='/length_mm']").focus();
    remember();
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

  // -- asking the server
  const ask = (what, extra) => window.htmx && window.htmx.ajax("POST", form.action, { source: form, swap: "none", values: { do: what, ...extra } }).catch(() => {});
  let asked = "";
  // htmx forgets which button was pressed once the focus moves on, and a queued request would only draw
  form.addEventListener("submit", (event) => {
    if (!window.htmx || !event.submitter) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    ask(event.submitter.value || "draw", { again: "1" });
  }, true);
  document.body.addEventListener("htmx:configRequest", (event) => {
    if (event.detail.elt !== form) return;
    const what = event.detail.parameters.do || "draw";
    if (what === "draw" && sent === typed && !event.detail.parameters.again) { event.preventDefault(); return; }
    asked = what;
    sent = typed;
    since.clear();
    const here = document.activeElement && document.activeElement.closest("fieldset[data-run]");
    event.detail.parameters.live = here ? here.dataset.run : "";
    if (narrow.matches) event.detail.parameters.narrow = "1";
  });
  const failed = () => {
    remember();
    say("kept here, not sent yet", true);
    if (asked.startsWith("add-run:")) addRunHere();
    asked = "";
  };
  document.body.addEventListener("htmx:sendError", failed);
  document.body.addEventListener("htmx:responseError", (event) => {
    if (event.detail.xhr.status === 403 || event.detail.xhr.status === 401) say("sign in again in another tab: kept here meanwhile", true);
    else failed();
  });
  let refreshing = 0;
  document.body.addEventListener("htmx:afterRequest", (event) => {
    if (event.detail.elt !== form || !event.detail.successful) return;
    if (event.detail.xhr.status === 409) { say("typed in two places", true); return; }
    if (sent !== typed) return;
    forget();
    say("kept", false);
    clearTimeout(refreshing);
    if (navigator.serviceWorker && navigator.serviceWorker.controller) {
      refreshing = setTimeout(() => fetch(location.pathname, { headers: { "X-Refresh": "1" } }).catch(() => {}), 1500);
    }
  });
  document.body.addEventListener("htmx:beforeSwap", (event) => {
    if (event.detail.xhr.status === 409) { event.detail.shouldSwap = true; event.detail.isError = false; }
  });
  document.body.addEventListener("htmx:afterSettle", () => {
    const said = document.getElementById("said");
    if (said && said.children.length + said.dataset.seen !== "") show(said);
    const wanted = document.querySelector("[data-focus]");
    if (wanted) { wanted.removeAttribute("data-focus"); wanted.focus(); }
  });
  let open = [], at = null;
  document.body.addEventListener("htmx:oobBeforeSwap", (event) => {
    if (!event.detail.target || event.detail.target.id !== "fields") return;
    const field = document.activeElement;
    open = [...form.querySelectorAll("details[open][id]")].map((one) => one.id);
    at = since.has(field.name) ? { name: moved(field.name, asked), from: field.selectionStart, to: field.selectionEnd } : null;
  });
  document.body.addEventListener("htmx:oobAfterSwap", (event) => {
    if (!event.detail.target || event.detail.target.id !== "fields") return;
    for (const id of open) { const one = document.getElementById(id); if (one) one.open = true; }
    putBack(asked);
    const field = at && form.elements.namedItem(at.name), before = asked;
    if (!field) { requestAnimationFrame(() => goTo(before)); return; }
    field.focus();
    if (field.setSelectionRange && at.from !== null) field.setSelectionRange(at.from, at.to);
  });
  document.body.addEventListener("htmx:afterSwap", (event) => {
    if (event.target.id && /^more-/.test(event.target.id)) putBack("");
  });

  const show = (said) => {
    const told = new Map([...said.children].map((one) => [one.dataset.of, one.dataset]));
    for (const echo of form.querySelectorAll(".echo")) {
      const id = echo.id.replace(/-said$/, ""), one = told.get(id), field = document.getElementById(id);
      const fault = (one && one.fault) || "";
      echo.textContent = fault || (one && one.echo) || echo.dataset.hint || "";
      echo.classList.toggle("fault", !!fault);
      if (fault) field.setAttribute("aria-invalid", "true"); else field.removeAttribute("aria-invalid");
    }
  };

  // -- after a button the next field is where the tape is read on
  const goTo = (what) => {
    const [verb, argument] = what.split(":");
    const place = (argument || "").split("/")[0];
    const pick = {
      "add-run": () => form.querySelector("fieldset[data-run]:last-of-type input[name$='/length_mm']") || [...form.querySelectorAll("input[name$='/length_mm']")].filter((one) => /^runs\/\d+\/length_mm$/.test(one.name)).pop(),
      "add-gate": () => [...form.querySelectorAll(`input[name^='runs/${place}/gates/'][name$='/from_mm']`)].pop(),
      "gate-in": () => [...form.querySelectorAll("input[name$='/opening_mm']")].pop(),
      "add-station": () => [...form.querySelectorAll(`input[name^='runs/${place}/levels/'][name$='/0']`)].pop(),
      "add-reading": () => [...form.querySelectorAll(`input[name^='runs/${place}/book/'][name$='/at_mm']`)].pop(),
      "add-retrofit": () => [...form.querySelectorAll("input[name$='/bays_mm']")].pop(),
      mend: () => null,
      meet: () => null,
      show: () => place === "strength" ? form.querySelector("#strength input, #strength select:not([name='strength/method'])") : form.querySelector(`#run-${place} .fields input[name*='/levels/'], #run-${place} input[name*='/book/']`),
    }[verb];
    const field = pick ? pick() : document.getElementById(`run-${place}`);
    if (field && field.focus) field.focus();
    else if (document.activeElement === document.body) document.getElementById("drawing").focus({ preventScroll: true });
  };

  form.addEventListener("input", (event) => {
    if (!event.target.name) return;
    since.set(event.target.name, event.target.value);
    remember();
  });
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
    const fields = [...form.querySelectorAll("input:not([type=hidden]), select, .actions .button")].filter((one) => one.offsetParent && !one.disabled && one.tabIndex >= 0);
    const next = fields[fields.indexOf(event.target) + 1];
    if (next) { next.focus(); if (next.select) next.select(); }
  });

  // -- the drawing: a tap in a bay makes a gate there, a tap on a gate goes to its fields
  const tap = (mark) => {
    if (mark.dataset.gate) {
      const found = /^(.*)-G(\d+)$/.exec(mark.dataset.gate);
      const run = found && form.querySelector(`fieldset[data-run="${CSS.escape(found[1])}"]`);
      const field = run && run.querySelector(`input[name$='/gates/${found[2] - 1}/from_mm']`);
      if (field) field.focus();
      return;
    }
    ask(`gate-in:${mark.dataset.bay}`);
  };
  document.addEventListener("click", (event) => {
    const mark = event.target.closest("#drawing [data-bay], #drawing [data-gate]");
    if (mark) tap(mark);
    const theirs = event.target.closest("[data-drop-draft]");
    if (theirs) forget();
  });

  // -- the same by keys: Enter on the drawing goes to its first bay, arrows from bay to bay, Enter makes the gate, Escape leaves
  const drawing = () => document.getElementById("drawing");
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
    mark.setAttribute("aria-label", mark.dataset.gate ? `Gate ${mark.dataset.gate}: to its fields` : `Bay ${mark.dataset.bay}: a gate here`);
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
    if (!kept || !window.htmx) return;
    ask("restore", Object.fromEntries(kept.entries));
  };
  const start = () => {
    const kept = stored();
    if (kept) {
      fill(kept);
      try { localStorage.setItem(key, JSON.stringify(kept)); } catch { /* it is in the fields */ }
      say("kept here, not sent yet", true);
      send();
    }
  };
  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {});
  if (navigator.serviceWorker) navigator.serviceWorker.register("/measure-worker.js", { scope: "/" }).catch(() => {});
  start();
})();
