// What is not kept so far: texts in forms, and visits that are not in their records. It lives as long
// as the page is open, and is written nowhere.

/**
 * What stands in a form otherwise than it is kept, by the names of its fields.
 * @typedef {Object<string, string>} Draft
 * @type {Map<string, Draft>}
 */
const drafts = new Map();
const unsaved = new Set();

export const draftOf = (name) => drafts.get(name) ?? null;
export const dropDraft = (name) => drafts.delete(name);
export const draftNames = () => [...drafts.keys()];

/** Notes whether a visit is in its record, as the server tells it. */
export function noteVisit({ id, saved }) {
  if (saved) unsaved.delete(id);
  else unsaved.add(id);
}

export const isAnythingUnkept = () => drafts.size > 0 || unsaved.size > 0;

/**
 * Writes an earlier draft into a form, and holds from now on what is typed there.
 * @param {HTMLFormElement} form shows what is kept
 * @param {string} name of the draft
 * @param {(draft: ?Draft, kept: Draft) => void} tell how the form stands, now and after each change
 */
export function drafting(form, name, tell) {
  let kept = textsOf(form);
  const write = (texts) => {
    for (const [field, text] of Object.entries(texts)) form.elements[field].value = text;
  };
  // A question that nothing was chosen for has no text to write back.
  const choseNothing = ({ type, name }) => type === "radio" && !(name in kept);
  const hold = () => {
    const other = Object.entries(textsOf(form)).filter(([field, text]) => text !== kept[field]);
    if (other.length) drafts.set(name, Object.fromEntries(other));
    else drafts.delete(name);
    tell(draftOf(name), kept);
  };
  write(draftOf(name) ?? {});
  form.addEventListener("input", hold);
  hold();
  return {
    /** Takes what stands there now; to be called back once that is kept. */
    keeping() {
      const sent = textsOf(form);
      return () => {
        kept = sent;
        hold();
      };
    },
    drop() {
      for (const input of [...form.elements].filter(choseNothing)) input.checked = false;
      write(kept);
      hold();
    },
  };
}

const textsOf = (form) => Object.fromEntries(new FormData(form));
