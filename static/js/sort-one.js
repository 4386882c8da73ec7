// Photos to sort, one at a time: keys, what is chosen and not saved yet, the next photo fetched
// ahead. Without script the page is a form, and its links lead from photo to photo.
"use strict";

const one = () => document.getElementById("one");
const form = () => one().querySelector(".one-form");
const field = (selector) => form()?.querySelector(selector);
// While a photo is being saved, and until htmx is there: saved without it, the page would be left,
// and what is typed meanwhile would go to the photo before.
let busy = true;
let early = []; // keys typed meanwhile, for what is seen already

// --- What is chosen and not saved yet waits on this device, also while one looks elsewhere.

const draftName = () => `sort-one:${one().dataset.photo}`;

function keepDraft() {
  const said = Object.fromEntries(
    ["bird", "foot", "score"].map((name) => [name, field(`input[name=${name}]:checked`)?.value ?? ""]),
  );
  said.date = field("[name=date]").value;
  said.dates_right = field("[name=dates_right]")?.checked ?? false;
  sessionStorage.setItem(draftName(), JSON.stringify(said));
}

function takeDraft() {
  const kept = sessionStorage.getItem(draftName());
  if (!kept || !field("[name=date]") || field(".wrong, .errorlist")) return;
  const said = JSON.parse(kept);
  for (const name of ["bird", "foot", "score"]) {
    for (const radio of form().querySelectorAll(`input[name=${name}]`)) radio.checked = radio.value === said[name];
  }
  field("[name=date]").value = said.date;
  const right = field("[name=dates_right]");
  if (right) right.checked = said.dates_right;
}

// --- Choosing

function update() {
  const named = field(".one-named");
  if (!named) return;
  const bird = field("input[name=bird]:checked");
  named.textContent = bird?.dataset.name ?? named.dataset.none;
}

function changed() {
  field(".one-why")?.remove();
  update();
  keepDraft();
}

function toggle(name, value) {
  const radio = field(`input[name=${name}][value="${value}"]`);
  if (!radio) return;
  radio.checked = !radio.checked;
  changed();
}

function isComplete() {
  const day = form().dataset.sure || field("[name=date]").value || field("[name=dates_right]")?.checked;
  return day && field("input[name=bird]:checked") && field("[name=foot][value=left]:checked, [name=foot][value=right]:checked");
}

// The score comes last: once bird, foot and day are said, its key saves as well.
function score(value) {
  if (!field("[name=score]")) return;
  if (!isComplete()) {
    toggle("score", value);
    return;
  }
  choose(field(`input[name=score][value="${value}"]`));
  one().querySelector(".one-save").click();
}

function choose(radio) {
  if (!radio) return;
  radio.checked = true;
  changed();
}

// From one bird of that letter to the next: those with a face first.
function birdOfLetter(letter) {
  const all = [...form().querySelectorAll("input[name=bird]")];
  const named = all.filter((radio) => radio.dataset.name.toLowerCase().startsWith(letter));
  choose(named[(named.findIndex((radio) => radio.checked) + 1) % named.length]);
}

function toPhoto() {
  field(".one-others")?.removeAttribute("open");
  field(".one-photo")?.focus({ preventScroll: true });
}

function openPart(selector, inner) {
  const part = field(selector);
  if (!part) return null;
  part.open = true;
  part.querySelector(inner).focus();
  return part.querySelector(inner);
}

const FIELDS = { b: [".one-others", "#bird-find"], d: [".one-date", "[name=date]"] };

const go = (selector) => () => one().querySelector(selector)?.click();
const KEYS = {
  l: () => toggle("foot", "left"),
  r: () => toggle("foot", "right"),
  0: () => score("0"),
  1: () => score("1"),
  2: () => score("2"),
  b: () => openPart(...FIELDS.b),
  d: () => openPart(...FIELDS.d),
  t: () => {
    const right = field("[name=dates_right]");
    if (!right) return;
    right.checked = !right.checked;
    changed();
  },
  n: go(".one-nobody"),
  u: () => document.querySelector("#undo input[name=changes]") && document.getElementById("undo").requestSubmit(),
  enter: go(".one-save"),
  arrowleft: go(".one-before"),
  arrowright: go(".one-after"),
  escape: () => window.location.assign(one().querySelector(".one-list").href),
};

// Back from a text field, with the first bird that fits what was typed.
function leaveText(text) {
  if (text.id === "bird-find" && text.value) {
    const row = [...document.getElementById("bird-rows").children].find((label) => !label.hidden);
    if (!row) return; // no such bird: still to be typed differently
    choose(row.querySelector("input"));
  }
  toPhoto();
}

