// The check form: chips that can be taken back, and a draft that outlives a closed tab. Without script the form works as it stands.
"use strict";

const form = document.querySelector(".check-form");

// A radio button cannot be cleared by hand; tapping the chosen one again takes the answer back.
let chosenBefore = false;
form.addEventListener("pointerdown", (event) => {
  const radio = event.target.closest(".chips label")?.querySelector("input[type=radio]");
  chosenBefore = Boolean(radio?.checked);
});
form.addEventListener("click", (event) => {
  if (event.target.type !== "radio" || !chosenBefore || event.detail === 0) return;
  event.target.checked = false;
  chosenBefore = false;
  form.dispatchEvent(new Event("change", { bubbles: true }));
});

// One save, however often it is tapped. The key of the check makes sure of it on the server too.
const buttons = (disabled) => form.querySelectorAll("button").forEach((button) => Object.assign(button, { disabled }));
form.addEventListener("submit", () => setTimeout(() => buttons(true)));
window.addEventListener("pageshow", ({ persisted }) => persisted && buttons(false));

// The second tap of two on what was here before is not meant for this bird.
const verdict = form.querySelector("[name=verdict]");
function settle() {
  const now = (yes) => {
    verdict.disabled = yes;
    verdict.classList.toggle("settling", yes);
  };
  now(true);
  setTimeout(now, 700, false);
}
if (verdict) {
  settle();
  form.addEventListener("shown", settle);
}

// Draft
const draftKey = `draft:${form.dataset.draft}`;
const LEFT_OUT = new Set(["csrfmiddlewaretoken", "verdict"]);

function saveDraft() {
  const entries = [...new FormData(form)].filter(
    ([name, value]) => !LEFT_OUT.has(name) && typeof value === "string",
  );
  localStorage.setItem(draftKey, JSON.stringify(entries));
}

function restoreDraft() {
  const entries = JSON.parse(localStorage.getItem(draftKey) ?? "[]");
  const given = entries.filter(([name, value]) => value && name !== "check_id" && name !== "at");
  if (!given.length || "answered" in form.dataset) return;
  for (const [name, value] of entries) {
    if (name.endsWith("-kept_photo")) {
      form.dispatchEvent(new CustomEvent("keep-photo", { detail: { name, id: value } })); // photos.js
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

restoreDraft();
form.addEventListener("input", saveDraft);
form.addEventListener("change", saveDraft);
