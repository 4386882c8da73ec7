// What is typed on a form with data-draft stays on this phone until it is saved: neither a tap on
// another page nor a closed tab loses it. Its name there is that of the form, and of the record.

const form = document.querySelector("form[data-draft]");
const draft = () => `draft:${form.dataset.draft}`; // a form turned to another bird has another
// Of the page as it came: its token, its buttons, what it knows of the feet.
const LEFT_OUT = /^(csrfmiddlewaretoken|verdict|clear|.*-was)$/;
const NOT_TYPED = ["file", "password", "submit", "button"];
// Other each time the form is opened.
const EACH_TIME = /^(at|version|.*_id)$/;

const isPhoto = (name) => name === "kept" || name.endsWith("-kept_photo");
const isKept = ({ name, type }) => name && !LEFT_OUT.test(name) && !NOT_TYPED.includes(type);

function typed() {
  const names = new Set([...form.elements].filter(isKept).map(({ name }) => name));
  return [...new FormData(form)].filter(([name]) => names.has(name));
}

const save = () => localStorage.setItem(draft(), JSON.stringify(typed()));

const told = (entries) => JSON.stringify(entries.filter(([name]) => !EACH_TIME.test(name)));

function restore() {
  const entries = JSON.parse(localStorage.getItem(draft()) ?? "[]");
  if (!entries.length || "answered" in form.dataset || told(entries) === told(typed())) return;
  for (const field of [...form.elements].filter(isKept)) {
    if (!isPhoto(field.name) && put(field, entries)) show(field);
  }
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
    localStorage.removeItem(draft());
    location.replace(location.pathname + location.search); // as a new form, of another record
  });
  notice.append("What you had typed is back. ", drop);
  form.prepend(notice);
}

restore();
form.addEventListener("input", save);
form.addEventListener("change", save);
form.addEventListener("submit", () => sessionStorage.setItem("draft sent", draft())); // flockcare.js
