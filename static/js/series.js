// The photos of one foot: two laid over or beside each other at one scale, chosen in the film strip
// or on the curve, brought nearer by fingers, wheel or buttons, and played one after the other.
// Without script every choice is a link, and each photo stands at its own scale.
"use strict";

let section = document.getElementById("compare");
let compared = section?.querySelector(".compared");
const strip = document.querySelector(".strip");
const chart = document.querySelector(".chart");
const NEAREST = 12;
// x, y: shift in shares of the pane's sides; turn: of the second photo, in quarters
const look = { zoom: 1, x: 0, y: 0, turn: 0 };

// --- Where a photo lies

// As `object-fit: cover` puts a photo into its frame.
function covering({ width, height }, wide, high) {
  const fit = Math.max(wide / width, high / height);
  return new DOMMatrix().translate((wide - width * fit) / 2, (high - height * fit) / 2).scale(fit);
}

const stretch = ({ a, b, c, d }) => Math.sqrt(Math.abs(a * d - b * c));
// Shifts in shares of the frame, so that it lies as well in a frame of another size, as on paper.
const written = ({ a, b, c, d, e, f }, wide, high) =>
  `translate(${(100 * e / wide).toFixed(4)}%,${(100 * f / high).toFixed(4)}%) ` +
  `matrix(${[a, b, c, d].map((v) => v.toFixed(5)).join(",")},0,0)`;

// From pixels of a photo to those of its frame.
function placed(element, wide, high, span) {
  if (!element.dataset.toMm || !span) {
    const other = lined && element.dataset.of === "b" && compared.querySelector(".laid[data-of=a]");
    return other ? covering(other.dataset, wide, high).multiply(lined) : covering(element.dataset, wide, high);
  }
  const toMm = new DOMMatrix(element.dataset.toMm.split(" ").map(Number));
  return new DOMMatrix().translate(wide / 2, high / 2).scale(Math.min(wide, high) / span).multiply(toMm);
}

function nearness(of, wide, high) {
  const near = new DOMMatrix().translate(look.x * wide, look.y * high).scale(look.zoom);
  if (of === "b") near.translateSelf(wide / 2, high / 2).rotateSelf(90 * look.turn).translateSelf(-wide / 2, -high / 2);
  return near;
}

function show() {
  for (const element of compared.querySelectorAll(".laid")) {
    const { clientWidth: wide, clientHeight: high } = element.closest(".pane");
    const matrix = nearness(element.dataset.of, wide, high)
      .multiply(placed(element, wide, high, Number(compared.dataset.span)));
    element.style.transform = written(matrix.multiply(covering(element.dataset, wide, high).inverse()), wide, high);
    const factor = stretch(matrix);
    const drawn = factor / stretch(covering(element.dataset, wide, high));
    for (const line of element.querySelectorAll(".outline")) {
      line.style.strokeWidth = `${2.5 / drawn}px`;
      if (line.matches(".outline-a") && !compared.matches(".view-one")) line.style.strokeDasharray = `${7 / drawn} ${5 / drawn}`;
    }
    // The browser takes a larger file when this one gets too coarse.
    const picture = element.querySelector("img");
    if (picture) picture.sizes = `${Math.ceil(factor * element.dataset.width)}px`;
  }
  for (const pane of compared.querySelectorAll(".pane")) pane.classList.toggle("near", look.zoom > 1);
}

function bring(factor, x = 0.5, y = 0.5) {
  const zoom = Math.min(NEAREST, Math.max(compared.dataset.span ? 0.4 : 1, look.zoom * factor));
  const change = zoom / look.zoom;
  look.x = x - (x - look.x) * change;
  look.y = y - (y - look.y) * change;
  look.zoom = zoom;
  if (zoom <= 1) [look.x, look.y] = [(1 - zoom) / 2, (1 - zoom) / 2];
  show();
}

function move(dx, dy) {
  look.x += dx;
  look.y += dy;
  show();
}

