// Sends what waits, one sender at a time: the record first, then its photos. Something leaves the
// phone's store only after an answer that names its key.

import { asFile, readableEntries } from "./entries.js";
import {
  changeEntry, dropEntry, dropNote, dropPhoto, note, photosOf, setNote, takeLease,
} from "./store.js";

const SHORTEST = 5_000, LONGEST = 15 * 60_000;
const NO_RIGHT =
  "You do not belong to this flock any more, or only look. Ask an owner of the flock; then try again.";
const TOO_LARGE = "This is larger than the server takes.";
const me = Math.random().toString(36).slice(2);

// "nothing" waits, "sent", "refused" some of it, "signed out", "no signal", "full", "busy", "later".
// `now`: whatever the pause, and after another page of this browser that is sending.
export async function sendWaiting({ now = false } = {}) {
  const patience = now ? 20_000 : 0;
  return (await alone(() => round(now), patience)) ?? "busy";
}

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

async function round(now) {
  const waiting = (await readableEntries()).filter(
    (entry) => entry.state === "waiting" && !(entry.heldUntil > Date.now()),
  );
  if (!waiting.length) return "nothing";
  const pause = await note("pause");
  if (!now && pause?.until > Date.now()) return "later";
  try {
    const hello = await greet();
    if (!hello) return "signed out";
    const mine = waiting.filter((entry) => entry.keeper === hello.keeper);
    const outcomes = [];
    for (const entry of mine) outcomes.push(await sendEntry(entry, hello));
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
  if (!entry.stored) {
    const body = JSON.stringify({ ...about, bird: entry.bird, fields: entry.fields });
    const answer = await post(`${base}/records/${entry.key}/`, body, hello, entry.key);
    if (answer.signedOut) return "signed out";
    if (answer.reasons) {
      await changeEntry(entry.key, { state: "refused", reasons: answer.reasons, savedAt: answer.url });
      return "refused";
    }
    await changeEntry(entry.key, { stored: answer });
    if (answer.notices?.length) await setNote("notices", { words: answer.notices });
  }
  const refused = [];
  for (const photo of await photosOf(entry.key)) {
    const body = new FormData();
    const said = { ...about, record: entry.key, foot: photo.foot };
    for (const [name, value] of Object.entries(said)) body.append(name, value);
    body.append("photo", asFile(photo));
    const answer = await post(`${base}/photos/${photo.key}/`, body, hello, photo.key);
    if (answer.signedOut) return "signed out";
    if (answer.reasons) refused.push(...answer.reasons);
    else await dropPhoto(photo.key);
  }
  if (refused.length) {
    await changeEntry(entry.key, { state: "refused", reasons: refused });
    return "refused";
  }
  await dropEntry(entry.key);
  return "sent";
}

// The answer: with `reasons` when it was refused, and then with the `url` of what is saved in its
// place, if anything is; {signedOut}. Throws to try later:
// no signal, a server in trouble, or an answer that is not from our server at all, such as the
// sign-in page of a strange network.
async function post(address, body, hello, key, { again = false } = {}) {
  const plain = typeof body === "string";
  const headers = { "X-CSRFToken": hello.token, Accept: "application/json" };
  if (plain) headers["Content-Type"] = "application/json";
  const answer = await fetch(address, {
    method: "POST", body, headers, redirect: "manual", signal: timeLimit(plain ? 30_000 : 180_000),
  });
  if (answer.type === "opaqueredirect" || answer.status === 401) return { signedOut: true };
  const said = await answer.json().catch(() => null);
  if (answer.ok && said?.key === key) return said;
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
