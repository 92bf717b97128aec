// What was done and is not sent yet. Each entry is one request to the interface, with a key that makes it safe to send
// again; it leaves the phone only when the server has answered that it is stored.

import * as store from "./store.js";

export const WAITING = "waiting";
export const CONFLICT = "conflict";
export const REFUSED = "refused";

// A bad line is given up and tried again; a picture may take its time.
const ASK_MS = 10000;
const SEND_MS = 90000;
const TWO_DAYS_MS = 2 * 24 * 3600 * 1000;

// What says that the server could not do it now, and may in a moment.
const PASSING = new Set([408, 425, 429, 500, 502, 503, 504]);
// Problems that are over when the same is sent again.
const PASSING_CODES = new Set(["still_running", "busy"]);

/**
 * One entry. `after` is the key of the report whose number the address names as {record}; what says that it lasts so
 * long, such as being on the way, is not told later: the server would take the moment of its arrival for the truth.
 */
export const entry = ({ address, body = null, blob = null, fields = null, kind, label, visit = null, after = null,
  labels = null, kept = null, lasts_ms = null }) => ({
  key: crypto.randomUUID(), address, body, blob, fields, kind, label, visit, after, labels, kept, lasts_ms,
  made_at: new Date().toISOString(), state: WAITING, problem: null, stored: null,
});

/** Keep entries, and let go of the draft that they were made of, all or nothing. */
export const keep = (entries, draft = null) => store.change(["about", "outbox", "drafts"], async (stores, answered) => {
  const skew = await answered(stores.about.get("clock"));
  for (const each of entries) stores.outbox.add({ ...each, on_servers_clock: skew !== undefined });
  if (draft !== null) stores.drafts.delete(draft);
});

export const unsent = () => store.all("outbox");

export const sent = () => store.all("sent");

export const update = (row) => store.put("outbox", row);

/** Throw an entry away, with the pictures that belong to it. */
export async function discard(row) {
  const rows = await unsent();
  await store.change(["outbox"], (stores) => {
    for (const each of rows) if (each.key === row.key || each.after === row.key) stores.outbox.delete(each.seq);
  });
}

/** Make a draft of a report again, with what belongs to it; it is no longer on its way. */
export const reopen = (row, others) => store.change(["outbox", "drafts"], (stores) => {
  for (const each of [row, ...others]) stores.outbox.delete(each.seq);
  stores.drafts.put(row.kept.draft, row.kept.key);
});

/** Put an entry on its way again, as another request: the key of the one before stands for what it said. */
export const again = (row, body = row.body) => update({
  ...row, body, key: row.key, attempt: crypto.randomUUID(), state: WAITING, problem: null, stored: null,
});

/** Forget what was sent the day before yesterday. */
export async function tidy() {
  const rows = await sent();
  const old = rows.filter((row) => Date.now() - Date.parse(row.sent_at) > TWO_DAYS_MS);
  if (old.length) await store.change(["sent"], (stores) => { for (const row of old) stores.sent.delete(row.key); });
}

/**
 * Send what waits, the oldest first.
 *
 * Gives how it went: "nothing" to send, "sent", "away" (no signal, or a server that cannot now), "signed_out",
 * "stranger" (somebody else is signed in: nothing is sent in their name), "busy" (another window sends).
 */
export function send(person) {
  if (!navigator.locks) return sendInTurn(person);
  return navigator.locks.request("my-day-outbox", { ifAvailable: true }, (lock) => lock ? sendInTurn(person) : "busy");
}

async function sendInTurn(person) {
  // Asked although nothing may wait: how far this phone's clock is off must be known before anything is done.
  const who = await signedIn();
  if (typeof who === "string") return who;
  if (who !== person) return "stranger";
  const rows = (await unsent()).filter((row) => row.state === WAITING);
  if (!rows.length) return "nothing";
  for (const row of rows) {
    const outcome = await sendOne(await onServersClock(row));
    if (outcome !== "sent") return outcome;
  }
  return "sent";
}

/** Now, as ISO text, by the server's clock as far as this phone knows it: a report from the future is refused. */
export async function now() {
  const skew = (await store.get("about", "clock")) ?? 0;
  return new Date(Date.now() + Math.min(skew, 0)).toISOString();
}

