// Fields for photos: a picture is seen at once, sent while the keeper goes on typing where the form
// says where to (data-add), and otherwise goes with the form. Without script the fields work as
// they stand. Other scripts hear "change" on the form; they may ask for "keep-photo".
"use strict";

const KEPT_SIDE = 72;

function photoForm(form) {
  const fields = [...form.querySelectorAll(".photo-field")].map((element) => photoField(form, element));
  // What is saved need not wait for its photos: they stay in the fields and follow.
  form.addEventListener("submit", () => fields.forEach((field) => field.stop()), { capture: true });
  form.addEventListener("keep-photo", ({ detail: { name, id } }) => {
    fields.find((field) => field.kept === name)?.keep({
      id, url: form.dataset.add.replace("add/", `${id}/240.jpg`),
    });
  });
  // A form that is used again, for the next bird.
  form.addEventListener("reset", () => fields.forEach((field) => field.clear()));
  carriedHere(form);
  offerCamera(form, fields.filter((field) => field.camera));
}

function photoField(form, element) {
  const list = element.querySelector(".kept-photos");
  const inputs = [...element.querySelectorAll("input[type=file]")];
  const gallery = inputs.at(-1);
  const waiting = new Map(); // files that are not sent yet, each with its line and its request
  const foot = () => element.dataset.kept.match(/^(left|right)-/)?.[1] ?? form.elements.foot?.value ?? "";
  const said = () => form.dispatchEvent(new Event("change", { bubbles: true }));

  // All that waits is in the one field, so that both buttons can be used, and more than once.
  function hold() {
    const held = new DataTransfer();
    for (const file of waiting.keys()) held.items.add(file);
    for (const input of inputs) if (input !== gallery) input.value = "";
    gallery.files = held.files;
  }

  function take(files) {
    for (const file of files) add(file);
    hold();
    said();
  }

  function add(file) {
    const line = make("li", { className: "waiting-photo" });
    const words = make("span", { textContent: file.name });
    line.append(preview(file), words, remover(line, `Leave ${file.name} out`, () => {
      waiting.get(file)?.request?.abort();
      waiting.delete(file);
      hold();
    }));
    list.append(line);
    waiting.set(file, { line, words });
    if (form.dataset.add && tokenOf(form)) send(file);
    else follows(file);
  }

  function follows(file) {
    const place = waiting.get(file);
    if (place && form.dataset.add) {
      place.words.textContent = `${file.name} will be sent with the ${form.dataset.outbox === "step" ? "care" : "check"}.`;
    }
  }

  function send(file) {
    const place = waiting.get(file), request = new XMLHttpRequest(), body = new FormData();
    place.request = request;
    body.append("photo", file);
    body.append("bird", form.dataset.bird ?? "");
    place.words.textContent = "Sending photo. Go on, it follows by itself.";
    request.upload.addEventListener("progress", ({ loaded, total }) => {
      const percent = total ? Math.floor((100 * loaded) / total) : 0;
      place.words.textContent = percent < 100
        ? `Sending photo ${percent}%. Go on, it follows by itself.` : "Sent. Looking at it …";
    });
    request.addEventListener("loadend", () => {
      if (!waiting.has(file)) return; // left out meanwhile
      place.request = null;
      const answer = [201, 422].includes(request.status) ? read(request.responseText) : null;
      if (!answer) return follows(file);
      waiting.delete(file);
      hold();
      if (answer.error) ask(make("li", { className: "refused", textContent: answer.error }), place.line);
      else if (answer.elsewhere) ask(elsewhere(answer), place.line);
      else keep(answer, place.line);
      if (answer.card) form.append(otherCard(form, answer.card));
      said();
    });
    request.open("POST", form.dataset.add);
    request.setRequestHeader("X-CSRFToken", tokenOf(form));
    request.send(body);
  }

  // What the keeper should see, wherever they are in the form by now.
  function ask(line, instead) {
    instead.replaceWith(line);
    line.scrollIntoView({ block: "center" });
  }

  function keep(photo, instead) {
    if (list.querySelector(`input[value="${photo.id}"]`)) return instead?.remove();
    const line = make("li");
    line.append(
      Object.assign(new Image(KEPT_SIDE, KEPT_SIDE), { src: photo.url, alt: "Photo kept" }),
      make("input", { type: "hidden", name: element.dataset.kept, value: photo.id }),
      remover(line, "Leave this photo out", said),
    );
    if (instead) instead.replaceWith(line);
    else list.append(line);
  }

  // On record as another bird's: it stays there, or is moved here.
  function elsewhere(photo) {
    const line = make("li", { className: "on-record" });
    const move = make("button", { type: "button", className: "plain", textContent: "Move it here" });
    const leave = make("button", { type: "button", className: "plain", textContent: "Leave it there" });
    move.addEventListener("click", async () => {
      if (move.ariaBusy === "true") return;
      move.ariaBusy = "true";
      const body = new FormData();
      const asked = { csrfmiddlewaretoken: tokenOf(form), bird: form.dataset.bird, foot: foot() };
      for (const [name, value] of Object.entries(asked)) body.append(name, value);
      const answer = await fetch(photo.elsewhere.move, { method: "POST", body, redirect: "manual" }).catch(() => null);
      if (answer?.type === "opaqueredirect") {
        keep(photo, line);
        said();
      } else line.append(make("p", { className: "refused", textContent: "It could not be moved. Try again on its own page." }));
      move.ariaBusy = "false";
    });
    leave.addEventListener("click", () => line.remove());
    line.append(
      "This photo is already on record: ",
      make("a", { href: photo.elsewhere.page, target: "_blank", textContent: photo.elsewhere.words }),
      ". ", move, leave,
    );
    return line;
  }

  element.addEventListener("change", (event) => {
    if (event.target.type !== "file") return;
    event.stopPropagation();
    take([...event.target.files].filter((file) => !waiting.has(file)));
  });
  for (const line of list.querySelectorAll("li")) line.append(remover(line, "Leave this photo out", said));
  return {
    kept: element.dataset.kept,
    keep,
    take,
    foot,
    element,
    camera: element.querySelector(".open-camera"),
    stop() {
      for (const [file, place] of waiting) {
        place.request?.abort();
        follows(file);
      }
    },
    clear() {
      waiting.clear();
      list.replaceChildren();
    },
  };
}

