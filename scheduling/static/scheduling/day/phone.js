// Whose phone this is, and that its pages open without a signal.

import * as store from "./store.js";
import { say } from "./words.js";

const page = () => document.getElementById("my-day");

/** The membership for which this page was made. */
export const person = () => Number(page().dataset.person);

/**
 * Make sure that nothing of somebody else is kept here.
 *
 * Gives how many things of another person had to go unsent; 0 where the phone was this person's already.
 */
export async function own() {
  const before = await store.get("about", "person");
  if (before === person()) return 0;
  const lost = before === undefined ? 0 : (await store.all("outbox")).length;
  await store.empty();
  await store.put("about", person(), "person");
  return lost;
}

/** Say that things of somebody else are gone. */
export function sayLost(count) {
  if (!count) return;
  const node = document.createElement("p");
  node.className = "remark";
  node.textContent = say("lost", { count });
  page().prepend(node);
}

/** Ask before somebody signs out over what is not sent. */
export function guardSignOut(action, unsent) {
  for (const form of document.querySelectorAll(`form[action="${action}"]`)) {
    form.addEventListener("submit", async (event) => {
      if (form.dataset.sure) return;
      event.preventDefault();
      const count = (await unsent()).length;
      if (count && !confirm(say("sure-sign-out", { count }))) return;
      form.dataset.sure = "yes";
      form.requestSubmit();
    });
  }
}

/**
 * Have the service worker keep these pages, and say how many it has. Where there is none, pages need a signal.
 * `only` lets go of all others, such as those of yesterday.
 */
export async function keepPages(addresses, said, only = false) {
  if (!("serviceWorker" in navigator)) {
    said.textContent = say("cannot-keep");
    return;
  }
  said.textContent = say("keeping");
  const had = navigator.serviceWorker.controller !== null;
  navigator.serviceWorker.addEventListener("message", (event) => {
    if (event.data?.kept !== undefined) said.textContent = keptIn(event.data);
  });
  // New files with a page of before would not fit: it is opened anew, and what was typed is kept.
  navigator.serviceWorker.addEventListener("controllerchange", () => { if (had) location.reload(); });
  try {
    await navigator.serviceWorker.register(page().dataset.worker, { scope: "/" });
    const worker = (await navigator.serviceWorker.ready).active;
    worker.postMessage({ keep: addresses, person: person(), only });
  } catch {
    said.textContent = say("cannot-keep");
  }
}

function keptIn({ kept, wanted }) {
  return kept === wanted ? say("all-kept", { count: kept }) : say("some-kept", { kept, wanted });
}
