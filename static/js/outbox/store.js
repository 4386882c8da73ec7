// What this phone keeps: records that wait, their photos as bytes, the birds of the flock, notes.

const NAME = "flockcare", EDITION = 1;
let opening;

function open() {
  opening ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, EDITION);
    asked.onupgradeneeded = () => {
      const database = asked.result;
      database.createObjectStore("entries", { keyPath: "key" });
      database.createObjectStore("photos", { keyPath: "key" }).createIndex("entry", "entry");
      database.createObjectStore("lists", { keyPath: "flock" });
      database.createObjectStore("notes", { keyPath: "name" });
    };
    asked.onerror = () => reject(asked.error);
    asked.onsuccess = () => {
      const database = asked.result;
      database.onversionchange = database.onclose = () => {
        database.close();
        opening = undefined;
      };
      resolve(database);
    };
  }).catch((error) => {
    opening = undefined;
    throw error;
  });
  return opening;
}

// The result is that of the request which `work` returns, once all of it is on the disk.
async function transact(names, mode, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(names, mode, { durability: "strict" });
    const request = work(...[names].flat().map((name) => transaction.objectStore(name)));
    transaction.oncomplete = () => resolve(request?.result);
    transaction.onabort = () => reject(transaction.error);
  });
}

export const allEntries = () => transact("entries", "readonly", (entries) => entries.getAll());
export const entryOf = (key) => transact("entries", "readonly", (entries) => entries.get(key));

export const photosOf = (key) =>
  transact("photos", "readonly", (photos) => photos.index("entry").getAll(key));

// An entry with exactly these photos; all of it or, when the phone is full, nothing.
export const keepEntry = (entry, photos) =>
  transact(["entries", "photos"], "readwrite", (entries, kept) => {
    const wanted = new Set(photos.map((photo) => photo.key));
    const before = kept.index("entry").openKeyCursor(entry.key);
    before.onsuccess = () => {
      const cursor = before.result;
      if (!cursor) return;
      if (!wanted.has(cursor.primaryKey)) kept.delete(cursor.primaryKey);
      cursor.continue();
    };
    for (const photo of photos) kept.put({ ...photo, entry: entry.key });
    return entries.put(entry);
  });

// Changes what is still there; what was sent or discarded meanwhile does not come back.
export const changeEntry = (key, changes) =>
  transact("entries", "readwrite", (entries) => {
    const stored = entries.get(key);
    stored.onsuccess = () => stored.result && entries.put({ ...stored.result, ...changes });
  });

export const changePhoto = (key, changes) =>
  transact("photos", "readwrite", (photos) => {
    const stored = photos.get(key);
    stored.onsuccess = () => stored.result && photos.put({ ...stored.result, ...changes });
  });

export const dropPhoto = (key) => transact("photos", "readwrite", (photos) => photos.delete(key));

export const dropEntry = (key) =>
  transact(["entries", "photos"], "readwrite", (entries, photos) => drop(key, entries, photos));

function drop(key, entries, photos) {
  const keys = photos.index("entry").getAllKeys(key);
  keys.onsuccess = () => keys.result.forEach((photo) => photos.delete(photo));
  entries.delete(key);
}

// What the server has: a bird that was checked `at` that moment is so in the list of her flock too,
// should there be no signal any more to renew it.
export const dropSent = ({ key, kind, flock, bird }, at) =>
  transact(["entries", "photos", "lists"], "readwrite", (entries, photos, lists) => {
    drop(key, entries, photos);
    const kept = lists.get(flock);
    kept.onsuccess = () => {
      const hers = kind === "check" && kept.result?.birds.find((one) => one.id === bird);
      if (!hers || hers.checked > at) return;
      hers.checked = at;
      lists.put(kept.result);
    };
  });

// Beside the lists, under the keys of flocks, lie the pictures that they show, under their addresses:
// "/" comes before all that a key begins with. So what wipes the lists wipes the pictures.
const LISTS = () => IDBKeyRange.lowerBound("0");
const picturesOf = (flock) => IDBKeyRange.bound(`/f/${flock}/`, `/f/${flock}0`, false, true);

export const allLists = () => transact("lists", "readonly", (lists) => lists.getAll(LISTS()));
export const dropList = (flock) =>
  transact("lists", "readwrite", (lists) => {
    lists.delete(picturesOf(flock));
    lists.delete(flock);
  });

// Only of whoever is here by now: they may have signed out since it was asked for.
export const keepList = (list) => keepAsLongAs(list.keeper, (lists) => lists.put(list));
export const keepPicture = (keeper, address, picture) =>
  keepAsLongAs(keeper, (lists) => lists.put({ flock: address, keeper, picture }));

const keepAsLongAs = (keeper, work) =>
  transact(["lists", "notes"], "readwrite", (lists, notes) => {
    const who = notes.get("who");
    who.onsuccess = () => who.result?.keeper === keeper && work(lists);
  });

// By address: how many bytes each has.
export const picturesKept = async (flock) => {
  const found = await transact("lists", "readonly", (lists) => lists.getAll(picturesOf(flock)));
  return new Map(found.map(({ flock: address, picture }) => [address, picture.size]));
};
export const pictureAt = (address) => transact("lists", "readonly", (lists) => lists.get(address));
export const dropPictures = (addresses) =>
  transact("lists", "readwrite", (lists) => addresses.forEach((address) => lists.delete(address)));

export const note = (name) => transact("notes", "readonly", (notes) => notes.get(name));
export const setNote = (name, values) =>
  transact("notes", "readwrite", (notes) => notes.put({ ...values, name }));
// In one go, so that of two who look at once neither overwrites the other, and each note is had once.
export const changeNote = (name, change) =>
  transact("notes", "readwrite", (notes) => {
    const before = notes.get(name);
    before.onsuccess = () => notes.put({ ...change(before.result), name });
  });
export const takeNote = (name) =>
  transact("notes", "readwrite", (notes) => {
    const found = notes.get(name);
    notes.delete(name);
    return found;
  });
export const dropNote = (name) => transact("notes", "readwrite", (notes) => notes.delete(name));

// Who is signed in on this phone, or was when it last had signal: {keeper, name}.
export async function whoIsHere() {
  const who = await note("who");
  return who && { keeper: who.keeper, name: who.keeperName ?? "" };
}

// The list of this flock, or the one used last, if whoever is here has any.
export async function birdsOf(flock) {
  const keeper = (await whoIsHere())?.keeper;
  const lists = (await allLists()).filter((list) => list.keeper === keeper);
  return lists.find((list) => list.flock === flock) ?? lists.sort((a, b) => b.fetched - a.fetched)[0];
}

// What was kept to read is one keeper's: it goes when another comes, and when they sign out.
export const keeperIsHere = (keeper, keeperName) =>
  transact(["lists", "notes"], "readwrite", (lists, notes) => {
    const before = notes.get("who");
    before.onsuccess = () => {
      if (before.result?.keeper !== keeper) lists.clear();
      notes.put({ name: "who", keeper, keeperName });
    };
  });

export const nobodyIsHere = () =>
  transact(["lists", "notes"], "readwrite", (lists, notes) => {
    lists.clear();
    notes.delete("who");
  });

// Takes the note for `owner` until `until`, unless another holds it now.
export async function takeLease(name, owner, until) {
  let mine = false;
  await transact("notes", "readwrite", (notes) => {
    const held = notes.get(name);
    held.onsuccess = () => {
      mine = !held.result || held.result.owner === owner || held.result.until < Date.now();
      if (mine) notes.put({ name, owner, until });
    };
  });
  return mine;
}
