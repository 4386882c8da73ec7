// Keeps what is read without signal: the birds of the flock, how each of them stands, and their last
// photos in small; of no other keeper on this phone.

import { allLists, dropList, dropPictures, keepList, keepPicture, picturesKept } from "./store.js";

const FRESH = 30_000;
const QUIET = 3_000; // pictures wait until the page has what it needs
const MOST_BYTES = 3_000_000; // of all pictures, each of which has about 10,000

let keeping = Promise.resolve(), later;

// `flock`: one more besides those that are kept already; `now`: however fresh those are. One after
// the other: an older answer is not to come last.
export function keepToRead(...asked) {
  keeping = keeping.catch(() => {}).then(() => keep(...asked));
  return keeping;
}

async function keep(keeper, flock, { now = false } = {}) {
  const mine = (await allLists()).filter((list) => list.keeper === keeper);
  const wanted = new Set(mine.map((list) => list.flock));
  if (flock) wanted.add(flock);
  for (const key of wanted) {
    const before = mine.find((list) => list.flock === key);
    if (now || !before || !(Date.now() - before.fetched < FRESH)) await keepListOf(key, keeper, before);
  }
  clearTimeout(later);
  later = setTimeout(() => keepPictures(keeper).catch(() => {}), QUIET); // the next page goes on
}

async function keepListOf(key, keeper, before) {
  const headers = before?.tag ? { "If-None-Match": before.tag } : {};
  const asked = { redirect: "manual", cache: "no-store", headers };
  const answer = await fetch(`/f/${key}/outbox/birds/`, asked);
  const fetched = Date.now();
  if (answer.status === 304) {
    await keepList({ ...before, fetched });
  } else if (answer.ok) {
    const { keeper: whose, flock: { name, zone, units }, birds, round, today, list, pictures } = await answer.json();
    if (whose.id !== keeper) return; // somebody else has signed in meanwhile, on another page
    // Packed answers have a weak one.
    const tag = answer.headers.get("ETag")?.replace(/^W\//, "");
    await keepList({ flock: key, keeper, fetched, tag, name, zone, units, birds, round, today, list, pictures });
  } else if ([403, 404].includes(answer.status)) {
    await dropList(key); // no longer a keeper there
  }
}

async function keepPictures(keeper) {
  if (navigator.connection?.saveData) return;
  for (const { flock, pictures = [] } of await allLists()) {
    const there = await picturesKept(flock), wanted = new Set(pictures);
    await dropPictures([...there.keys()].filter((address) => !wanted.has(address)));
    let bytes = 0;
    for (const [address, size] of there) if (wanted.has(address)) bytes += size;
    // Kept here only, where signing out wipes it, and not by the browser as well.
    for (const address of pictures.filter((one) => !there.has(one))) {
      const answer = await fetch(address, { redirect: "manual", cache: "no-store" });
      if (!answer.ok) continue;
      const picture = await answer.blob();
      bytes += picture.size;
      if (bytes > MOST_BYTES) break;
      await keepPicture(keeper, address, picture);
    }
  }
}
