// What is kept on this phone: one database, written through to the disk before anybody is told that it is kept.

const NAME = "my-day";
const VERSION = 1;
// about: whose phone this is, and how far its clock is off. drafts: forms as they were left. outbox: what was not sent
// yet, in the order in which it was done. sent: what was, with the number that the server gave it.
const STORES = { about: {}, drafts: {}, outbox: { keyPath: "seq", autoIncrement: true }, sent: {} };

let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      for (const [name, options] of Object.entries(STORES)) request.result.createObjectStore(name, options);
    };
    request.onsuccess = () => {
      const database = request.result;
      const forget = () => { opened = null; };
      // The service worker deletes the database when somebody signs out: nobody here may stand in its way.
      database.onversionchange = () => { database.close(); forget(); };
      database.onclose = forget;
      resolve(database);
    };
    request.onerror = () => { opened = null; reject(request.error); };
  });
  return opened;
}

const answered = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

/** Change several stores, all or nothing. `work` gets the stores by name and must wait for nothing but them. */
export async function change(names, work) {
  const database = await open();
  const transaction = database.transaction(names, "readwrite", { durability: "strict" });
  const done = new Promise((resolve, reject) => {
    transaction.oncomplete = resolve;
    transaction.onabort = transaction.onerror = () => reject(transaction.error);
  });
  const stores = Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)]));
  let result;
  try {
    result = await work(stores, answered);
  } catch (error) {
    done.catch(() => {});
    transaction.abort();
    throw error;
  }
  await done;
  return result;
}

export async function get(name, key) {
  const database = await open();
  return answered(database.transaction(name).objectStore(name).get(key));
}

export async function all(name) {
  const database = await open();
  return answered(database.transaction(name).objectStore(name).getAll());
}

export const put = (name, value, key) => change([name], (stores) => { stores[name].put(value, key); });

export const remove = (name, key) => change([name], (stores) => { stores[name].delete(key); });

/** Forget everything. */
export const empty = () => change(Object.keys(STORES), (stores) => {
  for (const store of Object.values(stores)) store.clear();
});
