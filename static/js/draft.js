// What is typed on a form with data-draft stays on this phone until it is saved: neither a tap on
// another page nor a closed tab nor a session that has ended loses it. Its name there is that of the
// form, and of the record.

const form = document.querySelector("form[data-draft]");
const draft = () => `draft:${form.dataset.draft}`; // a form turned to another bird has another
// Of the page as it came: its token, its buttons, what it knows of the feet.
const LEFT_OUT = /^(csrfmiddlewaretoken|verdict|clear|.*-was)$/;
const NOT_TYPED = ["file", "password", "submit", "button"];
// Other each time the form is opened, or each time the record has changed. They come back too: what
// was typed goes to the record, and to the version of it, that it was typed for.
const EACH_TIME = /^(at|key|version|(.*-)?shown|.*_id)$/;

const isPhoto = (name) => name === "kept" || name.endsWith("-kept_photo");
const isKept = ({ name, type }) => name && !LEFT_OUT.test(name) && !NOT_TYPED.includes(type);

function typed() {
  const names = new Set([...form.elements].filter(isKept).map(({ name }) => name));
  return [...new FormData(form)].filter(([name]) => names.has(name));
}

const save = () => localStorage.setItem(draft(), JSON.stringify(typed()));
const forget = () => localStorage.removeItem(draft());

const told = (entries) => JSON.stringify(entries.filter(([name]) => !EACH_TIME.test(name)));

function restore() {
  const entries = JSON.parse(localStorage.getItem(draft()) ?? "[]");
  if (!entries.length || told(entries) === told(typed())) return;
  const back = [...form.elements].filter((field) => isKept(field) && !isPhoto(field.name) && put(field, entries));
  back.forEach(show);
  // What is drawn or counted from it; htmx hears it from then on.
  document.addEventListener("DOMContentLoaded", () => back.at(-1)?.dispatchEvent(new Event("input", { bubbles: true })));
  const there = typed().filter(([name]) => isPhoto(name)).map(([, id]) => id);
  for (const [name, id] of entries.filter(([name, id]) => isPhoto(name) && !there.includes(id))) {
    form.dispatchEvent(new CustomEvent("keep-photo", { detail: { name, id } })); // photos.js
  }
  sayBack();
}

// Whether the field is another by that.
function put(field, entries) {
  const values = entries.filter(([name]) => name === field.name).map(([, value]) => value);
  const { checked, value } = field;
  if (["radio", "checkbox"].includes(field.type)) field.checked = values.includes(value);
  else if (values.length && isThere(field, values[0])) field.value = values[0];
  return field.checked !== checked || field.value !== value;
}

const isThere = ({ options }, chosen) => !options || [...options].some(({ value }) => value === chosen);

function show(field) {
  for (let part = field.closest("details"); part; part = part.parentElement.closest("details")) part.open = true;
}

function sayBack() {
  const notice = Object.assign(document.createElement("p"), { className: "notice", role: "status" });
  const drop = Object.assign(document.createElement("button"), {
    type: "button", className: "plain", textContent: "Start over",
  });
  drop.addEventListener("click", () => {
    forget();
    location.replace(location.pathname + location.search); // as a new form, of another record
  });
  notice.append("What you had typed is back. ", drop);
  form.prepend(notice);
}

// What was refused stands in the page that says so, and nowhere else if the outbox had it.
if ("answered" in form.dataset) save();
else restore();
form.addEventListener("input", save);
form.addEventListener("change", save);
form.addEventListener("kept", forget); // it waits in the outbox (outbox/forms.js)
form.querySelector("[data-drop-draft]")?.addEventListener("click", forget); // the saved one is taken instead
// Whoever saves it names it in the answer (core/drafts.py).
form.addEventListener("formdata", ({ formData }) => formData.set("draft", form.dataset.draft));
