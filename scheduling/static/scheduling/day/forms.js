// A form as it was left: every field is kept while it is filled in, and is there again after the phone was off.

import * as store from "./store.js";

const WAIT_MS = 250;

/** The named fields of a form that hold something, by name; what is `data-unkept` stays out. */
export function valuesOf(form) {
  const values = {};
  for (const field of form.elements) {
    if (!field.name || field.type === "file" || field.dataset.unkept !== undefined) continue;
    if (field.type === "checkbox" || field.type === "radio") {
      if (field.checked) values[field.name] = field.value;
    } else if (field.value !== "") {
      values[field.name] = field.value;
    }
  }
  return values;
}

/** Fill a form with what was kept of it. */
export function fill(form, values) {
  for (const field of form.elements) {
    if (!field.name || field.type === "file" || field.dataset.unkept !== undefined) continue;
    if (field.type === "checkbox" || field.type === "radio") {
      field.checked = values[field.name] === field.value;
    } else if (field.name in values) {
      field.value = values[field.name];
    }
  }
}

/** The draft of a form under a key: what was kept, and a function that keeps more. */
export async function draftOf(form, key) {
  const draft = (await store.get("drafts", key)) ?? { values: null };
  if (draft.values) fill(form, draft.values);
  let timer = 0;
  let left = false;
  const write = () => {
    clearTimeout(timer);
    timer = 0;
    return left ? Promise.resolve() : store.put("drafts", { ...draft, values: valuesOf(form) }, key);
  };
  const later = () => {
    clearTimeout(timer);
    timer = setTimeout(write, WAIT_MS);
  };
  form.addEventListener("input", later);
  form.addEventListener("change", write);
  // A phone that is put away may not come back: what is typed is written before.
  document.addEventListener("visibilitychange", () => { if (document.hidden && timer) write(); });
  addEventListener("pagehide", () => { if (timer) write(); });
  return { draft, write, close: () => { clearTimeout(timer); left = true; } };
}