// One finger moves what is near, two bring it nearer.
function fingers(pane) {
  const down = new Map();
  const place = (event) => {
    const box = pane.getBoundingClientRect();
    return { x: (event.clientX - box.left) / box.width, y: (event.clientY - box.top) / box.height };
  };
  const apart = ([p, q]) => Math.hypot(p.x - q.x, p.y - q.y);
  let start = null;
  pane.addEventListener("pointerdown", (event) => {
    if (event.button || event.target.closest(".divider")) return;
    start = down.size ? null : event;
    down.set(event.pointerId, place(event));
    pane.setPointerCapture(event.pointerId);
  });
  pane.addEventListener("pointermove", (event) => {
    if (!down.has(event.pointerId)) return;
    const before = [...down.values()];
    const old = down.get(event.pointerId), now = place(event);
    down.set(event.pointerId, now);
    if (down.size === 1) {
      if (look.zoom > 1) move(now.x - old.x, now.y - old.y);
      return;
    }
    const after = [...down.values()];
    const [p, q] = after;
    bring(apart(after) / Math.max(apart(before), 0.01), (p.x + q.x) / 2, (p.y + q.y) / 2);
  });
  pane.addEventListener("pointerup", (event) => {
    if (!down.delete(event.pointerId) || !start) return;
    const dx = event.clientX - start.clientX, dy = event.clientY - start.clientY;
    start = null;
    if (lining) {
      if (Math.hypot(dx, dy) < 10) tapPlace(pane, event);
    } else if (look.zoom <= 1 && Math.abs(dx) > 50 && Math.abs(dx) > 1.5 * Math.abs(dy)) step(dx < 0 ? 1 : -1);
  });
  pane.addEventListener("pointercancel", (event) => {
    down.delete(event.pointerId);
    start = null;
  });
  pane.addEventListener("wheel", (event) => {
    if (!event.ctrlKey) return; // a plain wheel scrolls the page; a touchpad's pinch comes with ctrl
    event.preventDefault();
    const { x, y } = place(event);
    bring(Math.exp(-event.deltaY / 200), x, y);
  }, { passive: false });
}

function slide(divider) {
  const pane = divider.parentElement;
  const earlier = divider.getAttribute("aria-valuetext").replace(/^\d+% /, "");
  const to = (share) => {
    const cut = Math.round(Math.min(100, Math.max(0, share)));
    pane.style.setProperty("--cut", `${cut}%`);
    divider.setAttribute("aria-valuenow", cut);
    divider.setAttribute("aria-valuetext", `${cut}% ${earlier}`);
  };
  const now = () => Number(divider.getAttribute("aria-valuenow"));
  divider.hidden = false;
  divider.addEventListener("pointerdown", (event) => {
    divider.setPointerCapture(event.pointerId);
    divider.focus({ preventScroll: true, focusVisible: false });
    event.preventDefault();
  });
  divider.addEventListener("pointermove", (event) => {
    if (!divider.hasPointerCapture(event.pointerId)) return;
    const box = pane.getBoundingClientRect();
    to((100 * (event.clientX - box.left)) / box.width);
  });
  divider.addEventListener("keydown", (event) => {
    const step = event.shiftKey ? 10 : 2;
    const asked = {
      ArrowLeft: () => now() - step, ArrowDown: () => now() - step,
      ArrowRight: () => now() + step, ArrowUp: () => now() + step,
      PageDown: () => now() - 10, PageUp: () => now() + 10, Home: () => 0, End: () => 100,
    }[event.key];
    if (!asked) return;
    event.preventDefault();
    to(asked());
  });
}

// --- Two photos without a scale, laid over each other by two places in both

let lining = null; // the places tapped so far: [in A, in B]
let lined = null; // from pixels of B to those of A

const LINING = [
  "Photo A: tap two places that you will find again in B, such as the tips of two toes.",
  "Photo A: tap the second place.",
  "Photo B: tap the first place again.",
  "Photo B: tap the second place.",
];

function lineUp(on) {
  lining = on ? [] : null;
  if (on) lined = null;
  const note = section.querySelector(".lining");
  note.hidden = !on;
  for (const pin of compared.querySelectorAll(".pin")) pin.remove();
  for (const layer of compared.querySelectorAll(".layer-a, .layer-b, .divider")) layer.style.visibility = "";
  if (on) showLining(note);
  compared.classList.toggle("lining-up", on);
  show();
}