/** The membership that is signed in; "away" or "signed_out" where none can be had. */
export async function signedIn() {
  let response;
  try {
    response = await fetch("/api/v1/me/", { headers: { Accept: "application/json" }, cache: "no-store",
      signal: AbortSignal.timeout(ASK_MS) });
  } catch {
    return "away";
  }
  if (response.status === 401) return "signed_out";
  if (!response.ok) return "away";
  const skew = Date.parse(response.headers.get("Date") ?? "") - Date.now();
  if (Number.isFinite(skew)) await store.put("about", skew, "clock");
  return (await response.json()).membership.id;
}

/** An entry made while nobody knew that this phone's clock is ahead: its moments, brought to the server's clock. */
async function onServersClock(row) {
  if (row.on_servers_clock) return row;
  const skew = (await store.get("about", "clock")) ?? 0;
  const present = Date.now() + skew;
  const moments = [row.body, ...(row.body?.readings ?? [])].filter(Boolean);
  const isAhead = (moment) => moment !== undefined && Date.parse(moment) > present;
  if (!moments.some((each) => isAhead(each.done_at) || isAhead(each.taken_at))) return row;
  const brought = structuredClone(row.body);
  for (const each of [brought, ...(brought.readings ?? [])]) {
    for (const name of ["done_at", "taken_at"]) {
      if (each[name] !== undefined) each[name] = new Date(Date.parse(each[name]) + skew).toISOString();
    }
  }
  const changed = { ...row, body: brought, on_servers_clock: true };
  await update(changed);
  return changed;
}

async function sendOne(row) {
  if (row.lasts_ms !== null && Date.now() - Date.parse(row.made_at) > row.lasts_ms) {
    await update({ ...row, state: REFUSED, problem: { code: "too_late", detail: "", errors: [] } });
    return "sent";
  }
  let address = row.address;
  if (row.after) {
    const report = await store.get("sent", row.after);
    // Its report is not stored yet: whoever settles that brings the picture along.
    if (!report) return "sent";
    address = address.replace("{record}", report.id);
  }
  let response;
  try {
    response = await fetch(address, { method: "POST", headers: headersOf(row), body: bodyOf(row),
      signal: AbortSignal.timeout(SEND_MS) });
  } catch {
    return "away";
  }
  if (response.ok) {
    const stored = response.status === 204 ? null : await response.json().catch(() => null);
    const note = { key: row.key, kind: row.kind, label: row.label, visit: row.visit, id: stored?.id ?? null,
      sent_at: new Date().toISOString() };
    await store.change(["outbox", "sent"], (stores) => {
      stores.outbox.delete(row.seq);
      stores.sent.put(note, row.key);
    });
    return "sent";
  }
  if (response.status === 401) return "signed_out";
  const problem = await response.json().catch(() => ({ status: response.status, detail: "", errors: [] }));
  if (PASSING.has(response.status) || PASSING_CODES.has(problem.code)) return "away";
  const state = response.status === 409 ? CONFLICT : REFUSED;
  await update({ ...row, state, problem, stored: state === CONFLICT ? await storedReport(row) : null });
  // The others do not wait for what a person has to settle.
  return "sent";
}

/** What the server has in the place of a report that it did not take, to be shown beside it. */
async function storedReport(row) {
  if (row.kind !== "report") return null;
  const byReference = row.problem?.code === "reference_conflict";
  const query = !byReference && row.body.visit ? { visit: row.body.visit } : { reference: row.body.reference };
  try {
    const response = await fetch(`/api/v1/service-records/?${new URLSearchParams(query)}`, { cache: "no-store" });
    return response.ok ? (await response.json()).results[0] ?? null : null;
  } catch {
    return null;
  }
}

function headersOf(row) {
  const headers = { "Idempotency-Key": row.attempt ?? row.key, "X-CSRFToken": csrfToken(), Accept: "application/json" };
  return row.blob ? headers : { ...headers, "Content-Type": "application/json" };
}

function bodyOf(row) {
  if (!row.blob) return row.body === null ? null : JSON.stringify(row.body);
  const form = new FormData();
  for (const [name, value] of Object.entries(row.fields ?? {})) form.append(name, value);
  form.append("file", row.blob, "picture.jpg");
  return form;
}

export function csrfToken() {
  return document.cookie.split("; ").find((part) => part.startsWith("csrftoken="))?.slice("csrftoken=".length) ?? "";
}
