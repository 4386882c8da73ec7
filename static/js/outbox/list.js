// The page of what waits: send, mend, discard, save to a file.

import { changed, lossIsSeen, lostByThePhone, send } from "./page.js";
import { dueOf, inWords, readableEntries, upgraded, whenOf } from "./entries.js";
import { takeBack } from "./send.js";
import {
  allEntries, changeEntry, changePhoto, dropEntry, dropPhoto, keepEntry, note, photosOf, whoIsHere,
} from "./store.js";

const place = (id) => document.getElementById(id);
const make = (tag, more, ...inside) => {
  const element = Object.assign(document.createElement(tag), more);
  element.append(...inside);
  return element;
};
const MEND = { check: "birds/KEY/check", step: "care/birds/KEY/step", weighing: "birds/KEY/weighings" };
const mendAt = ({ flock, bird, kind, key }) => `/f/${flock}/${MEND[kind].replace("KEY", bird)}/?waiting=${key}`;

// What older versions put down where they did not know the name.
const NAMELESS = new Set(["", "who"]);

let shown = 0;

async function show() {
  const mineIs = (shown += 1); // another may begin meanwhile, and knows better
  const entries = await readableEntries();
  const who = (await whoIsHere())?.keeper;
  const mine = entries.filter((entry) => entry.keeper === who);
  const rows = await Promise.all(mine.map(row));
  if (mineIs !== shown) return;
  place("outbox-rows").replaceChildren(...rows);
  place("send-now").hidden = place("export").hidden = !mine.length;
  const others = entries.filter((entry) => entry.keeper !== who);
  const names = [...new Set(others.map(({ keeperName }) => (NAMELESS.has(keeperName) ? "another keeper" : keeperName)))];
  place("outbox-others").textContent = names.length
    ? `Also waiting: what ${names.join(" and ")} logged. It is sent when they sign in on this phone.` : "";
  const newer = (await allEntries()).length - entries.length;
  if (await lostByThePhone(entries.length)) sayLost();
  else if (newer) place("outbox-state").textContent = "Something was logged with a newer version. Reload this page where there is signal.";
  else if (!mine.length) place("outbox-state").textContent = "Nothing of yours waits on this phone.";
  await sayHowSafe(entries.length);
}

function sayLost() {
  const seen = make("button", { type: "button", className: "plain", textContent: "I have seen this" });
  seen.addEventListener("click", lossIsSeen);
  place("outbox-state").replaceChildren(
    "What waited here is gone: the phone cleared it, as phones do when they are full or a page is not used for long. See on Today which checks are missing, and log them again. ", seen);
}

async function row(entry) {
  const { key } = entry;
  const photos = await photosOf(key);
  const text = make("span", { className: "grow" }, make("strong", { textContent: inWords(entry) }));
  const count = photos.length ? `, ${photos.length} photo${photos.length > 1 ? "s" : ""}` : "";
  text.append(make("span", { className: "quiet line", textContent: `${whenOf(entry)}${count}` }));
  const why = entry.state === "refused"
    ? `Refused: ${entry.reasons.join(" ")}` : (await note("pause"))?.reasons?.join(" ");
  if (why) text.append(make("span", { className: "refusal line", textContent: why }));
  const buttons = make("div", { className: "buttons" });
  const saved = entry.stored?.url ?? entry.savedAt;
  if (saved) buttons.append(make("a", { className: "button plain", href: saved, textContent: "Open what is saved" }));
  if (!entry.stored) buttons.append(make("a", { className: "button plain", href: mendAt(entry), textContent: "Correct" }));
  const elsewhere = entry.elsewhere ?? [];
  for (const { words, page } of elsewhere) {
    text.append(make("a", { className: "line", href: page, textContent: words }));
  }
  if (elsewhere.length) {
    buttons.append(
      button("Move it here", () => moveHere(entry)),
      button("Leave it there", () => leaveThere(entry)),
    );
  } else if (entry.state === "refused" && dueOf(entry) && saved) {
    buttons.append(button("Save mine as well", () => saveAsWell(entry)));
  } else if (entry.state === "refused") buttons.append(button("Try again", () => retry(key)));
  buttons.append(button("Discard", () => discard(entry, photos), "danger"));
  const item = make("li", {}, make("div", { className: "row" }, text), buttons);
  item.dataset.key = key;
  return item;
}

