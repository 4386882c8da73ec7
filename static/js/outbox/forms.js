// Takes over the forms that may wait: what is typed is kept on the phone first, then sent, and
// only when the server has answered does it leave the phone. Without script, or without a store,
// the form goes its plain way.

import { asFile, composed, inWords, keyOf, momentOf, readableEntry, savedAt, KEY_FIELDS } from "./entries.js";
import { changeEntry, dropEntry, dropSent, keepEntry, photosOf, whoIsHere } from "./store.js";
import { sendWaiting } from "./send.js";
import { begun, onward } from "./walk.js";

const SLOW = 12_000, CORRECTING = 10 * 60_000;
const WHEN = { "no signal": "there is signal", busy: "there is signal", "signed out": "you sign in", full: "Flockcare’s computer has room again" };
const limit = (photos) => SLOW + photos.length * 30_000;
const formOf = () => document.querySelector("form[data-outbox]");

// `ready`: when a form from the worker has its bird.
export function takeOver({ ready, onChange, onKept }) {
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.dataset.outbox || event.defaultPrevented) return;
    event.preventDefault();
    const said = new FormData(form);
    if (event.submitter?.name) said.append(event.submitter.name, event.submitter.value);
    submit(form, said).then(onKept, (problem) => say(form, problem.message)).finally(onChange);
  });
  const form = formOf();
  // The page shows again what was refused: it is in the form now, but for its photos.
  if (form && "answered" in form.dataset) shownAgain(form).then(onChange, () => {});
  if (form && !("answered" in form.dataset)) ready.then(() => formOf() && goOn(formOf()));
  window.addEventListener("pageshow", ({ persisted }) => persisted && formOf() && busy(formOf(), false));
}

// With what waits: to be corrected, or because the browser came back to the form that it was saved on.
function goOn(form) {
  const waiting = new URLSearchParams(location.search).get("waiting");
  return resume(form, waiting ?? history.state?.[KEY_FIELDS[form.dataset.outbox]]);
}

// Resolves to the words of what was kept, or to nothing when it was sent and the page is left.
async function submit(form, said) {
  keyOf(form);
  said.set(KEY_FIELDS[form.dataset.outbox], keyOf(form));
  busy(form, true);
  const keeper = document.body.dataset.keeper
    ? { keeper: document.body.dataset.keeper, name: document.body.dataset.name }
    : await whoIsHere().catch(() => null);
  if (!keeper) throw new Error("Nobody is signed in here. Sign in where there is signal; what you typed stays.");
  const [entry, fresh] = await composed(form, said, keeper);
  let photos = fresh, kept = true;
  try {
    photos = [...(await photosOf(entry.key)).filter((photo) => stillShown(form, photo)), ...fresh];
    await keepEntry({ ...entry, heldUntil: Date.now() + limit(photos) + 5_000 }, photos);
    navigator.storage?.persist?.();
  } catch {
    kept = false; // no room, or no store at all: then it has to go now
  }
  if (kept) form.dispatchEvent(new Event("kept")); // draft.js
  // What is kept follows later: the record is saved, and the next bird seen, without its photos.
  const along = kept ? [] : photos;
  const outcome = document.body.dataset.shell ? "later" : await sendNow(form, said, along, entry.key);
  if (outcome.leave) {
    const follow = kept && photos.length;
    const done = follow ? changeEntry(entry.key, { stored: { url: savedAt(entry) }, heldUntil: 0 }) : dropSent(entry, momentOf(entry));
    await done.catch(() => {});
    // A round that was begun without signal goes on as it was.
    location.assign(begun ? await onward(entry.flock) : outcome.leave);
    return null;
  }
  // Photos that waited before are in no field of the form; then the outbox finds out what is wrong.
  if (outcome === "wrong" && photos.length === fresh.length) {
    if (kept) await keptAside(form, entry.key);
    return plainly(form, said);
  }
  if (!kept) {
    throw new Error(
      "No signal, and no room on this phone to save this. What you typed is still here: " +
      "leave photos out or make room, then save again.",
    );
  }
  await changeEntry(entry.key, { heldUntil: 0 });
  const tried = outcome === "no signal" ? outcome : await sendWaiting({ now: true });
  const now = await readableEntry(entry.key);
  if (now?.state === "refused") throw new Error(`It is saved on this phone. ${now.reasons.join(" ")}`);
  return { form, key: entry.key, words: inWords(entry), sent: !now, when: WHEN[tried] ?? `${entry.keeperName} is signed in` };
}