function inText(event) {
  if (event.key !== "Escape" && event.key !== "Enter") return;
  event.preventDefault();
  if (event.key === "Enter") leaveText(event.target);
  else toPhoto();
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (!busy && !event.target.closest("#one")) return;
  if (event.target.matches("input:not([type=radio], [type=checkbox])")) {
    inText(event);
    return;
  }
  const key = event.key.toLowerCase();
  if (key === "shift" || key === "tab") return;
  const letter = event.shiftKey && key.length === 1 && key !== key.toUpperCase();
  if (busy) {
    event.preventDefault();
    early.push({ key, letter });
    return;
  }
  const pressable = event.target.closest("a, button, summary");
  if (pressable && (key === "enter" || key === " ")) return;
  // Between radio buttons the arrows do what they do in every form.
  if (key.startsWith("arrow") && event.target.matches("[type=radio]")) return;
  if (!letter && !KEYS[key] && !field(`input[data-key="${key}"]`)) return;
  event.preventDefault();
  act(key, letter);
});

function act(key, letter) {
  const face = field(`input[data-key="${key}"]`);
  if (letter) birdOfLetter(key);
  else if (face) choose(face);
  else KEYS[key]?.();
}

// Typed while the page did not show yet what is chosen: that is chosen and written, but nothing is
// saved unseen. What comes after an arrow is meant for the photo that it leads to; what comes after
// another key that leads elsewhere, for none that is known.
function actOnEarly() {
  const keys = early.splice(0);
  for (let at = 0; at < keys.length; at += 1) {
    const { key, letter } = keys[at];
    if (FIELDS[key] && !letter && field(FIELDS[key][0])) {
      const end = keys.findIndex((one, place) => place > at && one.key === "enter");
      const text = openPart(...FIELDS[key]);
      const typed = keys.slice(at + 1, end < 0 ? undefined : end).map((one) => one.key);
      text.value += typed.filter((one) => one.length === 1).join("");
      text.dispatchEvent(new Event("input", { bubbles: true }));
      if (end < 0) return; // and the rest is typed there by now
      leaveText(text);
      at = end;
    } else if ("012".includes(key)) {
      toggle("score", key);
      return;
    } else if (key === "arrowleft" || key === "arrowright") {
      act(key, letter);
      early = busy ? keys.slice(at + 1) : [];
      return;
    } else if (letter || "lr456789".includes(key) || key === "escape") {
      act(key, letter);
    } else {
      return;
    }
  }
}

document.addEventListener("change", (event) => {
  if (event.target.closest("#one")) changed();
});
document.addEventListener("input", (event) => {
  if (event.target.name === "date") keepDraft();
});
// After a tap the keys go on at the photo; an arrow would move the choice otherwise.
document.addEventListener("click", (event) => {
  if (event.detail > 0 && event.target.matches("#one input[type=radio]")) toPhoto();
});

// --- Saving and going on

let shown = null; // the address of the photo that is being saved

document.body.addEventListener("htmx:beforeRequest", (event) => {
  if (busy) {
    event.preventDefault();
    return;
  }
  busy = true;
  const image = field(".one-photo img");
  if (event.target !== form() || !one().dataset.preload) return;
  // The next photo is here already: it can be looked at while this one is saved.
  shown = image.src;
  image.src = one().dataset.preload;
  form().classList.add("saving");
});
document.body.addEventListener("htmx:afterRequest", (event) => {
  const { xhr, requestConfig } = event.detail;
  const photo = requestConfig.formData?.get("photo");
  if (xhr.status === 200) {
    if (photo) sessionStorage.removeItem(`sort-one:${photo}`);
    return;
  }
  early = [];
  busy = false;
  if (shown) field(".one-photo img").src = shown;
  form()?.classList.remove("saving");
});
document.body.addEventListener("htmx:beforeSwap", (event) => {
  if (event.detail.xhr.status !== 422) return;
  event.detail.shouldSwap = true; // the same photo, with what is wrong
  event.detail.isError = false;
});
document.body.addEventListener("htmx:afterSettle", () => {
  show();
  goOn();
});
for (const failed of ["htmx:sendError", "htmx:responseError"]) {
  document.body.addEventListener(failed, (event) => {
    const trouble = field(".one-trouble");
    if (!trouble) return;
    const full = event.detail.xhr.status === 507 && event.detail.xhr.responseText;
    trouble.textContent = full || "That did not get through. Nothing was changed; try again.";
    trouble.hidden = false;
    event.stopPropagation(); // and is not said at the top of the page as well
  });
}

function show() {
  shown = null;
  for (const part of document.querySelectorAll("#one .scripted")) part.hidden = false;
  if (!form()) return;
  takeDraft();
  update();
  if (!field(".one-date .errorlist")) toPhoto();
  if (one().dataset.preload) new Image().src = one().dataset.preload;
}

function goOn() {
  busy = false;
  if (form()) actOnEarly();
}

show();
// htmx begins with the same event, heard by the document before it comes to the window.
window.addEventListener("DOMContentLoaded", goOn);
