// Sends what waits, one sender at a time: the record first, then its photos. Something leaves the
// phone's store only after an answer that names its key.

import { asFile, isHeld, momentOf, readableEntries, readableEntry } from "./entries.js";
import {
  changeEntry, changeNote, changePhoto, dropEntry, dropNote, dropPhoto, dropSent, note, photosOf, setNote, takeLease,
} from "./store.js";

// About four seconds of a slow line: what is lost when it breaks, or the page is left.
const PART = 256 * 1024;
// Says how far a photo is: {of: [number, how many], percent}, or nothing.
export const progress = new EventTarget();
const tell = (detail) => progress.dispatchEvent(new CustomEvent("progress", { detail }));
const SHORTEST = 5_000, LONGEST = 15 * 60_000;
const NO_RIGHT =
  "You may not log for this flock any more. Ask an owner, then try again.";
const TOO_LARGE = "This is too large to send.";
const me = Math.random().toString(36).slice(2);

// "nothing" waits, "sent", "refused" some of it, "signed out", "no signal", "full", "busy", "later".
// `now`: whatever the pause, and after another page of this browser that is sending.
export async function sendWaiting({ now = false } = {}) {
  const patience = now ? 20_000 : 0;
  return (await alone(() => round(now), patience)) ?? "busy";
}

// Takes back what is not sent yet, while nobody sends; whether it was there to be taken back.
export const takeBack = (key) =>
  alone(async () => {
    const entry = await readableEntry(key);
    if (!entry || entry.stored) return false;
    await dropEntry(key);
    return true;
  }, 20_000);

// Undefined when another page has not finished in time. Locks are missing on plain HTTP.
async function alone(work, patience) {
  if (!navigator.locks) return leased(work, patience);
  const how = patience ? { signal: timeLimit(patience) } : { ifAvailable: true };
  let begun = false;
  const held = (lock) => {
    begun = Boolean(lock);
    return lock ? work() : undefined;
  };
  try {
    return await navigator.locks.request("outbox", how, held);
  } catch (problem) {
    if (begun) throw problem;
    return undefined;
  }
}

async function leased(work, patience) {
  const until = () => Date.now() + 60_000;
  for (const end = Date.now() + patience; !(await takeLease("sender", me, until())); ) {
    if (Date.now() >= end) return undefined;
    await new Promise((resolve) => setTimeout(resolve, 500));
  }
  const renewing = setInterval(() => takeLease("sender", me, until()), 20_000);
  try {
    return await work();
  } finally {
    clearInterval(renewing);
    await dropNote("sender");
  }
}

const isReady = (entry) => entry?.state === "waiting" && !isHeld(entry);

async function round(now) {
  const waiting = (await readableEntries()).filter(isReady);
  if (!waiting.length) return "nothing";
  const pause = await note("pause");
  if (!now && pause?.until > Date.now()) return "later";
  try {
    const hello = await greet();
    if (!hello) return "signed out";
    const mine = waiting.filter((entry) => entry.keeper === hello.keeper);
    const outcomes = [];
    for (const { key } of mine) {
      // As it is by now: while others were sent it may have been corrected, or be shown on a form.
      const entry = await readableEntry(key);
      if (isReady(entry)) outcomes.push(await sendEntry(entry, hello));
    }
    await dropNote("pause");
    if (outcomes.includes("signed out")) return "signed out";
    if (!mine.length) return "nothing";
    return outcomes.includes("refused") ? "refused" : "sent";
  } catch (problem) {
    await backOff(pause, problem);
    return problem.reasons ? "full" : "no signal";
  }
}

// Twice as long after each time in vain, somewhere between half and all of it, so that phones
// which lost the same server do not come back together.
async function backOff(pause, problem) {
  if (!(problem instanceof TryLater)) console.info("Not sent:", problem?.name);
  const tries = (pause?.tries ?? 0) + 1;
  const wait = Math.min(LONGEST, SHORTEST * 2 ** tries) * (0.5 + Math.random() / 2);
  const until = Date.now() + Math.max(wait, problem?.wait ?? 0);
  await setNote("pause", { tries, until, reasons: problem?.reasons });
}

// `reasons`: in the server's words, where it knows them.
class TryLater extends Error {
  constructor(answer, reasons) {
    super(`answer ${answer.status}`);
    this.reasons = reasons;
    this.wait = 1000 * Number(answer.headers.get("Retry-After") ?? 0);
  }
}

async function greet() {
  const answer = await fetch("/outbox/hello/", {
    cache: "no-store", redirect: "manual", signal: timeLimit(15_000),
  });
  if (answer.status === 401) return null;
  const hello = answer.ok ? await answer.json() : null;
  if (!hello?.token) throw new TryLater(answer);
  return hello;
}

