// Photos to sort: hundreds of files sent one by one, and choosing photos by thumb, mouse and keys.
// Without script the page is a form with checkboxes.
"use strict";

// --- Bringing photos in

const bringBox = document.getElementById("bring");
const filesField = document.getElementById("old-photos");
const LARGEST = 30 * 1024 * 1024;
const BLOCK = 20;
const AT_ONCE = 2;
const RETRY_AFTER = 5000;
const sending = { waiting: [], running: false, stopped: false, total: 0, done: 0, fresh: 0, there: 0, refused: 0 };
const pause = (time) => new Promise((resume) => {
  setTimeout(resume, time);
  window.addEventListener("online", resume, { once: true });
});
const plural = (number, word) => `${number} ${word}${number === 1 ? "" : "s"}`;

function tell(words = "") {
  const { total, done, fresh, there, refused } = sending;
  bringBox.querySelector("progress").max = Math.max(1, total);
  bringBox.querySelector("progress").value = done;
  const parts = [`${done} of ${total}`, `${fresh} new`];
  if (there) parts.push(`${there} here already`);
  if (refused) parts.push(`${refused} not taken`);
  bringBox.querySelector(".told").textContent = `${parts.join(" · ")}${words && `. ${words}`}`;
}

function announce(words) {
  bringBox.querySelector(".announced").textContent = words;
  tell(words);
}

function refuse(reason) {
  sending.refused += 1;
  const line = document.createElement("li");
  line.textContent = reason;
  bringBox.querySelector(".refused").append(line);
}

// What is on its way comes to its end; what is chosen meanwhile begins after that.
function halt(words) {
  Object.assign(sending, { stopped: true, waiting: [] });
  announce(words);
}

function post(address, body) {
  const token = bringBox.querySelector("[name=csrfmiddlewaretoken]").value;
  const headers = { "X-CSRFToken": token, Accept: "application/json" };
  return fetch(address, { method: "POST", body, headers, redirect: "manual" });
}

// Asks again until there is an answer: signal comes and goes in a garden.
async function insist(address, body) {
  for (let failures = 0; !sending.stopped; ) {
    try {
      const answer = await post(address, body);
      if (answer.type === "opaqueredirect" || answer.status === 403) {
        halt("You are signed out, or may not add photos here. Sign in and choose the same files again; nothing is sent twice.");
        return null;
      }
      if (answer.status < 500 || ++failures > 2) return answer;
    } catch {
      announce("No signal. It tries again by itself; or come back later and choose the same files.");
    }
    await pause(RETRY_AFTER);
  }
  return null;
}