function showLining(note) {
  note.textContent = LINING[lining.length];
  const inFirst = lining.length < 2;
  compared.querySelector(".layer-a").style.visibility = inFirst ? "" : "hidden";
  compared.querySelector(".layer-b").style.visibility = inFirst ? "hidden" : "visible";
}

function tapPlace(pane, event) {
  const { clientWidth: wide, clientHeight: high } = pane, box = pane.getBoundingClientRect();
  const of = lining.length < 2 ? "a" : "b";
  const element = compared.querySelector(`.laid[data-of=${of}]`);
  const matrix = nearness(of, wide, high).multiply(placed(element, wide, high, 0));
  const at = { x: event.clientX - box.left, y: event.clientY - box.top };
  lining.push(new DOMPoint(at.x, at.y).matrixTransform(matrix.inverse()));
  const pin = Object.assign(document.createElement("span"), { className: "pin", textContent: 2 - (lining.length % 2) });
  Object.assign(pin.style, { left: `${at.x}px`, top: `${at.y}px` });
  if (lining.length === 3) for (const old of pane.querySelectorAll(".pin")) old.remove();
  pane.append(pin);
  if (lining.length < 4) return showLining(section.querySelector(".lining"));
  const [p, q, r, s] = lining;
  lineUp(false);
  lined = similarity(p, q, r, s);
  show();
}

// Shift, turn and scale that bring r to p and s to q; none where r and s are one place.
function similarity(p, q, r, s) {
  const [x, y, u, v] = [q.x - p.x, q.y - p.y, s.x - r.x, s.y - r.y], length = u * u + v * v;
  if (length < 1) return null;
  const a = (x * u + y * v) / length, b = (y * u - x * v) / length;
  return new DOMMatrix([a, b, -b, a, p.x - a * r.x + b * r.y, p.y - b * r.x - a * r.y]);
}

// --- Choosing: two taps in the strip, one on the curve, or a step

let first = null; // tapped, and waiting for the second
let asked = 0;

const links = strip ? [...strip.querySelectorAll("a[data-key]")] : [];
const linkOf = (key) => links.find((link) => link.dataset.key === key);
const chosenNow = () => section.dataset.now;

function letterOn(link, letter) {
  link.querySelector(".letter")?.remove();
  if (letter === null) return link.removeAttribute("aria-current");
  link.setAttribute("aria-current", "true");
  if (!letter) return;
  const sign = Object.assign(document.createElement("b"), { className: `letter letter-${letter}`, textContent: letter });
  link.querySelector(".frame").append(sign);
}

function markChosen() {
  const { view, now, partner } = section.dataset;
  const shown = view === "one" ? [now] : links.map((link) => link.dataset.key).filter((key) => key === now || key === partner);
  for (const link of links) {
    const place = shown.indexOf(link.dataset.key);
    letterOn(link, place < 0 ? null : view === "one" ? "" : "AB"[place]);
  }
  say(view === "one" ? "Tap a photo to see it." : "Tap two photos to compare them.");
  markOnCurve(now);
  inSight(now);
}

const say = (words) => (document.querySelector(".choosing").textContent = words);

function inSight(key) {
  const link = linkOf(key);
  if (!link) return;
  const { left, right } = link.getBoundingClientRect(), frame = strip.getBoundingClientRect();
  if (left < frame.left || right > frame.right) strip.scrollLeft += left - frame.left - (frame.width - 128) / 2;
}

function markOnCurve(key) {
  const circle = chart?.querySelector(`a[data-key="${key}"] circle`), line = chart?.querySelector(".now");
  if (!line) return;
  if (!circle) return line.setAttribute("visibility", "hidden");
  line.removeAttribute("visibility");
  for (const end of ["x1", "x2"]) line.setAttribute(end, circle.getAttribute("cx"));
}