async function sendEntry(entry, hello) {
  const about = { kind: entry.kind, keeper: hello.keeper, made: entry.made, clock: new Date().toISOString() };
  const base = `/f/${entry.flock}/outbox`;
  const waited = !entry.stored;
  if (waited) {
    const body = JSON.stringify({ ...about, bird: entry.bird, fields: entry.fields });
    const answer = await post(`${base}/records/${entry.key}/`, body, hello, entry.key);
    if (answer.signedOut) return "signed out";
    if (answer.reasons) {
      await changeEntry(entry.key, { state: "refused", reasons: answer.reasons, savedAt: answer.url });
      return "refused";
    }
    await changeEntry(entry.key, { stored: answer });
    if (answer.notices?.length) await notice(answer.notices);
  }
  const refused = [], elsewhere = [];
  const photos = await photosOf(entry.key);
  for (const [number, photo] of photos.entries()) {
    const answer = await sendPhoto(entry, photo, hello, { about, base, of: [number + 1, photos.length] });
    if (answer.signedOut) return "signed out";
    if (answer.elsewhere) elsewhere.push({ photo: photo.key, ...answer.elsewhere });
    if (answer.reasons) refused.push(...answer.reasons);
    else await dropPhoto(photo.key);
    if (answer.notices?.length) await notice(answer.notices);
  }
  tell(null);
  if (refused.length) {
    await changeEntry(entry.key, { state: "refused", reasons: refused, elsewhere });
    return "refused";
  }
  await dropSent(entry, momentOf(entry));
  // Of photos that follow a record it was said already that this is saved.
  if (waited) await changeNote("sent", (before) => ({ birds: [...(before?.birds ?? []), entry.birdName], at: Date.now() }));
  return "sent";
}

async function sendPhoto(entry, photo, hello, { about, base, of }) {
  const address = `${base}/photos/${photo.key}/`;
  for (let again = false; ; again = true) {
    const body = new FormData();
    const said = { ...about, record: entry.key, foot: photo.foot };
    if (photo.takeOver) said.take_over = "1";
    if (photo.bytes.byteLength > PART) {
      const count = Math.ceil(photo.bytes.byteLength / PART);
      // Where a page was left half-way, the next one goes on.
      for (let number = again ? 0 : (photo.sent ?? 0); number < count; number += 1) {
        tell({ of, percent: Math.floor((100 * number) / count) });
        const part = photo.bytes.slice(number * PART, (number + 1) * PART);
        const answer = await post(`${address}parts/${number}/`, new Blob([part]), hello, photo.key);
        if (answer.signedOut || answer.reasons) return answer;
        await changePhoto(photo.key, { sent: number + 1 });
      }
      Object.assign(said, { parts: count, name: photo.name });
    } else {
      tell({ of, percent: 0 });
      body.append("photo", asFile(photo));
    }
    for (const [name, value] of Object.entries(said)) body.append(name, value);
    const answer = await post(address, body, hello, photo.key);
    if (!answer.again) return answer;
    await changePhoto(photo.key, { sent: 0 });
    if (again) throw new Error("parts are gone");
  }
}

async function notice(words) {
  await changeNote("notices", (before) => ({ words: [...(before?.words ?? []), ...words] }));
}

// The answer: with `reasons` when it was refused, and then with the `url` of what is saved in its
// place, if anything is; {signedOut}. Throws to try later:
// no signal, a server in trouble, or an answer that is not from our server at all, such as the
// sign-in page of a strange network.
async function post(address, body, hello, key, { again = false } = {}) {
  const plain = typeof body === "string";
  const headers = { "X-CSRFToken": hello.token, Accept: "application/json" };
  if (body instanceof Blob) headers["Content-Type"] = "application/octet-stream";
  if (plain) headers["Content-Type"] = "application/json";
  const answer = await fetch(address, {
    method: "POST", body, headers, redirect: "manual", signal: timeLimit(plain ? 30_000 : 180_000),
  });
  if (answer.type === "opaqueredirect" || answer.status === 401) return { signedOut: true };
  const said = await answer.json().catch(() => null);
  if (answer.ok && said?.key === key) return said;
  if (answer.status === 412 && said?.key === key) return { again: true };
  if ([400, 409, 422].includes(answer.status) && said?.key === key) return said;
  if (answer.status === 413) return { reasons: [TOO_LARGE] };
  if (answer.status === 404) return { reasons: [NO_RIGHT] };
  if (answer.status === 403) {
    // No right, which stays; or a token of a session that ended a moment ago.
    if (again) return { reasons: [NO_RIGHT] };
    const fresh = await greet();
    if (fresh?.keeper !== hello.keeper) return { signedOut: true };
    return post(address, body, fresh, key, { again: true });
  }
  // A full disk (RFC 4918, 507): nothing is wrong with what waits.
  throw new TryLater(answer, answer.status === 507 ? said?.reasons : undefined);
}

function timeLimit(milliseconds) {
  return AbortSignal.timeout?.(milliseconds);
}
