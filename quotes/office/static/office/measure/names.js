// The names of the fields of a measure, and how an edit moves them: "runs/2/gates/0/from_mm". No browser is needed here.
export const isRunId = (name) => /^runs\/\d+\/id$/.test(name);
export const isRunLength = (name) => /^runs\/\d+\/length_mm$/.test(name);

// the lists that an edit may remove a row from: drop-gate:1/0 removes gate 0 of run 1
const DROP = /^drop-(run|retrofit|gate|station|reading):(\d+)(?:\/(\d+))?$/;
const LISTS = {
  run: () => "runs/",
  retrofit: () => "retrofits/",
  gate: (run) => `runs/${run}/gates/`,
  station: (run) => `runs/${run}/levels/`,
  reading: (run) => `runs/${run}/book/`,
};

// Returns the name of a field after an edit; "" if the edit removes it.
export const nameAfter = (name, edit) => {
  const drop = DROP.exec(edit);
  if (!drop) return name;
  const [, kind, first, second] = drop, list = LISTS[kind](first);
  if (!name.startsWith(list)) return name;
  const gone = Number(second ?? first), [at, ...rest] = name.slice(list.length).split("/");
  if (Number(at) === gone) return "";
  return Number(at) > gone ? `${list}${at - 1}/${rest.join("/")}` : name;
};

// Returns the name of the next run as the server gives it: A to Z, then A2, B2 ...
export const nextRunId = (taken) => {
  for (let round = 1; ; round += 1) for (const letter of "ABCDEFGHIJKLMNOPQRSTUVWXYZ") {
    const name = round === 1 ? letter : `${letter}${round}`;
    if (!taken.has(name)) return name;
  }
};

// Returns whether an edit that was not sent is in the entries, so that its button need not be pressed again.
export const isInEntries = (edit) => /^(draw|restore|show)/.test(edit);
