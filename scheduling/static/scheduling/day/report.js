// The report of a stop, put together of what was chosen and typed. The server judges it; what is plainly missing is said
// here, since at the door there may be no server to ask.

import { choiceAt, fieldAt } from "./train.js";
import { readingsAt } from "./readings.js";
import { say } from "./words.js";

const DONE = new Set(["replace", "rotate"]);

/**
 * The report as the interface takes it, what is written down wrongly of cartridges, and what is at fault. With `isMore`
 * it adds to an earlier one, which has settled the tasks.
 */
export function reportOf(form, facts, draft, now, isMore = false) {
  const faults = [];
  const work = [];
  const corrections = [];
  const remarks = [];
  for (const [position, { unit }] of Object.entries(facts.positions)) {
    const choice = choiceAt(position);
    const place = facts.labels.positions[position];
    if (DONE.has(choice)) work.push(changed(Number(position), unit, choice, place, faults));
    else if (choice === "good") remarks.push(say("looked-good", { place }));
    else if (choice === "wrong") corrections.push(...standsThere(position, place, faults));
  }
  const left = [];
  for (const task of facts.tasks) settle(form, task, work, left, isMore ? [] : faults);
  const readings = [];
  for (const section of form.querySelectorAll(".unit")) {
    const read = readingsAt(section, draft.found_at?.[section.dataset.unit]);
    readings.push(...read.readings);
    faults.push(...read.faults);
  }
  if (!work.length && !faults.length) faults.push({ field: null, sentence: say("nothing-done") });
  const text = (name) => form.elements[name].value.trim();
  const body = {
    site: facts.site, visit: facts.visit, reference: draft.reference, done_at: now, work, not_done: left, readings,
    parts: partsOf(form), confirmed_by: text("confirmed_by"), note: [text("note"), ...remarks].filter(Boolean).join("\n"),
  };
  if (text("minutes")) body.minutes = Number(text("minutes"));
  if (isMore) body.follows = "addition";
  return { body, corrections, faults };
}

function changed(position, unit, action, place, faults) {
  const removal = fieldAt(position, "removal");
  if (!removal.value) faults.push({ field: removal, sentence: say("say-why-removed", { place }) });
  const row = { action, unit, position, removal: removal.value };
  const item = fieldAt(position, "item").value;
  const serial = fieldAt(position, "serial").value.trim();
  if (item) row.item = Number(item);
  if (serial) row.serial_or_lot = serial;
  return row;
}

/** What stands in a position in truth, as a correction of what is written down. */
function standsThere(position, place, faults) {
  const field = fieldAt(position, "really");
  const placement = field.closest(".position").dataset.placement;
  if (!field.value || !placement) {
    faults.push({ field, sentence: say("say-what-stands", { place }) });
    return [];
  }
  return [{ placement, place, body: { item: Number(field.value), reason: say("wrong-reason") } }];
}

/** Put a task among what was done or among what was left, with its reason. */
function settle(form, task, work, left, faults) {
  const choice = task.position ? choiceAt(task.position) : "";
  const isCartridge = task.kind === "replace" || task.kind === "rotate";
  if (isCartridge && DONE.has(choice)) return;
  const why = form.elements[`why-${task.need}`];
  if (!isCartridge && form.elements[`done-${task.need}`].checked) {
    const row = { action: task.kind, unit: task.unit, need: task.need };
    if (task.position) row.position = task.position;
    work.push(row);
    return;
  }
  const reasons = [why.value.trim()];
  if (isCartridge && choice === "good") reasons.unshift(say("found-good"));
  if (isCartridge && choice === "misfit") reasons.unshift(say("does-not-fit"));
  const reason = reasons.filter(Boolean).join(" ");
  if (reason) left.push({ need: task.need, reason });
  else faults.push({ field: why, sentence: say("say-what-became", { what: task.what }) });
}

/** All parts where somebody changed a number; null leaves them to the rules of the catalogue. */
function partsOf(form) {
  const fields = [...form.querySelectorAll(`input[name^="part-"]`)];
  if (fields.every((field) => field.value.trim() === field.dataset.planned)) return null;
  return fields
    .map((field) => ({ item: Number(field.name.slice("part-".length)), quantity: Number(field.value.trim() || 0) }))
    .filter((part) => part.quantity !== 0);
}
