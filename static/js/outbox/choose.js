// Choosing a bird without signal, from the list on this phone.

import { againWithPatience, chooser } from "./blank.js";
import { changed } from "./page.js";
import { birdsOf } from "./store.js";
import { showWalk, skip } from "./walk.js";

const STAND_IN = document.body.dataset.flock;
const PLACES = {
  check: (flock, bird) => `/f/${flock}/birds/${bird}/check/`,
  step: (flock, bird) => `/f/${flock}/care/birds/${bird}/step/`,
  weighing: (flock, bird) => `/f/${flock}/birds/${bird}/weighings/`,
};
const place = document.getElementById("kept-birds");
const box = document.getElementById("narrow-kept");
const what = () => document.querySelector("[name=what]:checked").value;

// In place of any other page, such as Trends, nobody is in a round.
if (!/^\/f\/[^/]+\/(check|round)\//.test(location.pathname)) {
  document.querySelector("[data-walk]").remove();
  document.querySelector("h1").removeAttribute("data-walk-count");
}

let asked = 0;

async function show() {
  const mine = (asked += 1), list = await birdsOf(STAND_IN);
  if (!list) {
    place.textContent =
      "No birds on this phone yet. Sign in and open Today once where there is signal; then log checks here.";
    return;
  }
  // Where the address named no flock, it is the one used last.
  for (const link of document.querySelectorAll(`a[href*="${STAND_IN}"]`)) {
    link.setAttribute("href", link.getAttribute("href").replaceAll(STAND_IN, list.flock));
  }
  document.querySelector(".flock-name").textContent = list.name;
  const rows = await chooser(list, null, (bird) => PLACES[what()](list.flock, bird.id));
  if (mine !== asked || rows.isEqualNode(place.firstElementChild)) return;
  place.replaceChildren(rows);
  narrow();
}

function narrow() {
  const wanted = box.value.trim().toLowerCase();
  for (const row of place.querySelectorAll("li")) row.hidden = !row.textContent.toLowerCase().includes(wanted);
}

box.addEventListener("input", narrow);
document.querySelectorAll("[name=what]").forEach((radio) => radio.addEventListener("change", show));
document.getElementById("try-again").addEventListener("click", againWithPatience);
for (const news of ["change", "renewed"]) changed.addEventListener(news, show);

// Where "Skip" on a page of the server's round found no signal any more.
async function skipIfAsked() {
  const bird = location.pathname.match(/\/round\/pass\/([^/]+)\/$/)?.[1];
  const list = bird && (await birdsOf(STAND_IN));
  if (list) await skip(bird, list);
}

skipIfAsked().then(() => Promise.all([show(), showWalk()]));