async function digestOf(file) {
  const digest = await crypto.subtle.digest("SHA-256", await file.arrayBuffer());
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

// A browser gives the means to compute hashes on HTTPS and localhost only; else the server notices.
async function unknown(files) {
  if (!crypto.subtle) return files;
  const digests = new Map();
  for (const file of files) {
    if (sending.stopped) return [];
    try {
      digests.set(file, await digestOf(file));
    } catch {
      digests.set(file, ""); // said when it is its turn to be sent
    }
  }
  const body = new FormData();
  for (const digest of digests.values()) if (digest) body.append("sha256", digest);
  const answer = await insist(bringBox.dataset.known, body);
  if (!answer?.ok) return answer ? files : [];
  const known = new Set((await answer.json()).known);
  const fresh = files.filter((file) => !known.has(digests.get(file)));
  sending.there += files.length - fresh.length;
  sending.done += files.length - fresh.length;
  tell();
  return fresh;
}

async function sendOne(file, chosenAt) {
  try {
    await file.slice(0, 1).arrayBuffer();
  } catch {
    return refuse(`“${file.name}” cannot be read any more.`);
  }
  const body = new FormData();
  body.append("photo", file);
  // Where a browser does not know a file's time it gives the present.
  if (file.lastModified < chosenAt - 60_000) body.append("modified", file.lastModified);
  const answer = await insist(bringBox.dataset.send, body);
  if (!answer || sending.stopped) return;
  if (answer.status === 201) {
    if ((await answer.json()).new) sending.fresh += 1;
    else sending.there += 1;
  } else if (answer.status === 422) {
    refuse((await answer.json()).error);
  } else {
    const why = answer.status === 507 ? (await answer.json()).reasons.join(" ") : "";
    refuse(`“${file.name}” could not be added. Choose it again later. ${why}`);
  }
}

async function sender(files, chosenAt) {
  for (let file; !sending.stopped && (file = files.shift()); ) {
    await sendOne(file, chosenAt);
    if (sending.stopped) return;
    sending.done += 1;
    tell();
  }
}

async function run() {
  sending.running = true;
  sending.stopped = false;
  bringBox.querySelector(".stop").hidden = false;
  while (sending.waiting.length && !sending.stopped) {
    const block = sending.waiting.splice(0, BLOCK);
    const chosenAt = block[0].chosenAt;
    const files = await unknown(block.map((one) => one.file));
    await Promise.all(Array.from({ length: AT_ONCE }, () => sender(files, chosenAt)));
  }
  sending.running = false;
  bringBox.querySelector(".stop").hidden = true;
  if (sending.waiting.length) return run();
  if (!sending.stopped) announce("Done.");
  if (boxes().some((box) => box.checked)) return;
  htmx.ajax("GET", bringBox.dataset.list + window.location.search, {
    source: bringBox, target: "#sort", swap: "outerHTML show:none",
  });
}

function bring(files) {
  const chosenAt = Date.now();
  const inOrder = [...files].sort((a, b) => a.name.localeCompare(b.name, undefined, { numeric: true }));
  if (!inOrder.length) return;
  if (!sending.running || sending.stopped) {
    Object.assign(sending, { total: 0, done: 0, fresh: 0, there: 0, refused: 0 });
    bringBox.querySelector(".refused").replaceChildren();
  }
  bringBox.open = true;
  bringBox.querySelector(".going").hidden = false;
  sending.total += inOrder.length;
  for (const file of inOrder) {
    const reason = file.size > LARGEST ? "is larger than 30 MB. Send it in a smaller size."
      : file.type.startsWith("video/") ? "is a video. Send a photo (JPEG, PNG, WebP or HEIC)." : "";
    if (reason) {
      refuse(`“${file.name}” ${reason}`);
      sending.done += 1;
    } else {
      sending.waiting.push({ file, chosenAt });
    }
  }
  tell();
  if (!sending.running) run();
}

function filesIn(entry) {
  if (entry.isFile) return new Promise((found, lost) => entry.file((file) => found([file]), lost));
  const reader = entry.createReader();
  const part = () => new Promise((found, lost) => reader.readEntries(found, lost));
  return (async () => {
    const files = [];
    for (let entries; (entries = await part()).length; ) {
      for (const inner of entries) files.push(...(await filesIn(inner)));
    }
    return files;
  })();
}

filesField.addEventListener("change", () => {
  bring(filesField.files);
  filesField.value = "";
});
bringBox.querySelector(".stop").addEventListener("click", () => {
  halt("Stopped. Choose the same files again to go on.");
});
const holdsFiles = (event) => event.dataTransfer?.types.includes("Files");
document.addEventListener("dragover", (event) => {
  if (holdsFiles(event)) event.preventDefault();
});
document.addEventListener("drop", async (event) => {
  if (!holdsFiles(event)) return;
  event.preventDefault();
  const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  const plain = [...event.dataTransfer.files];
  bring(entries.length ? (await Promise.all(entries.map(filesIn))).flat() : plain);
});
window.addEventListener("beforeunload", (event) => {
  if (sending.running) event.preventDefault();
});

// --- Choosing

const boxes = () => [...document.querySelectorAll(".sort-photos input[name=photo]")];
const form = () => document.querySelector(".sort-form");
let anchor = null; // value of the box that was chosen last: where a range begins
let goOnAt = null; // where the focus goes after saving by key

function chooseRange(to) {
  const all = boxes();
  const start = all.findIndex((box) => box.value === anchor);
  const end = all.indexOf(to);
  const [first, last] = start < 0 ? [end, end] : [Math.min(start, end), Math.max(start, end)];
  for (const box of all.slice(first, last + 1)) box.checked = true;
  update();
}

function said(name) {
  return form()?.querySelector(`input[name=${name}]:checked`);
}

function update() {
  if (!form()) return;
  const count = boxes().filter((box) => box.checked).length;
  form().querySelector(".bar-count").textContent = count ? `${plural(count, "photo")} chosen` : "";
  form().querySelector(".none").hidden = !count;
  form().classList.toggle("choosing", count > 0);
  const bird = said("bird");
  const words = bird?.value ? bird.closest("label").querySelector("strong").textContent : "Bird";
  form().querySelector(".bird-said").textContent = words;
  form().querySelector(".date-said").textContent = form().elements.date.value || "Date";
}

// --- How large the photos are shown: kept on this device

const SIZE = "sort-tile";
function resize(px) {
  document.documentElement.style.setProperty("--tile", `${px}px`);
}
function showSize() {
  const slider = document.getElementById("tile-size");
  if (slider) slider.value = localStorage.getItem(SIZE) ?? document.querySelector(".sort-group li").offsetWidth;
}
if (localStorage.getItem(SIZE)) resize(localStorage.getItem(SIZE));
document.addEventListener("input", ({ target }) => {
  if (target.id !== "tile-size") return;
  localStorage.setItem(SIZE, target.value);
  resize(target.value);
});

function ready() {
  for (const part of document.querySelectorAll(".scripted:not(.none)")) part.hidden = false;
  showSize();
  for (const part of document.querySelectorAll(".unscripted")) part.hidden = true;
  update();
  if (!goOnAt) return;
  const all = boxes();
  (all.find((box) => goOnAt.includes(box.value)) ?? all[0])?.focus();
  goOnAt = null;
}

function chooseGroup(section) {
  const inside = [...section.querySelectorAll("input[name=photo]")];
  const all = inside.every((box) => box.checked);
  for (const box of inside) box.checked = !all;
  anchor = inside[0].value;
  update();
}

function chooseNone() {
  for (const box of boxes()) box.checked = false;
  update();
}

document.addEventListener("click", (event) => {
  const target = event.target;
  const tile = target.closest(".sort-photos .tiles label");
  if (tile && event.shiftKey && target.tagName !== "INPUT") {
    event.preventDefault();
    chooseRange(tile.querySelector("input"));
    tile.querySelector("input").focus();
  } else if (target.closest(".sort-group .all")) {
    chooseGroup(target.closest(".sort-group"));
  } else if (target.closest(".sort-bar .none")) {
    chooseNone();
  } else if (target.closest("a.large") && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
    event.preventDefault();
    openLarge(target.closest("a.large"));
  } else if (target.name === "bird" && event.detail > 0) {
    target.closest("details").open = false;
  }
});
document.addEventListener("mousedown", (event) => {
  if (event.shiftKey && event.target.closest(".tiles")) event.preventDefault(); // no text selection
});
document.addEventListener("change", (event) => {
  if (event.target.matches(".sort-photos input[name=photo]")) anchor = event.target.value;
  update();
});
document.addEventListener("input", (event) => {
  if (event.target.name === "date") update();
});

// Photos that look the same are compared where they stand; all others open one at a time.
function openLarge(link) {
  const look = document.getElementById("look");
  const image = look.querySelector("img");
  image.src = link.href;
  image.alt = (link.querySelector("img") ?? link.closest("li").querySelector("img")).alt;
  look.showModal();
}
document.getElementById("look").addEventListener("click", (event) => {
  if (event.target.tagName !== "BUTTON") event.currentTarget.close();
});

// --- Keys, while a photo has the focus

function neighbour(box, key) {
  const all = boxes();
  const at = all.indexOf(box);
  if (key === "ArrowLeft") return all[at - 1];
  if (key === "ArrowRight") return all[at + 1];
  const middle = ({ left, right }) => (left + right) / 2;
  const here = box.closest("li").getBoundingClientRect();
  const down = key === "ArrowDown";
  let best = null;
  for (const other of down ? all.slice(at + 1) : all.slice(0, at).reverse()) {
    const there = other.closest("li").getBoundingClientRect();
    if (down ? there.top < here.bottom - 1 : there.bottom > here.top + 1) continue;
    if (best && Math.abs(there.top - best.top) > 1) break; // only the next row
    const off = Math.abs(middle(there) - middle(here));
    if (!best || off < best.off) best = { off, top: there.top, box: other };
  }
  return best?.box;
}

function toggle(name, value) {
  const radio = form().querySelector(`input[name=${name}][value="${value}"]`);
  const none = form().querySelector(`input[name=${name}][value=""]`);
  (radio.checked ? none : radio).checked = true;
}

let cameFrom = null;
function openPart(selector, field) {
  const part = form().querySelector(selector);
  part.open = true;
  part.querySelector(field).focus();
}
function backToPhotos() {
  for (const part of form().querySelectorAll(".bar-bird, .bar-date")) part.open = false;
  (cameFrom?.isConnected ? cameFrom : boxes()[0])?.focus();
}

function saveByKey() {
  const all = boxes();
  const at = all.findLastIndex((box) => box.checked);
  const after = all.slice(at + 1).concat(all.slice(0, at + 1).reverse());
  goOnAt = after.filter((box) => !box.checked).map((box) => box.value).slice(0, 1);
  if (!goOnAt.length) goOnAt = [all[at]?.value];
  form().requestSubmit(form().querySelector(".bar-save"));
}

const KEYS = {
  a: (box) => chooseGroup(box.closest(".sort-group")),
  b: () => openPart(".bar-bird", "#bird-find"),
  d: () => openPart(".bar-date", "[name=date]"),
  l: () => toggle("foot", "left"),
  r: () => toggle("foot", "right"),
  0: () => toggle("score", "0"),
  1: () => toggle("score", "1"),
  2: () => toggle("score", "2"),
  o: (box) => box.closest("li").querySelector(".one-link").click(),
  u: () => {
    goOnAt = [cameFrom?.value];
    document.getElementById("undo").requestSubmit();
  },
  enter: saveByKey,
  escape: chooseNone,
};

document.addEventListener("keydown", (event) => {
  const box = event.target;
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (box.matches(".sort-photos input[name=photo]")) {
    cameFrom = box;
    if (event.key.startsWith("Arrow")) {
      event.preventDefault();
      const next = neighbour(box, event.key);
      if (!next) return;
      if (event.shiftKey) {
        box.checked = next.checked = true;
        update();
      }
      anchor = event.shiftKey ? next.value : anchor;
      next.focus();
      next.closest("li").scrollIntoView({ block: "nearest" });
    } else if (event.key === " " && event.shiftKey) {
      event.preventDefault();
      chooseRange(box);
    } else if (KEYS[event.key.toLowerCase()]) {
      event.preventDefault();
      KEYS[event.key.toLowerCase()](box);
      update();
    }
  } else if (event.key === "Enter" && box.closest(".bird-list")) {
    event.preventDefault();
    if (box.id === "bird-find") {
      const row = [...document.getElementById("bird-rows").children].find(
        (label) => !label.hidden && label.querySelector("input").value,
      );
      if (box.value && !row) return;
      if (box.value) row.querySelector("input").checked = true;
    }
    update();
    backToPhotos();
  } else if (event.key === "Enter" && box.name === "date") {
    event.preventDefault();
    backToPhotos();
  } else if (event.key === "Escape" && box.closest(".bar-bird, .bar-date")) {
    backToPhotos();
  }
});

// --- Answers

let alikeOpen = false; // going through look-alikes goes on after each of them

document.body.addEventListener("htmx:beforeSwap", (event) => {
  if (event.detail.xhr.status === 422) {
    event.detail.shouldSwap = true; // the same page, with what is wrong
    event.detail.isError = false;
    if (goOnAt) goOnAt = [cameFrom?.value];
  }
  // Photos were chosen while the list with the new ones was on its way: that can wait.
  if (event.detail.requestConfig.elt === bringBox && boxes().some((box) => box.checked)) event.detail.shouldSwap = false;
  alikeOpen = Boolean(document.querySelector(".alike")?.open);
});
document.body.addEventListener("htmx:afterSettle", () => {
  const alike = document.querySelector(".alike");
  if (alike) alike.open = alikeOpen;
  ready();
});
for (const failed of ["htmx:sendError", "htmx:responseError"]) {
  document.body.addEventListener(failed, (event) => {
    const trouble = form()?.querySelector(".bar-trouble");
    if (trouble) {
      trouble.textContent = "That did not get through. Nothing was changed; try again.";
      event.stopPropagation(); // and is not said at the top of the page as well
    }
    goOnAt = null;
  });
}
ready();
// Back from one photo: on at the place that one came from, once the browser has scrolled there,
// which takes the focus away.
if (window.location.hash.startsWith("#p-")) {
  window.addEventListener("load", () => {
    document.getElementById(window.location.hash.slice(1))?.querySelector("input").focus();
  });
}
