// Small things that are done with one button: each becomes one request that waits its turn, and says so beside it.

import * as outbox from "./outbox.js";
import * as waiting from "./waiting.js";
import { hour, say } from "./words.js";

const MINUTE_MS = 60000;

/** What a form says, as the interface takes it: names with a point lie in one another. */
export function bodyOf(form) {
  const body = {};
  for (const field of form.elements) {
    if (!field.name || field.dataset.unsent !== undefined || field.value === "") continue;
    if ((field.type === "radio" || field.type === "checkbox") && !field.checked) continue;
    const names = field.name.split(".");
    const last = names.pop();
    const place = names.reduce((inner, name) => (inner[name] ??= {}), body);
    place[last] = valueOf(field);
  }
  return body;
}

function valueOf(field) {
  switch (field.dataset.as) {
    case "number": return Number(field.value);
    case "yes": return field.value === "yes";
    default: return field.value.trim();
  }
}

/** Let the buttons and small forms of a page be kept and sent; `more` gives what goes along with a form. */
export function begin(visit, more = () => []) {
  const places = [...document.querySelectorAll("button.act, form.queue")];
  for (const place of places) {
    place.addEventListener(place.matches("form") ? "submit" : "click", async (event) => {
      event.preventDefault();
      const entry = outbox.entry({
        address: place.dataset.address,
        body: place.matches("form") ? bodyOf(place) : {},
        kind: place.dataset.kind,
        label: place.dataset.label,
        visit,
        lasts_ms: place.dataset.lasts ? Number(place.dataset.lasts) * MINUTE_MS : null,
      });
      if (place.dataset.reading !== undefined) {
        Object.assign(entry.body, { reference: entry.key, taken_at: await outbox.now() });
      }
      await waiting.keep([...(await more(place)), entry]);
    });
  }
  waiting.onChange((rows, sent) => {
    for (const place of places) tell(place, visit, rows, sent);
  });
}

/** Say beside a button what became of what it did; a thing is done once. */
function tell(place, visit, rows, sent) {
  const mine = (row) => row.kind === place.dataset.kind && row.visit === visit;
  const open = rows.filter(mine).at(-1);
  const done = sent.filter(mine).at(-1);
  const told = place.querySelector(".told") ?? place.parentElement.parentElement.querySelector(".told")
    ?? place.parentElement.querySelector(".told");
  const button = place.matches("form") ? place.querySelector("button") : place;
  const again = place.dataset.reading !== undefined;
  button.disabled = Boolean((open && !again) || (done && !again));
  if (!told || (!open && !done)) return;
  const became = open
    ? open.state === outbox.WAITING ? say("kept-at", { hour: hour(open.made_at) }) : say("not-taken")
    : say("sent-at", { hour: hour(done.sent_at) });
  // Two buttons with one place for what became of them: it says of which it speaks.
  told.textContent = place.matches("form") ? became : say("of-what", { what: button.textContent, told: became });
}
