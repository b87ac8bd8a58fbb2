// The words of the strip about saving, and the marks of results that are out of date.
const keeping = document.getElementById("keeping");

export const say = (words, unsent) => { keeping.textContent = words; keeping.classList.toggle("unsent", !!unsent); };
export const isUnsent = () => keeping.classList.contains("unsent");
export const sayWithLink = (words, link) => { say(words, true); keeping.append(Object.assign(document.createElement("a"), link)); };

export const resetEcho = (echo) => { echo.textContent = echo.dataset.hint || ""; echo.classList.remove("fault"); };

// Marks what was calculated before as old, at the given fields, in the drawing and in the strip; or removes the marks.
export const markOld = (form, old, changed) => {
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
  if (old) for (const name of changed) {
    const field = form.elements.namedItem(name), echo = field?.id && document.getElementById(`${field.id}-note`);
    if (echo) resetEcho(echo);
  }
};

// Shows the values as read, the errors and the hints that came with an answer.
export const showEchoes = (form, echoes) => {
  const states = new Map([...echoes.children].map((echo) => [echo.dataset.of, echo.dataset]));
  for (const echo of form.querySelectorAll(".echo")) {
    const id = echo.id.replace(/-note$/, ""), state = states.get(id), field = document.getElementById(id);
    const fault = (state?.fault) || "";
    echo.textContent = fault || (state?.echo) || echo.dataset.hint || "";
    echo.classList.toggle("fault", !!fault);
    if (fault) field.setAttribute("aria-invalid", "true"); else field.removeAttribute("aria-invalid");
  }
};
