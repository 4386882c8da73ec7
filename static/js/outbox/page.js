// On every page: how much waits on this phone, sending it, and keeping what is read without signal.

import { isHeld, readableEntries } from "./entries.js";
import { takeOver } from "./forms.js";
import { filled, offerUndo, showKept } from "./blank.js";
import { progress, sendWaiting } from "./send.js";
import { keepToRead } from "./keep.js";
import { dropNote, keeperIsHere, nobodyIsHere, note, setNote, takeNote, whoIsHere } from "./store.js";
import { watchWorker } from "./update.js";
import { showWalk } from "./walk.js";

const { keeper, name, flock, shell } = document.body.dataset;
const writes = "writes" in document.body.dataset;
const signedOut = "signedOut" in document.body.dataset;
const bar = document.getElementById("outbox-bar");
const SOONEST = 3_000;
const COOKIE = "flockcare_waits";

// "change": what waits is another; "renewed": what is kept to read is.
export const changed = new EventTarget();
const others = "BroadcastChannel" in window ? new BroadcastChannel("outbox") : null;
if (others) others.onmessage = () => refresh();

const counted = (number, one, more) => `${number} ${number === 1 ? one : more}`;

let asked = 0, last = "";

// Two may look at once; the one that looked first is not to say the last word.
export async function refresh(outcome = last) {
  const mine = (asked += 1);
  last = outcome;
  const said = await look(outcome);
  if (mine === asked) show(said);
}

async function look(outcome) {
  const entries = await readableEntries();
  const who = keeper || (await whoIsHere())?.keeper;
  // Where nobody is signed in, how many wait is said, and nothing of them.
  const theirs = entries.filter((entry) => entry.keeper === who || signedOut);
  const refused = theirs.filter((entry) => entry.state === "refused").length;
  const following = theirs.filter((entry) => entry.state !== "refused" && entry.stored).length;
  const waiting = theirs.length - refused - following;
  const words = [];
  if (following) words.push(`Photos of ${counted(following, "record follows", "records follow")}`);
  if (waiting) words.push(`${counted(waiting, "record waits", "records wait")} on this phone`);
  if (refused) words.push(`${counted(refused, "is", "are")} refused`);
  if (words.length && (signedOut || outcome === "signed out")) words.push("sign in to send");
  if (waiting && (await note("pause"))?.reasons) words.push("Flockcare’s computer is full");
  const lost = await lostByThePhone(entries.length);
  if (lost) words.push(`${counted(lost, "record", "records")} that waited here ${lost === 1 ? "is" : "are"} gone: the phone cleared its storage`);
  return { words, warning: Boolean(refused || lost), count: lost || entries.length };
}

function show({ words, warning, count }) {
  bar.hidden = !words.length;
  bar.classList.toggle("warning", warning);
  bar.querySelector("a").textContent = words.join(", ");
  document.cookie = `${COOKIE}=${count}; path=/; max-age=2592000; SameSite=Strict`;
  changed.dispatchEvent(new Event("change"));
}

// While a photo is sent, how far it is.
progress.addEventListener("progress", ({ detail }) => {
  if (!detail) return;
  const [number, count] = detail.of;
  bar.hidden = false;
  bar.querySelector("a").textContent =
    `Sending photo ${count > 1 ? `${number} of ${count}, ` : ""}${detail.percent}%`;
});

// How many waited when the phone cleared its store. It clears all of it, also the note that it was
// ever used, but not the cookies.
export async function lostByThePhone(count) {
  const before = Number(document.cookie.match(new RegExp(`${COOKIE}=(\\d+)`))?.[1] ?? 0);
  if (await note("in use")) return 0;
  if (!before || count) await setNote("in use", { since: Date.now() });
  return count ? 0 : before;
}

export async function lossIsSeen() {
  document.cookie = `${COOKIE}=0; path=/; SameSite=Strict`;
  await refresh();
}

let timer;
export async function send(options) {
  const outcome = await sendWaiting(options);
  await announce(outcome);
  if (["sent", "refused"].includes(outcome)) await renew();
  return outcome;
}

// A page that is opened or seen again, or signal again: the pause after what was in vain begins anew.
async function sendAtOnce(options) {
  await dropNote("pause");
  return send(options);
}

// What is kept to read is older than what was just sent.
async function renew() {
  const who = keeper || (await whoIsHere())?.keeper;
  if (!who) return;
  await keepToRead(who, writes ? flock : null, { now: true }).then(
    () => changed.dispatchEvent(new Event("renewed")), () => {}, // no signal again
  );
}

// Nothing waits without a next try: after the pause, once another page is done with sending, or
// when the page that sent a record itself must have been left before it heard the answer.
async function tryAgain(outcome) {
  clearTimeout(timer);
  const who = keeper || (await whoIsHere())?.keeper;
  if (signedOut || outcome === "signed out") return;
  const pause = (await note("pause"))?.until ?? 0;
  const moments = (await readableEntries())
    .filter((entry) => entry.keeper === who && entry.state === "waiting")
    .map((entry) => Math.max(pause, isHeld(entry) ? entry.heldUntil : 0))
    .filter((moment) => outcome !== "nothing" || moment > Date.now());
  clearTimeout(timer); // of another who asked meanwhile
  if (moments.length) timer = setTimeout(send, Math.max(SOONEST, Math.min(...moments) - Date.now()));
}

async function announce(outcome) {
  others?.postMessage("changed");
  await refresh(outcome);
  await tryAgain(outcome);
  await sayWhatIsSent();
  const told = await takeNote("notices");
  if (told) say(told.words.join(" "), "notice warning");
}

async function sayWhatIsSent() {
  const sent = await takeNote("sent");
  if (!sent) return;
  const time = new Date(sent.at).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  say(`Sent: ${[...new Set(sent.birds)].join(", ")}, ${time}`, "notice success");
}

function say(textContent, className) {
  const notice = Object.assign(document.createElement("p"), { className, textContent });
  notice.setAttribute("role", "status");
  document.querySelector("main > [role=status]").after(notice);
  return notice;
}

function sayWhatWasKept() {
  const kept = JSON.parse(sessionStorage.getItem("kept record") ?? "null");
  if (!kept) return;
  sessionStorage.removeItem("kept record");
  const notice = say(kept.said, "notice");
  if (!kept.key) return;
  offerUndo(notice, kept);
  notice.addEventListener("undone", () => announce());
}

async function start() {
  sayWhatWasKept();
  takeOver({ ready: filled, onChange: () => announce(), onKept: (kept) => kept && showKept(kept) });
  if (keeper) await keeperIsHere(keeper, name);
  const who = document.querySelector(".who");
  if (shell && who) who.textContent = (await whoIsHere())?.name ?? "";
  if (signedOut) await nobodyIsHere();
  await refresh();
  await sendAtOnce();
  if (keeper) await keepToRead(keeper, writes ? flock : null);
}

for (const what of ["change", "renewed"]) changed.addEventListener(what, showWalk);
window.addEventListener("online", () => sendAtOnce({ now: true }));
window.addEventListener("pageshow", (event) => event.persisted && sendAtOnce());
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && sendAtOnce());
if (keeper || shell) watchWorker();
start().catch((problem) => console.info("Outbox:", problem?.name, problem?.message));
