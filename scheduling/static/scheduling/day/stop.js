// The page of a stop: what is typed is kept at once, the report is kept whole, and sent when there is a signal.

import { draftOf, valuesOf } from "./forms.js";
import * as outbox from "./outbox.js";
import { own, keepPages, person, sayLost } from "./phone.js";
import { shrink, signaturePad } from "./pictures.js";
import * as queue from "./queue.js";
import { judgeWhileTyping, readingsAt } from "./readings.js";
import { reportOf } from "./report.js";
import * as train from "./train.js";
import * as waiting from "./waiting.js";
import { hour, say } from "./words.js";

const facts = JSON.parse(document.getElementById("facts").textContent);
const form = document.getElementById("report");
const key = `stop:${facts.stop}`;
async function begin() {
  sayLost(await own());
  const kept = await draftOf(form, key);
  const { draft } = kept;
  draft.reference ??= crypto.randomUUID();
  draft.pictures ??= [];
  draft.strokes ??= [];
  draft.found_at ??= {};
  const pad = signaturePad(document.getElementById("signature"), draft.strokes, kept.write);
  document.getElementById("signature-clear").addEventListener("click", pad.clear);
  train.begin(form);
  for (const section of form.querySelectorAll(".unit")) {
    judgeWhileTyping(section)();
    section.addEventListener("input", async (event) => {
      if (!event.target.name?.startsWith("found-") || draft.found_at[section.dataset.unit]) return;
      draft.found_at[section.dataset.unit] = await outbox.now();
    });
  }
  takePictures(draft, kept);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    await report(draft, kept, pad);
  });
  document.getElementById("report-more").addEventListener("click", () => {
    // Of this window alone: once it is closed, the report that was made is all there is to say.
    sessionStorage.setItem(key, "more");
    location.reload();
  });
  queue.begin(facts.visit, (place) => (place.id === "not-done" ? readingsAlone(draft) : []));
  waiting.onChange(showReported);
  await waiting.begin(person());
  await keepPages([location.pathname], document.getElementById("kept-pages"));
}

/** Keep the report with its pictures, let go of the draft, and begin to send. */
async function report(draft, kept, pad) {
  const now = await outbox.now();
  const isMore = sessionStorage.getItem(key) === "more";
  const { body, corrections, faults } = reportOf(form, facts, draft, now, isMore);
  showFaults(faults);
  if (faults.length) return;
  const signature = await pad.picture();
  kept.close();
  sessionStorage.removeItem(key);
  const title = facts.title;
  const values = valuesOf(form);
  const whole = outbox.entry({
    address: "/api/v1/service-records/", body, kind: "report", label: say("report-label", { title }), visit: facts.visit,
    labels: { ...facts.labels, removals: removalWords() },
    kept: { page: location.pathname, key, draft: { ...draft, values } },
  });
  const picture = (blob, kind, label) => outbox.entry({
    address: "/api/v1/service-records/{record}/photos/", blob, fields: { kind }, kind, label, visit: facts.visit,
    after: whole.key,
  });
  await waiting.keep([
    ...corrections.map(({ placement, place, body: right }) => outbox.entry({
      address: `/api/v1/placements/${placement}/correct/`, body: right, kind: "correction",
      label: say("correction-label", { place }), visit: facts.visit,
    })),
    whole,
    ...draft.pictures.map((blob) => picture(blob, "photo", say("picture-label", { title }))),
    ...(signature ? [picture(signature, "signature", say("signature-label", { title }))] : []),
  ], key);
  document.getElementById("reported").scrollIntoView({ block: "center" });
}

/** The readings of a visit that could not be done: each goes by itself. */
async function readingsAlone(draft) {
  const entries = [];
  for (const section of form.querySelectorAll(".unit")) {
    const { readings } = readingsAt(section, draft.found_at[section.dataset.unit] ?? (await outbox.now()));
    for (const body of readings) {
      const unit = facts.labels.units[section.dataset.unit];
      const entry = outbox.entry({ address: "/api/v1/readings/", body, kind: "reading", label: say("reading-label", { unit }), visit: facts.visit });
      entry.body = { taken_at: await outbox.now(), ...body, reference: entry.key };
      entries.push(entry);
    }
  }
  return entries;
}

function showFaults(faults) {
  const place = document.getElementById("report-faults");
  for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
  place.hidden = !faults.length;
  place.replaceChildren(...faults.map(({ field, sentence }) => {
    const node = document.createElement("p");
    node.className = "fault";
    node.textContent = sentence;
    if (field) {
      field.setAttribute("aria-invalid", "true");
      const details = field.closest("details");
      node.textContent = "";
      const link = document.createElement("a");
      link.href = `#${field.id}`;
      link.textContent = sentence;
      link.addEventListener("click", (event) => {
        event.preventDefault();
        if (details) details.open = true;
        field.focus();
        field.scrollIntoView({ block: "center" });
      });
      node.append(link);
    }
    return node;
  }));
  if (faults.length) place.focus();
}

/** Say in the place of the form what became of the report. */
function showReported(rows, sent) {
  const mine = (row) => row.kind === "report" && row.visit === facts.visit;
  const open = rows.filter(mine).at(-1);
  const done = sent.filter(mine).at(-1);
  const place = document.getElementById("reported");
  const isReported = Boolean(open || done);
  place.hidden = !isReported;
  form.hidden = isReported && sessionStorage.getItem(key) !== "more";
  document.getElementById("report-more").hidden = !form.hidden;
  if (open) {
    place.textContent = say(open.state === outbox.WAITING ? "reported-waits" : "reported-settle", { hour: hour(open.made_at) });
  } else if (done) {
    place.textContent = say("reported-sent", { hour: hour(done.sent_at) });
  }
}

/** Why a cartridge left, in the words of the choice. */
const removalWords = () => Object.fromEntries(
  [...(form.querySelector(`select[name^="removal-"]`)?.options ?? [])].map((option) => [option.value, option.textContent]),
);

function takePictures(draft, kept) {
  const field = document.getElementById("pictures");
  const list = document.getElementById("picture-list");
  const show = () => list.replaceChildren(...draft.pictures.map((blob, number) => {
    const node = document.createElement("li");
    const image = document.createElement("img");
    image.alt = say("picture-of", { number: number + 1 });
    image.src = URL.createObjectURL(blob);
    image.addEventListener("load", () => URL.revokeObjectURL(image.src), { once: true });
    const button = document.createElement("button");
    button.type = "button";
    button.className = "small";
    button.textContent = say("take-out", { number: number + 1 });
    button.addEventListener("click", async () => {
      draft.pictures.splice(number, 1);
      await kept.write();
      show();
    });
    node.append(image, button);
    return node;
  }));
  field.addEventListener("change", async () => {
    for (const file of field.files) draft.pictures.push(await shrink(file));
    field.value = "";
    await kept.write();
    show();
  });
  show();
}

begin();
