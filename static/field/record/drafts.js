/**
 * What is being typed outlives a crash: kept here under the person who types it until it is recorded, so that the
 * next one to sign in on this tablet sees nothing of it.
 */

const nameOf = (ui, id) => `field-typed:${ui.whose}:${id}`;

/** @param {any} ui @param {string} id of the form or field @param {any} typed anything that JSON holds */
export function keepDraft(ui, id, typed) {
  try {
    localStorage.setItem(nameOf(ui, id), JSON.stringify(typed));
  } catch {
    // Full: the field itself still holds it.
  }
}

/** What was typed and not recorded, or null. @returns {any} */
export function draftOf(ui, id) {
  const found = localStorage.getItem(nameOf(ui, id));
  return found === null ? null : JSON.parse(found);
}

/** It is recorded now, or as it was. */
export const dropDraft = (ui, id) => localStorage.removeItem(nameOf(ui, id));
