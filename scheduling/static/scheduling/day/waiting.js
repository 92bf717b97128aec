// What is not sent, as the person sees it: whether there is a signal, what waits, and what has to be settled.

import { linesOf } from "./describe.js";
import * as outbox from "./outbox.js";
import { guardSignOut } from "./phone.js";
import { copyOf, hour, say, slot } from "./words.js";

const AGAIN_MS = 8000;

let person = null;
let outcome = "";
let wanted = false;
let showing = Promise.resolve();
const listeners = new Set();

/** Be told whenever something was kept, sent, refused or thrown away: with what is unsent and what was sent. */
export const onChange = (listener) => listeners.add(listener);

/** Show what waits and send it: now, when the signal comes back, and every while until nothing is left. */
export function begin(who) {
  person = who;
  guardSignOut(document.getElementById("my-day").dataset.signOut, outbox.unsent);
  document.getElementById("signal-again").addEventListener("click", attempt);
  addEventListener("online", () => attempt());
  addEventListener("offline", () => { outcome = "away"; show(); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) attempt(); });
  setInterval(async () => {
    if (!document.hidden && (await outbox.unsent()).some((row) => row.state === outbox.WAITING)) attempt();
  }, AGAIN_MS);
  return outbox.tidy().then(attempt);
}

/** Send now, and show how it went; asked again meanwhile, it looks once more when it has ended. */
export async function attempt() {
  wanted = true;
  if (outcome === "sending") return;
  while (wanted) {
    wanted = false;
    const before = outcome;
    outcome = "sending";
    show();
    try {
      const ended = await outbox.send(person);
      outcome = ended === "busy" ? before : ended;
    } catch {
      outcome = "away";
    }
  }
  await show();
}

/** Keep what was done, then send it if it can be. */
export async function keep(entries, draft = null) {
  await outbox.keep(entries, draft);
  await show();
  attempt();
}

export function show() {
  showing = showing.then(showNow, showNow);
  return showing;
}

async function showNow() {
  const [rows, sent] = await Promise.all([outbox.unsent(), outbox.sent()]);
  const waits = rows.filter((row) => row.state === outbox.WAITING).length;
  const open = rows.length - waits;
  const bar = document.getElementById("signal");
  bar.dataset.state = open ? "settle" : waits ? "unsent" : "fine";
  const said = [];
  if (!navigator.onLine || outcome === "away") said.push(say("away"));
  else if (outcome === "signed_out") said.push(say("signed-out"));
  else if (outcome === "stranger") said.push(say("stranger"));
  if (waits) said.push(say(outcome === "sending" && navigator.onLine ? "sending" : "waits", { count: waits }));
  if (open) said.push(say("settle", { count: open }));
  if (!rows.length) said.push(sent.length ? say("all-sent", { hour: hour(lastOf(sent)) }) : say("nothing-waits"));
  const text = said.join(" ");
  const place = document.getElementById("signal-said");
  if (place.textContent !== text) place.textContent = text;
  document.getElementById("signal-sign-in").hidden = outcome !== "signed_out";
  document.getElementById("signal-again").hidden = !waits || outcome === "sending" || outcome === "signed_out";
  const list = document.getElementById("unsent-list");
  list.replaceChildren(...rows.map(shown));
  document.getElementById("unsent").hidden = !rows.length;
  for (const listener of listeners) listener(rows, sent);
}

const lastOf = (sent) => sent.map((row) => row.sent_at).sort().at(-1);

function shown(row) {
  const node = copyOf(row.state === outbox.WAITING ? "unsent-row" : "settle-row");
  slot(node, "label").textContent = row.label;
  slot(node, "made").textContent = say("made", { hour: hour(row.made_at) });
  if (row.state === outbox.WAITING) return node;
  const said = row.problem?.code === "too_late" ? say("too-late") : say("refused", { status: row.problem?.status ?? "" });
  slot(node, "why").textContent = row.problem?.detail || said;
  const faults = (row.problem?.errors ?? []).map((fault) => fault.detail).filter((text) => text !== row.problem?.detail);
  slot(node, "faults").append(...faults.map((text) => {
    const item = document.createElement("li");
    item.textContent = text;
    return item;
  }));
  if (row.stored && row.stored.done_by !== person) {
    const theirs = document.createElement("p");
    theirs.textContent = say("theirs");
    slot(node, "both").append(theirs);
  }
  if (row.stored && row.labels) {
    const both = copyOf("both-reports");
    fillLines(slot(both, "mine"), linesOf(row.body, row.labels));
    fillLines(slot(both, "theirs"), linesOf(row.stored, row.labels));
    slot(node, "both").append(both);
  }
  const choices = slot(node, "choices");
  for (const [word, act, kind] of choicesFor(row)) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = say(word);
    if (kind) button.className = kind;
    button.addEventListener("click", async () => {
      await act();
      await attempt();
    });
    choices.append(button);
  }
  return node;
}

function fillLines(list, lines) {
  for (const [name, value] of lines) {
    const term = document.createElement("dt");
    const told = document.createElement("dd");
    term.textContent = name;
    told.textContent = value;
    list.append(term, told);
  }
}

/** What a person may do with an entry that the server did not take: word of the button, and what it does. */
function choicesFor(row) {
  const throwAway = [row.stored ? "keep-stored" : "throw-away", () => outbox.discard(row), "second"];
  const once = ["once-more", () => outbox.again(row), ""];
  if (row.problem?.code === "too_late") return [throwAway];
  if (row.kind !== "report") return [once, throwAway];
  // What another person reported, only they or the office may put right.
  const isTheirs = row.stored && row.stored.done_by !== person;
  const change = row.kept ? [["change-report", () => reopen(row), "second"]] : [];
  const replaces = (reference) => ["takes-place", () => outbox.again(row, { ...row.body, reference, follows: "correction" }), ""];
  switch (row.problem?.code) {
    case "reference_conflict":
      return [replaces(crypto.randomUUID()), throwAway];
    case "changed_already":
      return [...(isTheirs ? [once] : [replaces(row.body.reference)]), ...change, throwAway];
    case "second_report":
      return [
        ...(isTheirs ? [once] : [replaces(row.body.reference)]),
        ["done-besides", () => outbox.again(row, { ...row.body, follows: "addition" }), ""],
        throwAway,
      ];
    case "visit_is_cancelled":
    case "visit_not_done":
      return [["without-visit", () => outbox.again(row, { ...row.body, visit: null, not_done: [] }), ""], throwAway];
    default:
      return [...change, once, throwAway];
  }
}

/** Take a report back into its form, with its pictures, to be changed and sent anew. */
async function reopen(row) {
  const rows = await outbox.unsent();
  await outbox.reopen(row, rows.filter((each) => each.after === row.key));
  location.assign(row.kept.page);
}
