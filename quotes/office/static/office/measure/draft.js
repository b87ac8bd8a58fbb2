// The unsent entries of a measure in this browser. Every call works without a store too: a private window may have none.
const SKIPPED = new Set(["csrfmiddlewaretoken", "do", "live"]);
const NOT_RESTORED = new Set(["version", "page"]);

// Returns the entries of a form that are saved and compared.
export const entriesOf = (pairs) => [...pairs].filter(([name]) => !SKIPPED.has(name));

// Returns the entries to fill in again: all but those that the server sets itself.
export const toRestore = (draft) => draft.entries.filter(([name]) => !NOT_RESTORED.has(name));

// Returns the names of the entries that differ from those of the last answer.
export const changedSince = (answered, entries) => entries.filter(([name, value]) => answered.get(name) !== value).map(([name]) => name);

export const draftStore = (storage, key) => ({
  read() { try { return JSON.parse(storage().getItem(key) || "null"); } catch { return null; } },
  write(entries, at = Date.now()) {
    try { storage().setItem(key, JSON.stringify({ at, entries })); return true; } catch { return false; }
  },
  forget() { try { storage().removeItem(key); } catch { /* nothing was stored */ } },
});

// Returns whether a field differs from how the server sent it.
export const isEdited = ({ type, options, selectedIndex, checked, defaultChecked, value, defaultValue, name }) => {
  if (!name || !type || SKIPPED.has(name) || ["hidden", "submit", "button"].includes(type)) return false;
  if (options) return selectedIndex !== Math.max(0, [...options].findIndex((option) => option.defaultSelected));
  return type === "checkbox" || type === "radio" ? checked !== defaultChecked : value !== defaultValue;
};
