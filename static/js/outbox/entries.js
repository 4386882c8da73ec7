// What waits in the outbox: how it is made from a form, and how older ones are read.

import { allEntries, entryOf } from "./store.js";
import { smallEnough } from "./pictures.js";

// Goes up when entries are kept in another form; then UPGRADES gets the step from the one before.
export const FORMAT = 2;
const UPGRADES = {
  // A visit to the vet that was logged before it asked for a medicine.
  1: (entry) => {
    const said = Object.fromEntries(entry.fields ?? []);
    const old = entry.kind === "step" && said.kind === "vet" && !said.medicine_given;
    return old ? { ...entry, fields: [...entry.fields, ["medicine_given", "unknown"]] } : entry;
  },
};

// The entry in the form of this version, or null for one that a newer version has made: that one
// is left as it is.
export function upgraded(entry, { format = FORMAT, upgrades = UPGRADES } = {}) {
  let now = entry;
  while (now.format < format) now = { ...upgrades[now.format](now), format: now.format + 1 };
  return now.format === format ? now : null;
}

export async function readableEntries() {
  const entries = (await allEntries()).map((entry) => upgraded(entry)).filter(Boolean);
  return entries.sort((one, other) => one.made.localeCompare(other.made));
}

// Whether a page is at it itself, to send it or to correct it. Not longer than any does, should the
// phone's clock have been set back since.
const HELD_AT_MOST = 20 * 60_000;
export const isHeld = ({ heldUntil = 0 }, now = Date.now()) =>
  heldUntil > now && heldUntil - now <= HELD_AT_MOST;

export async function readableEntry(key) {
  const entry = await entryOf(key);
  return entry ? upgraded(entry) : null;
}

// crypto.randomUUID is missing on plain HTTP. RFC 9562, version 4.
export function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

export const KEY_FIELDS = { check: "check_id", step: "step_id", weighing: "weighing_id" };
const LEFT_OUT = new Set(["csrfmiddlewaretoken", "draft", "next"]);

// The key that a form's record has, made now where it has none.
export function keyOf(form) {
  const field = form.elements[KEY_FIELDS[form.dataset.outbox]];
  field.value ||= newKey();
  return field.value;
}

// `said`: the form's data as it is submitted. Returns [entry, photos].
export async function composed(form, said, keeper) {
  const { outbox: kind, flock, bird, birdName } = form.dataset;
  const fields = [...said].filter(([name, value]) => typeof value === "string" && !LEFT_OUT.has(name));
  const files = [...said].filter(([, value]) => value instanceof File && value.size);
  const entry = {
    format: FORMAT, key: keyOf(form), kind, flock, bird, birdName,
    keeper: keeper.keeper, keeperName: keeper.name, fields, made: new Date().toISOString(),
    state: "waiting", reasons: [], stored: null,
  };
  const foot = said.get("foot") ?? "";
  const photos = [];
  for (const [name, file] of files) {
    const of = name.match(/^(left|right|bird)-photos$/)?.[1];
    const { bytes, type } = await smallEnough(file).catch(() => {
      throw new Error(`“${file.name}” could not be read. Choose it again, or leave it out.`);
    });
    photos.push({
      key: newKey(), field: name, foot: of ? of.replace("bird", "") : foot, name: file.name, type,
      bytes, reasons: [],
    });
  }
  return [entry, photos];
}

// Now, in the flock's time zone, as a field for date and time takes it.
export function nowIn(zone) {
  const parts = new Intl.DateTimeFormat("en", {
    timeZone: zone, hourCycle: "h23",
    year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit",
  }).formatToParts(new Date());
  const { year, month, day, hour, minute } = Object.fromEntries(parts.map(({ type, value }) => [type, value]));
  return `${year}-${month}-${day}T${hour}:${minute}`;
}

// An entry of care that one tap on what is due logs; `line`: the data of its line. The fields are
// those of the form of care, on which it can be corrected, and what the tap answers.
export function tapped({ due, foot, bird, birdName }, kinds, { flock, keeper, at }) {
  const fields = [["foot", foot], ...kinds.map((kind) => ["kind", kind]), ["at", at], ["who", keeper.keeper], ["again", "usual"], ["due", due]];
  return {
    format: FORMAT, key: newKey(), kind: "step", flock, bird, birdName,
    keeper: keeper.keeper, keeperName: keeper.name, fields, made: new Date().toISOString(),
    state: "waiting", reasons: [], stored: null,
  };
}

// What a tap answers, or nothing for what was logged on a form.
export const dueOf = ({ fields }) => words(fields, "due")[0];

export const asFile = (photo) => new File([photo.bytes], photo.name, { type: photo.type });

// Where a record that is saved is seen.
const SAVED = { check: "checks/KEY", step: "care/steps/KEY" };
export const savedAt = ({ flock, kind, key }) => `/f/${flock}/${SAVED[kind].replace("KEY", key)}/`;

const KINDS = { check: "check", step: "care given", weighing: "weighing" };
// Where a form's value is not what its page calls it.
const SCORES = { 0: "clear", 1: "mild", 2: "swollen" };
const CARE = { watched: "monitored", "dressing looked at": "dressing checked", vaccine: "vaccinated" };
const words = (fields, name) => fields.filter(([key]) => key === name).map(([, value]) => value);

// What an entry says, such as "Dill: check, both feet clear".
export const inWords = (entry) => `${entry.birdName}: ${saidIn(entry)}`;

// The same where the bird's name stands beside it.
export function saidIn({ kind, fields }) {
  const parts = [KINDS[kind]];
  if (kind === "check") {
    const scores = ["left", "right"].flatMap((foot) =>
      words(fields, `${foot}-score`).filter(Boolean).map((score) => `${foot} foot ${SCORES[score] ?? score}`));
    for (const foot of ["left", "right"]) if (words(fields, `${foot}-same`)[0]) scores.push(`${foot} foot still the same`);
    const clear = words(fields, "clear")[0]?.split(" ") ?? [];
    const short = clear.length === 1 ? `${clear[0]} foot clear` : { same: "still the same" }[words(fields, "verdict")[0]];
    parts.push(short ?? (clear.length || words(fields, "verdict").length ? "both feet clear" : scores.join(", ")));
  } else if (kind === "step") {
    const done = words(fields, "kind").map((one) => CARE[one] ?? one);
    parts.push(words(fields, "foot").filter(Boolean).map((foot) => `${foot} foot`)[0], ...done);
  } else {
    const given = fields.filter(([name, value]) => name.startsWith("grams") && value);
    parts.push(given.map(([name, value]) => `${value} ${{ grams: "kg", grams_lb: "lb", grams_oz: "oz" }[name] ?? ""}`).join(" "));
  }
  return parts.filter(Boolean).join(", ");
}

// When it was, as its form says it: `2026-11-30T12:15`.
export const momentOf = ({ fields, made }) =>
  words(fields, "at")[0] ?? words(fields, "on")[0] ?? made.slice(0, 16);

// As elsewhere: `30 Nov, 12:15`, with the year where it is another one.
export function whenOf(entry) {
  const [day, time] = momentOf(entry).split("T");
  const date = new Date(`${day}T00:00Z`);
  if (Number.isNaN(date.getTime())) return [day, time].filter(Boolean).join(", ");
  const year = date.getUTCFullYear() === new Date().getFullYear() ? undefined : "numeric";
  const said = date.toLocaleDateString("en-GB", { day: "numeric", month: "short", year, timeZone: "UTC" });
  return [said, time].filter(Boolean).join(", ");
}