// Ask for the pair and put it where the old one stands.
async function go({ a = section.dataset.partner, b = chosenNow(), view = section.dataset.view }) {
  const url = `?a=${a}&b=${b}&view=${view}`, mine = (asked += 1);
  stop();
  first = null;
  markOnCurve(b);
  const answer = await fetch(url, { headers: { Accept: "text/html" } }).catch(() => null);
  if (mine !== asked) return;
  if (!answer?.ok || answer.redirected) return location.assign(`${url}#compare`);
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (mine !== asked) return;
  const held = document.activeElement?.dataset?.view, zooming = section.querySelector(".zooming").open;
  section.replaceWith(document.adoptNode(page.getElementById("compare")));
  history.replaceState(history.state, "", url);
  begin();
  section.querySelector(".zooming").open = zooming;
  markChosen();
  if (held) section.querySelector(`.ways [data-view=${held}]`)?.focus({ preventScroll: true });
}

// One photo instead of the one chosen last; its partner stays.
function choose(key) {
  const { now, partner } = section.dataset;
  if (key === now) return;
  go(key === partner ? { a: now, b: key } : { b: key });
}

function step(by) {
  const keys = links.map((link) => link.dataset.key);
  let at = keys.indexOf(chosenNow()) + by;
  if (section.dataset.view !== "one" && keys[at] === section.dataset.partner) at += by;
  if (keys[at]) choose(keys[at]);
}

function tapInStrip(key) {
  if (section.dataset.view === "one") return choose(key);
  if (first === null) {
    first = key;
    for (const link of links) letterOn(link, link.dataset.key === key ? "A" : null);
    say(`A: ${linkOf(key).querySelector("time").textContent}. Now tap the photo to compare it with.`);
  } else if (first === key) {
    first = null;
    markChosen();
  } else go({ a: first, b: key });
}

function nearestOnCurve({ clientX }) {
  const far = (mark) => {
    const { left, right } = mark.querySelector("circle").getBoundingClientRect();
    return Math.abs((left + right) / 2 - clientX);
  };
  return [...chart.querySelectorAll("a[data-key]")].reduce((best, mark) => (far(mark) < far(best) ? mark : best)).dataset.key;
}

function scrub() {
  let held = null;
  // The strip has the same photos: the Tab key stops there, and not again here.
  for (const mark of chart.querySelectorAll("a[data-key]")) mark.setAttribute("tabindex", "-1");
  chart.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    held = nearestOnCurve(event);
    markOnCurve(held);
    chart.setPointerCapture(event.pointerId);
  });
  chart.addEventListener("pointermove", (event) => {
    if (!held) return;
    held = nearestOnCurve(event);
    markOnCurve(held);
    inSight(held);
  });
  chart.addEventListener("pointerup", () => {
    if (held) choose(held);
    held = null;
  });
  chart.addEventListener("pointercancel", () => {
    held = null;
    markOnCurve(chosenNow());
  });
  chart.addEventListener("click", (event) => {
    event.preventDefault();
    if (!event.detail) choose(event.target.closest("a")?.dataset.key ?? chosenNow()); // by keyboard
  });
}

// --- Play: one photo after the other, at one scale and in one place where they are measured

const still = matchMedia("(prefers-reduced-motion: reduce)");
let playing = 0, next = 0;

function frames() {
  const measured = links.filter((link) => link.querySelector("[data-to-mm]"));
  return measured.length > 1 ? measured : links;
}

