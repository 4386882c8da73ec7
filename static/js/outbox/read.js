// Today, the birds and a bird without signal: as this phone has kept them, with what waits here.

import { againWithPatience } from "./blank.js";
import { dueOf, nowIn, readableEntries, saidIn, tapped, whenOf } from "./entries.js";
import { changed, refresh, send } from "./page.js";
import { takeBack } from "./send.js";
import { birdsOf, keepEntry, pictureAt, whoIsHere } from "./store.js";
import { showWalk } from "./walk.js";

const STAND_IN = document.body.dataset.flock;
const place = document.getElementById("kept");
const asOf = document.getElementById("as-of");
const box = document.getElementById("narrow-kept");
const make = (tag, className, textContent) => Object.assign(document.createElement(tag), { className, textContent });

let asked = 0, shown = null;

async function show() {
  const mine = (asked += 1); // what was kept anew meanwhile is not to be shown over
  const list = await birdsOf(STAND_IN);
  const bird = list?.birds.find((one) => one.id === place.dataset.bird);
  const html = place.dataset.kept === "bird" ? bird?.html : list?.[place.dataset.kept];
  if (!html) {
    place.replaceChildren(make("p", "notice warning",
      "Nothing to read on this phone yet. Sign in and open Today once where there is signal."));
    return;
  }
  // Where the address named no flock, it is the one used last.
  for (const link of document.querySelectorAll(`a[href*="${STAND_IN}"]`)) {
    link.setAttribute("href", link.getAttribute("href").replaceAll(STAND_IN, list.flock));
  }
  document.querySelector(".flock-name").textContent = list.name;
  if (bird) document.title = `${bird.name} · ${list.name}`;
  asOf.textContent = asOfWords(list);
  const kept = new DOMParser().parseFromString(html, "text/html").body;
  plainWhereNothingIsKept(kept, list.flock);
  await putPictures(kept);
  if (mine !== asked) return;
  shown = list;
  place.replaceChildren(...kept.childNodes);
  await Promise.all([sayWhatWaits(), showWalk()]);
  narrow();
}

// In the flock's time zone. On another day there may be a medicine that this phone knows nothing of.
function asOfWords({ fetched, zone }) {
  const said = (options) => new Intl.DateTimeFormat("en-GB", { timeZone: zone, ...options });
  const day = said({ weekday: "short", day: "numeric", month: "short" });
  const time = said({ hour: "2-digit", minute: "2-digit", hourCycle: "h23" }).format(fetched);
  if (day.format(fetched) === day.format(Date.now())) return `As of ${time}, no signal.`;
  return `As of ${day.format(fetched)}, ${time}, no signal. Ask before you eat eggs: a medicine given since is not here.`;
}

// A link to what cannot be opened without signal is only words.
function plainWhereNothingIsKept(kept, flock) {
  const key = "[0-9a-f-]{36}";
  const open = new RegExp(`^(tel:.*|/f/${flock}/(check/|birds/${key}/(check/|weighings/)?|care/birds/${key}/step/))$`);
  for (const link of kept.querySelectorAll("a[href]")) {
    if (!open.test(link.getAttribute("href"))) link.replaceWith(...link.childNodes);
  }
}

async function putPictures(kept) {
  for (const image of kept.querySelectorAll("img")) {
    const found = await pictureAt(image.getAttribute("src"));
    if (found) image.src = URL.createObjectURL(found.picture);
    else (image.closest("figure") ?? image).remove();
  }
  for (const part of kept.querySelectorAll("section:has(.last-photos:empty)")) part.remove();
}

let looked = 0;

