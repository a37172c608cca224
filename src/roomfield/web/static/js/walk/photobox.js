// Photos on their way: pictures are too large for the list of waiting entries and lie in the browser's database.

const NAME = "roomfield-photos";
const STORE = "photos";

function opened() {
  return new Promise((done, fail) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE);
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  });
}

async function within(mode, work) {
  const base = await opened();
  try {
    return await new Promise((done, fail) => {
      const whole = base.transaction(STORE, mode);
      const asked = work(whole.objectStore(STORE));
      whole.oncomplete = () => done(asked.result);
      whole.onerror = () => fail(whole.error);
      whole.onabort = () => fail(whole.error);
    });
  } finally {
    base.close();
  }
}

export const holdPhoto = (id, picture) => within("readwrite", (store) => store.put(picture, id));
export const heldPhoto = (id) => within("readonly", (store) => store.get(id));
export const dropPhoto = (id) => within("readwrite", (store) => store.delete(id));
