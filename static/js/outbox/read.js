// Today, the birds and a bird without signal: as this phone has kept them, with what waits here.

import { againWithPatience, birdsOf } from "./blank.js";
import { readableEntries, saidIn, whenOf } from "./entries.js";
import { changed } from "./page.js";
import { pictureAt, whoIsHere } from "./store.js";

const STAND_IN = document.body.dataset.flock;
const place = document.getElementById("kept");
const asOf = document.getElementById("as-of");
const box = document.getElementById("narrow-kept");
const make = (tag, className, textContent) => Object.assign(document.createElement(tag), { className, textContent });

async function show() {
  const list = await birdsOf(STAND_IN);
  const bird = list?.birds.find((one) => one.id === place.dataset.bird);
  const html = place.dataset.kept === "bird" ? bird?.html : list?.[place.dataset.kept];
  if (!html) {
    place.replaceChildren(make("p", "notice warning",
      "Nothing to read on this phone yet. Sign in and open Today once where there is signal."));
    return;
  }
  // Where the address named no flock, it is the one used last.
  for (const link of document.querySelectorAll(`a[href*="${STAND_IN}"]`)) {
    link.setAttribute("href", link.getAttribute("href").replaceAll(STAND_IN, list.flock));
  }
  document.querySelector(".flock-name").textContent = list.name;
  if (bird) document.title = `${bird.name} · ${list.name}`;
  asOf.textContent = `As of ${moment(list)}, no signal.`;
  const kept = new DOMParser().parseFromString(html, "text/html").body;
  plainWhereNothingIsKept(kept, list.flock);
  await putPictures(kept);
  place.replaceChildren(...kept.childNodes);
  await sayWhatWaits();
  narrow();
}

// In the flock's time zone; with its day, if that is another one.
function moment({ fetched, zone }) {
  const said = (options) => new Intl.DateTimeFormat("en-GB", { timeZone: zone, ...options });
  const day = said({ weekday: "short", day: "numeric", month: "short" });
  const time = said({ hour: "2-digit", minute: "2-digit", hourCycle: "h23" }).format(fetched);
  return day.format(fetched) === day.format(Date.now()) ? time : `${day.format(fetched)}, ${time}`;
}

// A link to what cannot be opened without signal is only words.
function plainWhereNothingIsKept(kept, flock) {
  const key = "[0-9a-f-]{36}";
  const open = new RegExp(`^(tel:.*|/f/${flock}/(check/|birds/${key}/(check/|weighings/)?|care/birds/${key}/step/))$`);
  for (const link of kept.querySelectorAll("a[href]")) {
    if (!open.test(link.getAttribute("href"))) link.replaceWith(...link.childNodes);
  }
}

async function putPictures(kept) {
  for (const image of kept.querySelectorAll("img")) {
    const found = await pictureAt(image.getAttribute("src"));
    if (found) image.src = URL.createObjectURL(found.picture);
    else (image.closest("figure") ?? image).remove();
  }
  for (const part of kept.querySelectorAll("section:has(.last-photos:empty)")) part.remove();
}

// All is read before anything is shown: two at once would otherwise each add their own.
async function sayWhatWaits() {
  const keeper = (await whoIsHere())?.keeper;
  const entries = await readableEntries();
  place.querySelectorAll(".waits-here").forEach((old) => old.remove());
  for (const entry of entries) {
    if (entry.keeper !== keeper) continue;
    const words = `Waits on this phone: ${saidIn(entry)} (${whenOf(entry)})`;
    if (place.dataset.kept !== "bird") {
      const name = place.querySelector(`a[href*="/${entry.bird}/"]`);
      name?.closest("li").append(make("p", "waits-here", words));
    } else if (entry.bird === place.dataset.bird) {
      place.querySelector(".bird-head")?.after(make("p", "notice waits-here", words));
    }
  }
}

function narrow() {
  const wanted = box?.value.trim().toLowerCase() ?? "";
  for (const row of box ? place.querySelectorAll("li") : []) row.hidden = !row.textContent.toLowerCase().includes(wanted);
}

box?.addEventListener("input", narrow);
changed.addEventListener("change", sayWhatWaits);
document.getElementById("try-again").addEventListener("click", againWithPatience);
show();