const tokenOf = (form) => form.elements.csrfmiddlewaretoken?.value;

// --- A camera of our own, where the browser lets a page have one; else the phone's own stays.

async function offerCamera(form, fields) {
  const dialog = document.getElementById("camera");
  // Browsers give it over HTTPS and on localhost alone.
  if (!dialog || !fields.length || !navigator.mediaDevices) return;
  const devices = await navigator.mediaDevices.enumerateDevices().catch(() => []);
  if (!devices.some(({ kind }) => kind === "videoinput")) return;
  document.head.append(make("link", { rel: "stylesheet", href: dialog.dataset.style }));
  const ours = import(dialog.dataset.script);
  ours.catch(() => {}); // said when it is wanted
  for (const field of fields) {
    ownCamera(field, false);
    field.camera.addEventListener("click", () => openCamera({ form, dialog, ours, fields, field }));
  }
}

// The phone's own camera in place of ours, or the other way round.
function ownCamera({ element, camera }, yes) {
  camera.hidden = yes;
  const input = element.querySelector("input[capture]");
  for (const part of [input, ...input.labels]) part.hidden = !yes;
}

async function openCamera({ form, dialog, ours, fields, field }) {
  const { add, bird, birdName } = form.dataset;
  const at = (path) => add.replace("add/", path);
  const order = [field, ...fields.filter((other) => other !== field)];
  field.camera.disabled = true; // while the browser asks whether it may
  try {
    const { shoot } = await ours;
    const taken = await shoot({
      dialog, bird, name: birdName, feet: order.map((one) => [one.foot(), `To the ${one.foot()} foot`]),
      card: at("card/"), last: at(`last/${bird}/`), token: tokenOf(form),
    });
    for (const one of order) {
      const files = taken.filter(([foot]) => foot === one.foot()).map(([, file]) => file);
      if (files.length) one.take(files);
    }
  } catch (problem) {
    const why = problem.name === "NotAllowedError" ? "This page may not use the camera." : "The camera does not open.";
    for (const one of fields) ownCamera(one, true);
    field.element.querySelector(".photo-buttons").after(make("p", {
      className: "help no-camera", role: "alert", textContent: `${why} Use your phone’s own, or choose photos.`,
    }));
  } finally {
    field.camera.disabled = false;
    field.camera.focus({ preventScroll: true });
  }
}

