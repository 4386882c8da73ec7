// The check form: chips that can be taken back, photos sent while the keeper goes on typing, and a
// draft that outlives a closed tab. Without script the form works as it stands.
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
