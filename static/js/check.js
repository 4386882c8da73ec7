// The check form: chips that can be taken back, photos sent while the keeper goes on typing, and a
// draft that outlives a closed tab. Without script the form works as it stands.
"use strict";

const form = document.querySelector(".check-form");

// A radio button cannot be cleared by hand; tapping the chosen one again takes the answer back.
// One that was only proposed is meant by the first tap.
let chosenBefore = false;
form.addEventListener("pointerdown", (event) => {
  const radio = event.target.closest(".chips label")?.querySelector("input[type=radio]");
  chosenBefore = Boolean(radio?.checked) && !("proposed" in radio.dataset);
});
form.addEventListener("click", (event) => {
  const radio = event.target;
  if (radio.type !== "radio") return;
  if (chosenBefore && event.detail !== 0) {
    radio.checked = false;
    chosenBefore = false;
    radio.dispatchEvent(new Event("change", { bubbles: true }));
  } else if ("proposed" in radio.dataset) {
    settleScore(radio.name.split("-")[0]);
  }
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

function propose(foot) {
  const score = known(foot)?.score > 0 ? known(foot).score : "1";
  choose(`${foot}-score`, [score]);
  choices(`${foot}-score`).find((field) => field.checked).dataset.proposed = "";
  form.querySelector(`.part-${foot} .proposed`).hidden = false;
}

function settleScore(foot) {
  choices(`${foot}-score`).forEach((field) => delete field.dataset.proposed);
  form.querySelector(`.part-${foot} .proposed`).hidden = true;
}

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
    const isProposed = choices(`${foot}-score`).some((field) => "proposed" in field.dataset);
    if (tapped.checked && !chosen(`${foot}-score`).some(Boolean)) propose(foot);
    else if (isProposed && !chosen(`${foot}-sites`).length) {
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

// Before both feet are called clear, whether the sore that is known has healed.
form.querySelector("[value='both clear']")?.addEventListener("click", (event) => {
  const asked = form.querySelector(".healed");
  if (!asked || isSore("left") || isSore("right")) return;
  event.preventDefault();
  asked.hidden = false;
  settle([...asked.querySelectorAll("button")]);
  asked.focus();
});

// Photos
const csrf = () => form.elements.csrfmiddlewaretoken.value;

function kept(list, name, photo) {
  const item = document.createElement("li");
  const image = Object.assign(new Image(72, 72), { src: photo.url, alt: "Photo kept" });
  const key = Object.assign(document.createElement("input"), {
    type: "hidden", name: `${name}-kept_photo`, value: photo.id,
  });
  item.append(image, key);
  list.append(item);
  addRemover(item);
}

// Taking a photo off the check; it stays among the bird's photos or those to sort.
function addRemover(item) {
  const remove = Object.assign(document.createElement("button"), {
    type: "button", className: "plain", textContent: "×",
  });
  remove.setAttribute("aria-label", "Leave this photo out");
  remove.addEventListener("click", () => {
    item.remove();
    saveDraft();
  });
  item.append(remove);
}

async function send(file, address) {
  const body = new FormData();
  body.append("photo", file);
  const answer = await fetch(address, {
    method: "POST", body, headers: { "X-CSRFToken": csrf() }, redirect: "manual",
  });
  if (answer.status !== 201 && answer.status !== 422) throw new Error(`answer ${answer.status}`);
  return answer.json();
}

for (const input of form.querySelectorAll("input[type=file]")) {
  const { foot: name } = input.closest(".photo-field").dataset;
  const list = input.parentElement.querySelector(".kept-photos");
  input.addEventListener("change", async () => {
    const unsent = new DataTransfer();
    for (const file of input.files) {
      const line = Object.assign(document.createElement("li"), { textContent: `Sending ${file.name} …` });
      list.append(line);
      try {
        const answer = await send(file, form.dataset.add);
        line.remove();
        if (answer.error) {
          list.append(Object.assign(document.createElement("li"), {
            className: "refused", textContent: answer.error,
          }));
        } else {
          kept(list, name, answer);
          saveDraft();
        }
      } catch {
        // It stays in the field and goes with the form.
        unsent.items.add(file);
        line.textContent = `${file.name} will be sent with the check.`;
      }
    }
    input.files = unsent.files;
  });
}

// Draft
const draftKey = `draft:${form.dataset.draft}`;
const LEFT_OUT = /^(csrfmiddlewaretoken|verdict|clear|.*-was)$/;

function saveDraft() {
  const entries = [...new FormData(form)].filter(
    ([name, value]) => !LEFT_OUT.test(name) && typeof value === "string",
  );
  localStorage.setItem(draftKey, JSON.stringify(entries));
}

function restoreDraft() {
  const entries = JSON.parse(localStorage.getItem(draftKey) ?? "[]");
  const given = entries.filter(([name, value]) => value && name !== "check_id" && name !== "at");
  if (!given.length || "answered" in form.dataset) return;
  for (const [name, value] of entries) {
    if (name.endsWith("-kept_photo")) {
      const list = form.querySelector(`[data-foot="${name.split("-")[0]}"] .kept-photos`);
      if (!list.querySelector(`[value="${value}"]`)) {
        kept(list, name.split("-")[0], { id: value, url: form.dataset.add.replace("add/", `${value}/240.jpg`) });
      }
      continue;
    }
    for (const field of form.querySelectorAll(`[name="${CSS.escape(name)}"]`)) {
      if (field.type === "radio" || field.type === "checkbox") {
        if (field.value === value) field.checked = true;
      } else {
        field.value = value;
      }
    }
  }
  const notice = Object.assign(document.createElement("p"), { className: "notice", role: "status" });
  const drop = Object.assign(document.createElement("button"), {
    type: "button", className: "plain", textContent: "Start afresh",
  });
  drop.addEventListener("click", () => {
    localStorage.removeItem(draftKey);
    window.location.reload();
  });
  notice.append("What you had typed for this bird is back. ", drop);
  form.prepend(notice);
}

form.querySelectorAll(".kept-photos li").forEach(addRemover);
restoreDraft();
form.addEventListener("input", saveDraft);
form.addEventListener("change", saveDraft);
