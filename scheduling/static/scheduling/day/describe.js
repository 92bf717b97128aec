// A report of work in words, so that the one on this phone and the one that is stored can be read side by side.

import { hour, say } from "./words.js";

const called = (names, id) => names?.[id] ?? `#${id}`;

/** Lines of a report as it was sent or as it is stored: [name, value]. `labels` names what its ids stand for. */
export function linesOf(report, labels) {
  const lines = [[say("report-done-at"), hour(report.done_at)]];
  if (report.minutes !== null && report.minutes !== undefined) lines.push([say("report-minutes"), report.minutes]);
  for (const done of report.work) lines.push([say("report-work"), workIn(done, labels)]);
  for (const left of report.not_done ?? []) {
    lines.push([say("report-left"), `${called(labels.needs, left.need)}: ${left.reason}`]);
  }
  for (const part of report.parts ?? []) {
    lines.push([say("report-parts"), `${part.quantity} × ${called(labels.items, part.item)}`]);
  }
  if (report.readings?.length) lines.push([say("report-readings"), report.readings.length]);
  if (report.confirmed_by) lines.push([say("report-confirmed"), report.confirmed_by]);
  if (report.note) lines.push([say("report-note"), report.note]);
  return lines;
}

function workIn(done, labels) {
  const parts = [labels.actions?.[done.action] ?? done.action];
  parts.push(done.position ? called(labels.positions, done.position) : called(labels.units, done.unit));
  if (done.item) parts.push(called(labels.items, done.item));
  if (done.removal) parts.push(labels.removals?.[done.removal] ?? done.removal);
  if (done.serial_or_lot) parts.push(done.serial_or_lot);
  if (done.note) parts.push(done.note);
  return parts.join(", ");
}
