// The check form: chips that can be taken back, and what follows from one tap. Without script the form works as it stands.
"use strict";

const form = document.querySelector(".check-form");

// A radio button cannot be cleared by hand; tapping the chosen one again takes the answer back.
// One that was only proposed is meant by the first tap.
let chosenBefore = false;
form.addEventListener("pointerdown", (event) => {
  const radio = event.target.closest(".chips label")?.querySelector("input[type=radio]");
  chosenBefore = Boolean(radio?.checked) && !isProposed(radio.name);
});
form.addEventListener("click", (event) => {
  const radio = event.target;
  if (radio.type !== "radio") return;
  if (chosenBefore && event.detail !== 0) {
    radio.checked = false;
    chosenBefore = false;
    radio.dispatchEvent(new Event("change", { bubbles: true }));
  } else if (isProposed(radio.name)) {
    settleScore(radio.name.split("-")[0]);
  }
});

// A label would give the focus to its box further down, and the page would jump there.
form.addEventListener("click", (event) => {
  const place = event.target.closest(".over");
  if (!place) return;
  event.preventDefault();
  place.control.click();
});

// One save, however often it is tapped. The key of the check makes sure of it on the server too.
const buttons = (disabled) => form.querySelectorAll("button").forEach((button) => Object.assign(button, { disabled }));
form.addEventListener("submit", () => setTimeout(() => buttons(true)));
window.addEventListener("pageshow", ({ persisted }) => persisted && buttons(false));

// The second tap of two on what was here before is not meant for this bird.
function settle(found) {
  const now = (yes) => found.forEach((button) => {
    button.disabled = yes;
    button.classList.toggle("settling", yes);
  });
  now(true);
  setTimeout(now, 700, false);
}
const verdicts = [...form.querySelectorAll("[name=verdict]")];
if (verdicts.length) {
  settle(verdicts);
  form.addEventListener("shown", () => settle(verdicts));
}

// What follows from one tap stands in the form, where it can be changed.
const choices = (name) => [...form.querySelectorAll(`[name="${CSS.escape(name)}"]`)];
const chosen = (name) => choices(name).filter((field) => field.checked).map((field) => field.value);
const choose = (name, values) => choices(name).forEach((field) => (field.checked = values.includes(field.value)));
const known = (foot) => form.querySelector(`[data-was="${foot}"]`)?.dataset;
const isSore = (foot) => chosen(`${foot}-score`).some((score) => score > 0);
// A field that is sent: a page shown again after a refusal still knows what was only proposed.
const proposal = (foot) => form.querySelector(`[name="${foot}-proposed"]`);
const isProposed = (name) => name.endsWith("-score") && Boolean(proposal(name.split("-")[0]).value);

function showProposed(foot, yes) {
  proposal(foot).value = yes ? "1" : "";
  form.querySelector(`.part-${foot} .proposed`).hidden = !yes;
}

function propose(foot) {
  const score = known(foot)?.score > 0 ? known(foot).score : "1";
  choose(`${foot}-score`, [score]);
  showProposed(foot, true);
}

const settleScore = (foot) => showProposed(foot, false);

const notTheSame = (foot) => choices(`${foot}-same`).forEach((chip) => (chip.checked = false));

const FOLLOWS = {
  same(foot, tapped) {
    const was = known(foot);
    settleScore(foot);
    choose(`${foot}-score`, [tapped.checked ? was.score : ""]);
    choose(`${foot}-sites`, tapped.checked ? was.sites.split(";") : []);
    choose(`${foot}-scab`, tapped.checked ? [was.scab] : []);
  },
  sites(foot, tapped) {
    notTheSame(foot);
    delete tapped.dataset.filled;
    if (tapped.checked && !chosen(`${foot}-score`).some(Boolean)) {
      propose(foot);
      // What was proposed is seen, above the bar for saving that has just come up.
      form.querySelector(`.part-${foot} .proposed`).scrollIntoView({ block: "nearest" });
    } else if (isProposed(`${foot}-score`) && !chosen(`${foot}-sites`).length) {
      settleScore(foot);
      choose(`${foot}-score`, [""]);
    }
  },
  // The place of a sore that is known is filled in, and goes again when there is no sore.
  score(foot) {
    settleScore(foot);
    notTheSame(foot);
    const places = choices(`${foot}-sites`), was = known(foot);
    if (isSore(foot) && was?.score > 0 && !chosen(`${foot}-sites`).length) {
      choose(`${foot}-sites`, was.sites.split(";"));
      places.forEach((field) => field.checked && (field.dataset.filled = ""));
    } else if (!isSore(foot)) {
      places.forEach((field) => "filled" in field.dataset && (field.checked = false));
    }
  },
};
form.addEventListener("change", ({ target }) => {
  const [, foot, part] = target.name?.match(/^(left|right)-(same|sites|score)$/) ?? [];
  if (part) FOLLOWS[part](foot, target);
});
// Tapped while this script was still on its way.
[...form.elements].filter((field) => field.checked && !field.defaultChecked)
  .forEach((field) => field.dispatchEvent(new Event("change", { bubbles: true })));

// Before both feet are called clear, whether the sore that is known has healed.
form.querySelector("[value='both clear']")?.addEventListener("click", (event) => {
  const asked = form.querySelector(".healed");
  if (!asked || isSore("left") || isSore("right")) return;
  event.preventDefault();
  asked.hidden = false;
  settle([...asked.querySelectorAll("button")]);
  asked.focus();
});
