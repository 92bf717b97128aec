// The page of the day: its stops and what to load, and all pages of the day kept for when there is no signal.

import { draftOf } from "./forms.js";
import * as outbox from "./outbox.js";
import { keepPages, own, person, sayLost } from "./phone.js";
import * as queue from "./queue.js";
import * as waiting from "./waiting.js";
import { hour, say } from "./words.js";

async function begin() {
  sayLost(await own());
  const load = document.getElementById("load");
  if (load) await draftOf(load, `load:${load.dataset.round}`);
  queue.begin(load ? Number(load.dataset.round) : null);
  waiting.onChange(showStops);
  await waiting.begin(person());
  const pages = [...document.querySelectorAll("a.keep")].map((link) => new URL(link.href).pathname);
  await keepPages([location.pathname, ...pages], document.getElementById("kept-pages"), true);
}

/** Say at each stop what was done there and is not sent yet, or was sent since this page was made. */
function showStops(rows, sent) {
  for (const stop of document.querySelectorAll(".stop")) {
    const visit = Number(stop.dataset.visit);
    const closes = (row) => row.visit === visit && (row.kind === "report" || row.kind === "not-done");
    const open = rows.filter(closes).at(-1);
    const done = sent.filter(closes).at(-1);
    const told = stop.querySelector(".told");
    if (open) told.textContent = say(open.state === outbox.WAITING ? "reported-waits" : "reported-settle", { hour: hour(open.made_at) });
    else told.textContent = done ? say("reported-sent", { hour: hour(done.sent_at) }) : "";
    stop.classList.toggle("reported", Boolean(open || done));
  }
}

begin();
