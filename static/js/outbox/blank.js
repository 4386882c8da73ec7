// The forms without a bird, as they come from the worker or are used again after something was
// kept: they get the bird, a key of their own and the time by this phone's clock.

import { keyOf, nowIn, KEY_FIELDS } from "./entries.js";
import { takeBack } from "./send.js";
import { birdsOf, whoIsHere } from "./store.js";
import { onward, walkOf, walks } from "./walk.js";

const { shell } = document.body.dataset;

// The page itself, however long its answer takes.
export function againWithPatience() {
  navigator.serviceWorker?.controller?.postMessage("patience");
  location.reload();
}

// The form anew, for this bird.
function turnTo(form, bird, list) {
  form.reset();
  document.querySelectorAll(".kept-photos li, .outbox-said, [data-of-bird]").forEach((old) => old.remove());
  for (const question of form.querySelectorAll("[data-otherwise]")) question.textContent = question.dataset.otherwise;
  form.elements[KEY_FIELDS[form.dataset.outbox]].value = "";
  keyOf(form);
  nameBird(form, bird, list);
}

function nameBird(form, bird, list) {
  const before = form.dataset.bird;
  form.setAttribute("action", new URL(form.action).pathname);
  for (const element of [form, ...document.querySelectorAll("main a[href], main form[action]")]) {
    for (const name of ["href", "action", "data-draft"]) {
      const value = element.getAttribute(name);
      if (value?.includes(before)) element.setAttribute(name, value.replaceAll(before, bird.id));
    }
  }
  Object.assign(form.dataset, { bird: bird.id, birdName: bird.name });
  setClock(form, list.zone);
  if (form.dataset.outbox === "check") {
    showLastKnown(form, bird.html ?? "");
    offerTheSame(form, bird.sore ?? [], bird.was ?? {});
    askHealed(form, bird.sore ?? []);
  }
  document.querySelectorAll("span[data-bird-name]").forEach((place) => (place.textContent = bird.name));
  document.querySelectorAll("p[data-bird-band]").forEach((place) => (place.textContent = bird.band));
  const band = document.querySelector("h1 .band");
  if (band) band.className = `band${bird.colour ? ` band-${bird.colour}` : ""}`;
  document.title = `${bird.name} · ${list.name}`;
  document.querySelector(".flock-name").textContent = list.name;
}

// How she stood when this phone last had signal, as her page has it, without its links.
function showLastKnown(form, html) {
  form.querySelectorAll(".last-known").forEach((old) => old.remove());
  const stood = new DOMParser().parseFromString(html, "text/html").querySelector(".standing");
  if (!stood) return;
  stood.querySelectorAll("a").forEach((link) => link.replaceWith(...link.childNodes));
  const part = Object.assign(document.createElement("div"), { className: "card last-known" });
  part.dataset.ofBird = "";
  part.append(Object.assign(document.createElement("p"), { className: "quiet", textContent: "When this phone last had signal:" }), stood);
  form.querySelector(".verdicts").before(part);
}

// As templates/feet/known.html: one tap says again what a check said of a sore foot. The server has
// that check; here it is named only. `was`: by foot, the check that saw it last.
function offerTheSame(form, sore, was) {
  form.querySelectorAll(".known, [value=same]").forEach((old) => old.remove());
  const feet = sore.filter((foot) => was[foot]);
  if (!feet.length) return;
  const make = (tag, more, ...inside) => {
    const element = Object.assign(document.createElement(tag), more);
    element.append(...inside);
    return element;
  };
  const part = make("div", { className: "known" });
  part.dataset.ofBird = "";
  for (const [foot, check] of Object.entries(was)) {
    part.append(make("input", { type: "hidden", name: `${foot}-was`, value: check }));
    if (!feet.includes(foot)) continue;
    const box = make("input", { type: "checkbox", name: `${foot}-same`, id: `id_${foot}-same`, value: check });
    const label = make("label", { htmlFor: box.id }, box, make("span", { textContent: `${foot === "left" ? "Left" : "Right"} foot still the same` }));
    const known = make("div", {}, make("div", { className: "chips" }, label));
    Object.assign(known.dataset, { was: foot, sites: "", scab: "" });
    part.append(known);
  }
  const both = make("button", { name: "verdict", value: "same", className: "large plain", textContent: "Both still the same" });
  both.dataset.ofBird = "";
  form.querySelector(".verdicts").before(part);
  form.querySelector(".verdicts").append(both);
}

// As templates/feet/healed.html, for a sore that was known when this phone last had signal.
function askHealed(form, sore) {
  form.querySelectorAll(".healed").forEach((old) => old.remove());
  if (!sore.length) return;
  const one = sore.length === 1 ? sore[0] : "";
  const answers = one
    ? [["left right", "Yes, healed"], [one === "left" ? "right" : "left", "Not checked closely"]]
    : [["left right", "Yes, healed"], ["left", "Only the left"], ["right", "Only the right"]];
  const part = Object.assign(document.createElement("section"), { className: "card healed", hidden: true, tabIndex: -1 });
  const title = document.createElement("h2");
  title.textContent = one ? `${one === "left" ? "Left" : "Right"} foot healed?` : "Both feet healed?";
  const buttons = Object.assign(document.createElement("div"), { className: "buttons" });
  for (const [value, textContent] of answers) {
    const plain = textContent === "Yes, healed" ? "" : "plain";
    buttons.append(Object.assign(document.createElement("button"), { name: "clear", value, textContent, className: plain }));
  }
  part.append(title, buttons);
  form.querySelector(".verdicts").after(part);
}

