// What is left to send after an answer, and how an unsent entry is shown. No browser is needed here.

// Returns the marks that are still to be sent: those that were not sent, or were set again while the request was on its way.
export const marksAfter = (saved, sent) =>
  Object.fromEntries(Object.entries(saved).filter(([place, mark]) => !sent[place] || sent[place].at !== mark.at));

// Returns the entries that are still to be sent: the answer has a list of errors for each entry, and an empty one for a recorded entry.
export const entriesAfter = (saved, results) =>
  saved.filter(({ id }) => !results[id] || results[id].length).map((entry) => (results[entry.id] ? { ...entry, faults: results[entry.id] } : entry));

// Returns an entry in words.
export const describe = (entry) =>
  entry.words || [entry.kindWord, [entry.quantity, entry.role].filter(Boolean).join(" "), entry.location, entry.note].filter(Boolean).join(", ");