// All is read before anything is shown, and who looked first says nothing after who looked later.
async function sayWhatWaits() {
  const mine = (looked += 1);
  const keeper = (await whoIsHere())?.keeper;
  const entries = await readableEntries();
  if (mine !== looked) return;
  place.querySelectorAll(".waits-here").forEach((old) => old.remove());
  const theirs = entries.filter((entry) => entry.keeper === keeper);
  const onLines = sayOnLines(theirs);
  // The first lines of Today still name her as due.
  const done = new Set(theirs.filter((entry) => onLines.has(entry.key) && entry.state !== "refused").map((entry) => entry.birdName));
  const words = `Done on this phone, not sent yet: ${[...done].join(", ")}`;
  if (done.size) place.querySelector(".answer")?.append(make("p", "waits-here", words));
  for (const entry of theirs) {
    if (onLines.has(entry.key)) continue;
    const words = entry.state === "refused" ? `Not saved: ${saidIn(entry)}. ${entry.reasons.join(" ")}`
      : `Waits on this phone: ${saidIn(entry)} (${whenOf(entry)})`;
    if (place.dataset.kept !== "bird") {
      const name = place.querySelector(`a[href*="/${entry.bird}/"]`);
      name?.closest("li").append(make("p", "waits-here", words));
    } else if (entry.bird === place.dataset.bird) {
      place.querySelector(".bird-head")?.after(make("p", "notice waits-here", words));
    }
  }
}

// --- What is due, logged with one tap

const undone = new Set(), answers = new Map(); // by what is due, the entry that answers it

// In place of the buttons, also once it is sent, until the phone keeps how she stands then. Returns
// the keys of the entries that are said so.
function sayOnLines(entries) {
  for (const entry of entries) if (dueOf(entry)) answers.set(dueOf(entry), entry.key);
  const said = new Set();
  for (const line of place.querySelectorAll("[data-due]")) {
    const key = answers.get(line.dataset.due), entry = entries.find((one) => one.key === key);
    const open = !key || (!entry && undone.has(key));
    line.querySelector(".buttons").hidden = !open;
    if (open) continue;
    said.add(key);
    const words = make("p", "waits-here", "Sent.");
    if (entry) words.textContent = `Waits on this phone: ${doneIn(entry)} (${whenOf(entry)})`;
    line.append(words);
    if (entry?.state === "refused") {
      words.textContent = `Not saved: ${entry.reasons.join(" ")} `;
      words.append(Object.assign(make("a", "", "Open what waits"), { href: "/outbox/" }));
    } else if (entry) {
      const undo = Object.assign(make("button", "text waits-here", "Undo"), { type: "button" });
      undo.append(make("span", "visually-hidden", `: ${entry.birdName}, ${saidIn(entry)}`));
      undo.addEventListener("click", () => takeOff(key));
      line.append(undo);
    }
  }
  return said;
}

const doneIn = (entry) => saidIn(entry).replace(/^[^,]*, /, "");

place.addEventListener("click", ({ target }) => {
  const button = target.closest("button[data-kinds]");
  if (button) keepTap(button.closest("[data-due]"), button.dataset.kinds.split(",").filter(Boolean));
});

async function keepTap(line, kinds) {
  const buttons = line.querySelectorAll("button");
  buttons.forEach((one) => (one.disabled = true)); // one tap, however often
  try {
    const keeper = await whoIsHere();
    const { flock, zone } = shown;
    await keepEntry(tapped(line.dataset, kinds, { flock, keeper, at: nowIn(zone) }), []);
    navigator.storage?.persist?.();
    await Promise.all([refresh(), sayWhatWaits()]);
    send();
  } catch {
    line.append(make("p", "waits-here", "Not saved: there is no room on this phone, or nobody is signed in."));
  } finally {
    buttons.forEach((one) => (one.disabled = false));
  }
}

async function takeOff(key) {
  if (await takeBack(key)) undone.add(key);
  await refresh();
}

function narrow() {
  const wanted = box?.value.trim().toLowerCase() ?? "";
  for (const row of box ? place.querySelectorAll("li") : []) row.hidden = !row.textContent.toLowerCase().includes(wanted);
}

box?.addEventListener("input", narrow);
changed.addEventListener("change", sayWhatWaits);
changed.addEventListener("renewed", () => {
  answers.clear();
  show();
});
document.getElementById("try-again").addEventListener("click", againWithPatience);
show();