function setClock(form, zone) {
  const moment = nowIn(zone);
  if (form.elements.at) form.elements.at.value = moment;
  if (form.elements.on) Object.assign(form.elements.on, { max: moment.slice(0, 10), value: moment.slice(0, 10) });
}

// A form from the worker: the address says which bird.
async function fillBlank() {
  const form = document.querySelector("form[data-outbox]");
  keyOf(form); // before anything is typed, and before a draft comes back
  const list = await birdsOf(form.dataset.flock);
  const bird = list?.birds.find((one) => one.id === form.dataset.bird);
  const who = await whoIsHere();
  if (!bird || !who) {
    form.replaceWith(Object.assign(document.createElement("p"), {
      className: "notice warning",
      textContent: "The birds of this flock are not on this phone. Sign in and open Today once where there is signal.",
    }));
    return;
  }
  for (const other of document.querySelectorAll("form[data-units]")) {
    if (other.dataset.units !== list.units) other.remove();
  }
  document.querySelectorAll("option[value=me]").forEach((option) => (option.value = who.keeper));
  const shown = document.querySelector("form[data-outbox]");
  keyOf(shown);
  nameBird(shown, bird, list);
}

export const filled = shell === "form" ? fillBlank() : Promise.resolve();

// --- What comes after something was kept

export async function showKept(kept) {
  const { form, words, sent, when } = kept;
  const said = sent ? `Saved: ${words}` : `Kept on this phone: ${words}. It is sent when ${when}.`;
  if (navigator.serviceWorker?.controller) {
    sessionStorage.setItem("kept record", JSON.stringify({ said, words, key: sent ? "" : kept.key }));
    location.assign(walks ? await onward(form.dataset.flock) : `/f/${form.dataset.flock}/check/`);
    return;
  }
  const list = await birdsOf(form.dataset.flock);
  const notice = Object.assign(document.createElement("section"), { className: "card", tabIndex: -1 });
  notice.append(
    Object.assign(document.createElement("p"), { className: "notice", textContent: said }),
    Object.assign(document.createElement("p"), {
      className: "caution",
      textContent: "Leave this page open until it is sent, and do not reload it: without HTTPS the app cannot be opened without signal. If it closes, nothing is lost: it is sent when the app is open again.",
    }),
  );
  form.hidden = true;
  form.before(notice);
  if (list) notice.append(await chooser(list, (bird) => {
    notice.remove();
    turnTo(form, bird, list);
    form.hidden = false;
    form.querySelectorAll("button").forEach((button) => (button.disabled = false));
    form.dispatchEvent(new Event("shown"));
    window.scrollTo(0, 0);
  }));
  notice.focus();
}

// As what is due has it: what waits is taken back with one tap.
export function offerUndo(notice, { key, words }) {
  const undo = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: "Undo" });
  undo.addEventListener("click", async () => {
    undo.disabled = true;
    notice.textContent = (await takeBack(key)) ? `Undone: ${words}` : `Sent already: ${words}. Change it on the bird’s page.`;
    notice.dispatchEvent(new Event("undone"));
  });
  notice.append(" ", undo);
}

const STATES = { left: ["due", "tag due"], skipped: ["skipped", "tag"], "": null, checked: ["✓ checked", "tag"] };
const PLACES = Object.keys(STATES);

// The birds as rows of buttons or links: those of a round that are left come first, those that are
// checked last.
export async function chooser(list, choose, hrefOf) {
  const { stateOf } = await walkOf(list);
  const rows = Object.assign(document.createElement("ul"), { className: "rows" });
  const placeOf = (bird) => PLACES.indexOf(stateOf(bird));
  const order = [...list.birds].sort((one, other) => placeOf(one) - placeOf(other));
  for (const bird of order) {
    const row = document.createElement(hrefOf ? "a" : "button");
    row.className = "row bird-row";
    if (hrefOf) row.href = hrefOf(bird);
    else {
      row.type = "button";
      row.addEventListener("click", () => choose(bird));
    }
    const band = document.createElement("span");
    band.className = `band${bird.colour ? ` band-${bird.colour}` : ""}`;
    const name = Object.assign(document.createElement("span"), { className: "grow" });
    name.append(
      Object.assign(document.createElement("strong"), { textContent: bird.name }),
      Object.assign(document.createElement("span"), { className: "quiet", textContent: bird.band }),
    );
    row.append(band, name);
    const said = STATES[stateOf(bird)];
    if (said) row.append(Object.assign(document.createElement("span"), { className: said[1], textContent: said[0] }));
    const item = document.createElement("li");
    item.append(row);
    rows.append(item);
  }
  return rows;
}