// Through the page's own address, as the browser would: {leave} to go on, "wrong" to be shown,
// "no signal", or "later" for what the outbox has to find out.
async function sendNow(form, said, photos, key) {
  const body = new FormData();
  for (const [name, value] of said) if (typeof value === "string") body.append(name, value);
  // What waits and what is sent must be the same bytes: the server knows a photo by them.
  for (const photo of photos) body.append(photo.field, asFile(photo));
  try {
    // An answer to htmx names the next page in place of leading there unseen.
    const answer = await fetch(form.action, {
      method: "POST", body, headers: { "HX-Request": "true" }, redirect: "manual",
      signal: AbortSignal.timeout?.(limit(photos)),
    });
    const next = answer.headers.get("HX-Redirect");
    if ([200, 422].includes(answer.status) && (await answer.text()).includes(key)) return "wrong";
    if (next && !new URL(next, location).pathname.startsWith("/sign-in/")) return { leave: next };
    return "later";
  } catch {
    return "no signal";
  }
}

// While the keeper corrects what was refused, its photos wait here and are not sent once more.
async function keptAside(form, key) {
  await changeEntry(key, { heldUntil: Date.now() + CORRECTING });
  form.querySelectorAll("input[type=file]").forEach((input) => (input.value = ""));
}

async function shownAgain(form) {
  const key = keyOf(form), photos = await photosOf(key);
  if (!photos.length) return dropEntry(key);
  showWaiting(form, photos);
  return undefined;
}

// The server found something wrong: let it show the form with what it says about it.
function plainly(form, said) {
  for (const name of ["verdict", "clear"].filter((one) => said.has(one))) {
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value: said.get(name) }));
  }
  busy(form, false);
  HTMLFormElement.prototype.submit.call(form);
  return null;
}

const busy = (form, now) => form.querySelectorAll("button").forEach((button) => (button.disabled = now));

function say(form, words) {
  busy(form, false);
  form.querySelectorAll(".outbox-said").forEach((old) => old.remove());
  const line = Object.assign(document.createElement("p"), {
    className: "notice error outbox-said", textContent: words, tabIndex: -1,
  });
  line.setAttribute("role", "alert");
  form.append(line);
  line.scrollIntoView({ block: "center" });
}

// --- Mending what waits

async function resume(form, key) {
  const entry = key && (await readableEntry(key));
  if (!entry || entry.kind !== form.dataset.outbox) return;
  fill(form, entry.fields);
  showWaiting(form, await photosOf(key));
  form.querySelectorAll("details").forEach((part) => (part.open = true));
}

function showWaiting(form, photos) {
  for (const photo of photos) {
    const line = Object.assign(document.createElement("li"), { textContent: `${photo.name} ` });
    line.dataset.waitingPhoto = photo.key;
    const remove = Object.assign(document.createElement("button"), {
      type: "button", className: "plain", textContent: "×",
    });
    remove.setAttribute("aria-label", `Leave ${photo.name} out`);
    remove.addEventListener("click", () => (line.hidden = true));
    line.append(remove);
    const url = URL.createObjectURL(asFile(photo));
    const image = Object.assign(new Image(72, 72), { src: url, alt: "" });
    image.addEventListener("load", () => URL.revokeObjectURL(url));
    image.addEventListener("error", () => image.remove());
    line.prepend(image);
    listBeside(form.querySelector(`input[type=file][name="${photo.field}"]`)).append(line);
  }
}

function listBeside(input) {
  const there = input.parentElement.querySelector(".kept-photos");
  if (there) return there;
  const list = Object.assign(document.createElement("ul"), { className: "kept-photos" });
  input.after(list);
  return list;
}

const OLDER = { on: "yes" };

const stillShown = (form, photo) => {
  const line = form.querySelector(`[data-waiting-photo="${photo.key}"]`);
  return Boolean(line) && !line.hidden;
};

function fill(form, fields) {
  for (const field of form.elements) {
    if (field.type === "radio" || field.type === "checkbox") field.checked = false;
  }
  for (const [name, value] of fields) {
    const found = [...form.elements].filter((field) => field.name === name && field.type !== "file");
    const choices = found.filter((field) => field.type === "radio" || field.type === "checkbox");
    if (choices.length) {
      // Entries of older versions say "on" for a sign.
      const said = choices.some((field) => field.value === value) ? value : OLDER[value];
      for (const field of choices) if (field.value === said) field.checked = true;
    } else if (found.length && name !== "verdict") {
      found[0].value = value;
    } else if (name === "kept" || name.endsWith("-kept_photo")) {
      form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
    }
  }
}
