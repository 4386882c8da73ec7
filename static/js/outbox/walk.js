// A round without signal: who is left, by what this phone keeps of the flock and what waits here.

import { momentOf, nowIn, readableEntries } from "./entries.js";
import { birdsOf, changeNote, note } from "./store.js";

// Of a page whose form leads on to the next bird, also if the walk was begun without signal.
const query = new URLSearchParams(location.search);
export const begun = query.has("walk"), walks = begun || query.has("round");

const dayIn = (list) => nowIn(list.zone).slice(0, 10);

// `left`: the birds still to be checked, in the order that was kept; `stateOf(bird)`: "left",
// "skipped", "checked", or nothing where she is not among them. They are those of the round that was
// on when this phone last had signal; without one, who is due by now or was checked today.
export async function walkOf(list) {
  const today = dayIn(list), { since, birds } = list.round ?? {};
  const waiting = new Map((await readableEntries()).filter(({ kind }) => kind === "check").map((entry) => [entry.bird, momentOf(entry)]));
  const passed = await note("skipped");
  const skipped = new Set(passed?.day === today ? passed.birds : []);
  // What waits is not sent yet, so nobody asks for her again; one from before the round is not of it.
  const isChecked = ({ id, checked }) =>
    birds?.[id] === "checked" || checked >= (since ?? today) || waiting.get(id) >= (since ?? "");
  const isIn = (bird) => (birds ? bird.id in birds : bird.due <= today || isChecked(bird));
  const stateOf = (bird) => {
    if (!isIn(bird)) return "";
    if (isChecked(bird)) return "checked";
    return skipped.has(bird.id) || birds?.[bird.id] === "skipped" ? "skipped" : "left";
  };
  const all = list.birds.filter(isIn), left = all.filter((bird) => stateOf(bird) === "left");
  const checked = all.filter(isChecked).length;
  return { total: all.length, checked, left, stateOf, words: `${checked} of ${all.length} checked` };
}

// Where there is a round on the server, its own page leads on once there is signal.
const addressOf = (list, { id }) => `/f/${list.flock}/birds/${id}/check/?${list.round ? "round" : "walk"}`;

// The form of the next bird, or the list where nobody is left.
export async function onward(flock) {
  const list = await birdsOf(flock);
  const next = list && (await walkOf(list)).left[0];
  return next ? addressOf(list, next) : `/f/${flock}/check/`;
}

// She stays due, and is not offered again today.
export async function skip(bird, list) {
  const day = dayIn(list);
  await changeNote("skipped", (before) => ({ day, birds: [...(before?.day === day ? before.birds : []), bird] }));
}

let looked = 0;

// In whatever of it a page has (templates/offline/walk.html, feet/check_form.html).
export async function showWalk() {
  const parts = [...document.querySelectorAll("[data-walk]")].filter(({ dataset }) => walks || dataset.walk !== "form");
  const mine = (looked += 1), list = parts.length && (await birdsOf(document.body.dataset.flock));
  const walk = list && (await walkOf(list));
  if (!walk || mine !== looked) return;
  const put = (name, work) => document.querySelectorAll(`[data-walk-${name}]`).forEach(work);
  for (const part of parts) part.hidden = walk.total < 2;
  if (walk.total < 2) return;
  put("count", (place) => (place.textContent = walk.words));
  put("bar", (bar) => Object.assign(bar, { max: walk.total, value: walk.checked }));
  put("next", (link) => {
    const [next] = walk.left;
    link.hidden = !next;
    if (next) Object.assign(link, { href: addressOf(list, next), textContent: `Next: ${next.name}` });
  });
}

document.querySelector("[data-walk-skip]")?.addEventListener("click", async ({ target }) => {
  target.disabled = true;
  const { flock, bird } = document.querySelector("form[data-outbox]").dataset;
  await skip(bird, await birdsOf(flock));
  location.assign(await onward(flock));
});