function button(words, does, className = "plain") {
  const made = make("button", { type: "button", className, textContent: words });
  made.addEventListener("click", does);
  return made;
}

async function retry(key) {
  await changeEntry(key, { state: "waiting", reasons: [], heldUntil: 0 });
  await sendAndSay();
}

// Another keeper did it too, and both are true.
async function saveAsWell({ key, fields }) {
  await changeEntry(key, { fields: [...fields, ["as_well", "on"]], savedAt: "" });
  await retry(key);
}

// A photo that is on record as another bird's is moved to this record, or stays where it is.
async function moveHere({ key, elsewhere }) {
  for (const { photo } of elsewhere) await changePhoto(photo, { takeOver: true });
  await changeEntry(key, { elsewhere: [] });
  await retry(key);
}

async function leaveThere({ key, elsewhere }) {
  for (const { photo } of elsewhere) await dropPhoto(photo);
  await changeEntry(key, { elsewhere: [] });
  await retry(key);
}

async function discard(entry, photos) {
  const what = entry.stored ? "the photos of this that are not saved" : `“${inWords(entry)}”${photos.length ? " and its photos" : ""}`;
  if (!window.confirm(`Discard ${what}? It is on this phone only and cannot be restored.`)) return;
  if (entry.stored) await dropEntry(entry.key);
  else await takeBack(entry.key);
  await sendAndSay();
}

const SAID = {
  sent: "All sent.",
  nothing: "",
  refused: "Something was refused. Correct it, or discard it.",
  "signed out": "You are signed out. What waits is safe. Sign in to send it.",
  "no signal": "No signal, or no answer. Leave a page of the app open: it tries again by itself.",
  full: "Leave a page of the app open: it tries again by itself.",
  later: "Waiting to try again.",
  busy: "Another open page is sending.",
};

async function sendAndSay() {
  const outcome = await send({ now: true });
  place("outbox-state").textContent = SAID[outcome];
  place("to-sign-in").hidden = outcome !== "signed out";
  await show();
}

async function sayHowSafe(count) {
  const safe = await navigator.storage?.persisted?.();
  const words = [];
  if (count) {
    words.push(safe
      ? "Your phone keeps this until it is sent."
      : "Your phone may delete this when it is full. Send it soon, or save it to a file.");
  }
  if (!window.isSecureContext) {
    words.push("This page came over plain HTTP. It sends while a page of the app is open; to open the app without signal, HTTPS is needed.");
  }
  place("outbox-kept").textContent = words.join(" ");
}

// --- To a file and back

const asText = (bytes) => {
  let text = "";
  for (const byte of new Uint8Array(bytes)) text += String.fromCharCode(byte);
  return btoa(text);
};
const asBytes = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0)).buffer;

async function toFile() {
  const who = (await whoIsHere())?.keeper;
  const entries = (await readableEntries()).filter((entry) => entry.keeper === who);
  const all = await Promise.all(entries.map(async (entry) => ({
    ...entry,
    words: inWords(entry),
    photos: (await photosOf(entry.key)).map((photo) => ({ ...photo, bytes: asText(photo.bytes) })),
  })));
  const link = make("a", {
    href: URL.createObjectURL(new Blob([JSON.stringify(all, null, 1)], { type: "application/json" })),
    download: `flockcare-waiting-${new Date().toISOString().slice(0, 10)}.json`,
  });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

async function fromFile(file) {
  try {
    const all = JSON.parse(await file.text());
    for (const { photos, words, ...entry } of all) {
      if (!entry.key || !Array.isArray(entry.fields) || !upgraded(entry)) throw new Error(words);
      await keepEntry({ ...entry, heldUntil: 0 }, photos.map((photo) => ({ ...photo, bytes: asBytes(photo.bytes) })));
    }
  } catch {
    place("outbox-state").textContent = `“${file.name}” is not a file that was saved here.`;
    return;
  }
  await sendAndSay();
}

place("send-now").addEventListener("click", sendAndSay);
place("export").addEventListener("click", toFile);
place("take-back").addEventListener("change", (event) => event.target.files[0] && fromFile(event.target.files[0]));
changed.addEventListener("change", show);
place("outbox-state").textContent = "";
show();
