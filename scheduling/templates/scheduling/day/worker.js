// The service worker of an installer's day: its pages and files open without a signal, and nothing of them stays when
// somebody signs out. It has the whole site in its scope to see who signs in and out; other pages it leaves alone.

const FILES = "my-day-files-{{ version }}";
const PAGES = "my-day-pages";
const PERSON = "my-day-person";
const DATABASE = "my-day";
const START = "{{ start }}";
const SIGN_IN = "{{ sign_in }}";
const SIGN_OUT = "{{ sign_out }}";
const ACCOUNT = "{{ account }}";
const FILE_ADDRESSES = [{% for address in files %}
  "{{ address }}",{% endfor %}
];
// A signal that is there but says nothing for so long is as good as none.
const PATIENCE_MS = 4000;

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(FILES);
    await cache.addAll(FILE_ADDRESSES.map((address) => new Request(address, { cache: "reload" })));
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    const names = await caches.keys();
    await Promise.all(names.filter((name) => name.startsWith("my-day-files-") && name !== FILES)
      .map((name) => caches.delete(name)));
    await self.clients.claim();
  })());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST") {
    if (url.pathname === SIGN_OUT) event.respondWith(signOut(request));
    // By a password, by the link of a letter, or as another member of the same person.
    if (url.pathname.startsWith(SIGN_IN) || url.pathname === ACCOUNT) event.respondWith(signIn(event));
    return;
  }
  if (request.method !== "GET") return;
  if (FILE_ADDRESSES.includes(url.pathname)) event.respondWith(file(url.pathname, request));
  else if (request.mode !== "navigate") return;
  else if (url.pathname.startsWith(START)) event.respondWith(page(event, url.pathname));
  // Whoever comes to the door is not, or not any more, who these pages were made for.
  else if (url.pathname.startsWith(SIGN_IN)) event.waitUntil(caches.delete(PAGES));
});

self.addEventListener("message", (event) => {
  if (event.data?.keep) event.waitUntil(keep(event.data, event.source));
});

async function file(address, request) {
  const kept = await caches.match(address, { cacheName: FILES });
  return kept ?? fetch(request);
}

/** The page as it is now; as it was kept where there is no signal. */
async function page(event, address) {
  const fresh = fetch(event.request);
  const kept = await caches.match(address, { cacheName: PAGES, ignoreVary: true });
  const put = fresh.then((response) => remember(address, response.clone(), response));
  event.waitUntil(put.catch(() => {}));
  try {
    return await (kept ? Promise.race([fresh, silence()]) : fresh);
  } catch {
    return kept ?? notKept();
  }
}

const silence = () => new Promise((_, reject) => { setTimeout(() => reject(new Error("silence")), PATIENCE_MS); });

async function remember(address, copy, response) {
  if (response.ok && !response.redirected) await (await caches.open(PAGES)).put(address, copy);
  // A page that sends to the door: nobody is signed in any more.
  else if (response.type === "opaqueredirect" || response.redirected) await caches.delete(PAGES);
  else if (response.status === 403 || response.status === 404) await (await caches.open(PAGES)).delete(address);
}

function notKept() {
  return new Response(NOT_KEPT, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
}

/** Fetch the pages of a day one after the other, and tell the page how many are kept. */
async function keep({ keep: addresses, person, only }, client) {
  await (await caches.open(PERSON)).put(START, new Response(String(person)));
  const cache = await caches.open(PAGES);
  for (const address of addresses) {
    try {
      const response = await fetch(address, { headers: { Accept: "text/html" }, redirect: "manual", cache: "no-store" });
      if (response.ok) await cache.put(address, response);
    } catch {
      // What was kept before is better than nothing.
    }
  }
  if (only) {
    for (const request of await cache.keys()) {
      if (!addresses.includes(new URL(request.url).pathname)) await cache.delete(request);
    }
  }
  const paths = (await cache.keys()).map((request) => new URL(request.url).pathname);
  const kept = addresses.filter((address) => paths.includes(address)).length;
  client?.postMessage({ kept, wanted: addresses.length });
}

/** Sign out, and forget all that was kept; without a signal nobody is signed out, and nothing is lost. */
async function signOut(request) {
  try {
    const response = await fetch(request);
    if (response.ok || response.type === "opaqueredirect") await forget();
    return response;
  } catch {
    return new Response(NO_SIGN_OUT, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
  }
}

/** Sign in; of another person than before nothing is left here. */
async function signIn(event) {
  const response = await fetch(event.request);
  event.waitUntil((async () => {
    const kept = await caches.match(START, { cacheName: PERSON });
    if (!kept) return;
    const before = Number(await kept.text());
    const answer = await fetch("/api/v1/me/", { headers: { Accept: "application/json" }, cache: "no-store" });
    if (answer.ok && (await answer.json()).membership.id !== before) await forget();
  })().catch(() => {}));
  return response;
}

async function forget() {
  await Promise.all([caches.delete(PAGES), caches.delete(PERSON)]);
  await new Promise((resolve) => {
    const request = indexedDB.deleteDatabase(DATABASE);
    request.onsuccess = request.onerror = request.onblocked = resolve;
  });
}

const NOT_KEPT = {{ not_kept|safe }};
const NO_SIGN_OUT = {{ no_sign_out|safe }};