async function play() {
  const run = (playing = next += 1), all = frames();
  document.querySelector("[data-play]").textContent = "Stop";
  const shape = compared.classList.contains("standing") && !strip.dataset.span ? "standing" : "lying";
  compared.className = `compared view-one lapse ${shape}`;
  const pane = Object.assign(document.createElement("div"), { className: "pane" });
  const caption = document.createElement("figcaption");
  const figure = document.createElement("figure");
  figure.append(pane, caption);
  compared.replaceChildren(figure);
  for (const link of all) {
    const file = link.querySelector("img").src.replace("/240.jpg", "/800.jpg");
    const picture = Object.assign(new Image(), { src: file, alt: "", draggable: false });
    await picture.decode().catch(() => {});
    if (playing !== run) return;
    const laid = Object.assign(document.createElement("div"), { className: "laid" });
    Object.assign(laid.dataset, link.querySelector(".laid").dataset);
    laid.append(picture);
    const layer = Object.assign(document.createElement("div"), { className: "layer" });
    layer.append(laid);
    // The new one lies below and shows as the old one goes.
    const old = pane.lastElementChild;
    pane.prepend(layer);
    lapse(laid, pane);
    if (old) {
      old.classList.add("leaving");
      setTimeout(() => old.remove(), still.matches ? 0 : 650);
    }
    const [when, ...rest] = [...link.querySelectorAll("time, time ~ span, i")].map((part) => part.textContent);
    const strong = Object.assign(document.createElement("strong"), { textContent: when });
    caption.replaceChildren(strong, document.createTextNode(rest.join(" · ")));
    for (const other of links) letterOn(other, other === link ? "" : null);
    markOnCurve(link.dataset.key);
    inSight(link.dataset.key);
    await new Promise((done) => setTimeout(done, still.matches ? 2000 : 1300));
    if (playing !== run) return;
  }
  go({ b: all[all.length - 1].dataset.key, view: "one" });
}

function lapse(laid, pane) {
  const { clientWidth: wide, clientHeight: high } = pane;
  const matrix = placed(laid, wide, high, Number(strip.dataset.span));
  laid.style.transform = written(matrix.multiply(covering(laid.dataset, wide, high).inverse()), wide, high);
}

function stop() {
  playing = 0;
  const button = document.querySelector("[data-play]");
  if (button) button.textContent = "Play";
}

// --- Beginning; again with every new pair

function begin() {
  section = document.getElementById("compare");
  compared = section.querySelector(".compared");
  Object.assign(look, { zoom: 1, x: 0, y: 0, turn: 0 });
  [lining, lined] = [null, null];
  compared.querySelectorAll(".pane").forEach(fingers);
  compared.querySelectorAll(".divider").forEach(slide);
  compared.querySelector(".fading input")?.addEventListener("input", ({ target }) => {
    compared.querySelector(".pane").style.setProperty("--share", target.value / 100);
  });
  section.querySelector("[data-turn]")?.addEventListener("click", () => {
    look.turn = (look.turn + 1) % 4;
    show();
  });
  section.querySelector("[data-line-up]")?.addEventListener("click", () => lineUp(!lining));
  for (const button of section.querySelectorAll("[data-zoom]")) {
    button.addEventListener("click", () => {
      const factor = Number(button.dataset.zoom);
      if (!factor) Object.assign(look, { zoom: 1, x: 0, y: 0 });
      bring(factor || 1);
    });
  }
  for (const way of section.querySelectorAll(".ways a")) {
    way.addEventListener("click", (event) => {
      event.preventDefault();
      go({ view: way.dataset.view });
    });
  }
  new ResizeObserver(() => compared.classList.contains("lapse") || show()).observe(compared);
  show();
}

if (section) begin();
if (strip) {
  for (const laid of strip.querySelectorAll(".laid")) {
    const picture = laid.querySelector("img");
    for (const side of ["width", "height"]) laid.dataset[side] = picture.getAttribute(side);
    const { clientWidth: wide, clientHeight: high } = laid.parentElement;
    const matrix = placed(laid, wide, high, Number(strip.dataset.span));
    laid.style.transform = written(matrix.multiply(covering(laid.dataset, wide, high).inverse()), wide, high);
    if (stretch(matrix) * laid.dataset.width * devicePixelRatio > 300) picture.src = picture.src.replace("/240.jpg", "/800.jpg");
  }
  for (const button of document.querySelectorAll("[data-step]")) {
    button.addEventListener("click", () => step(Number(button.dataset.step)));
  }
  document.querySelector("[data-play]").addEventListener("click", () => {
    if (!playing) return play();
    stop();
    go({});
  });
  strip.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-key]");
    if (!link || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    tapInStrip(link.dataset.key);
  });
  document.addEventListener("keydown", (event) => {
    const by = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!by || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
    if (event.defaultPrevented || event.target.closest("input, select, textarea, [role=slider], dialog, .scroll")) return;
    event.preventDefault();
    step(by);
  });
  if (chart) scrub();
  inSight(chosenNow());
}