function make(tag, more) {
  return Object.assign(document.createElement(tag), more);
}

function read(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null; // not from our server, such as the page of a strange network
  }
}

function preview(file) {
  const url = URL.createObjectURL(file);
  const image = Object.assign(new Image(KEPT_SIDE, KEPT_SIDE), { src: url, alt: "" });
  image.addEventListener("load", () => URL.revokeObjectURL(url));
  image.addEventListener("error", () => image.remove()); // a format that this browser does not show
  return image;
}

// Taking a photo off the form; what was sent stays among the bird's photos or those to sort.
function remover(line, label, then) {
  const button = make("button", { type: "button", className: "plain", textContent: "×" });
  button.setAttribute("aria-label", label);
  button.addEventListener("click", () => {
    line.remove();
    then();
  });
  return button;
}

// --- The card in a photo is another bird's

function otherCard(form, { bird, name }) {
  document.getElementById("other-card")?.remove();
  const notice = make("div", { id: "other-card", className: "notice warning", role: "alert" });
  if (!form.dataset.outbox) {
    notice.append(`This card is ${name}’s. If this was ${name}, save, then tap “Wrong bird?”.`);
    return notice;
  }
  const yes = make("button", { type: "button", textContent: `Log it for ${name}` });
  const no = make("button", { type: "button", className: "plain", textContent: `It is ${form.dataset.birdName}` });
  yes.addEventListener("click", () => carry(form, bird, name));
  no.addEventListener("click", () => notice.remove());
  notice.append(make("p", { textContent: `This card is ${name}’s. Log it for ${name}?` }), yes, no);
  setTimeout(() => notice.scrollIntoView({ block: "center" }));
  return notice;
}

const draftOf = (form, bird) => `draft:${form.dataset.draft.replace(form.dataset.bird, bird)}`;

// To the other bird's form, with all that was typed and the photos that are here.
function carry(form, bird, name) {
  const theirs = draftOf(form, bird);
  if (localStorage.getItem(theirs) && !window.confirm(`What was begun for ${name} is kept on this phone. Replace it?`)) return;
  const entries = [...new FormData(form)].filter(
    ([field, value]) => typeof value === "string" && field !== "csrfmiddlewaretoken",
  );
  const address = location.pathname.replace(form.dataset.bird, bird);
  localStorage.removeItem(theirs);
  localStorage.removeItem(draftOf(form, form.dataset.bird));
  sessionStorage.setItem("carried", JSON.stringify({ address, entries }));
  location.assign(address + location.search);
}

function carriedHere(form) {
  const carried = JSON.parse(sessionStorage.getItem("carried") ?? "null");
  if (carried?.address !== location.pathname) return;
  sessionStorage.removeItem("carried");
  for (const [name, value] of carried.entries) {
    const fields = [...form.elements].filter((field) => field.name === name && field.type !== "file");
    const choices = fields.filter((field) => ["radio", "checkbox"].includes(field.type));
    if (choices.length) {
      for (const field of choices) if (field.value === value) field.checked = true;
    } else if (name === "kept" || name.endsWith("-kept_photo")) {
      form.dispatchEvent(new CustomEvent("keep-photo", { detail: { name, id: value } }));
    } else if (fields.length) fields[0].value = value;
  }
  form.querySelectorAll("details").forEach((part) => {
    if (part.querySelector("[type=hidden][name$=kept_photo], :checked:not([value=''])")) part.open = true;
  });
  document.addEventListener("DOMContentLoaded", () => form.dispatchEvent(new Event("change", { bubbles: true })));
}

new Set([...document.querySelectorAll(".photo-field")].map((field) => field.closest("form"))).forEach(photoForm);
