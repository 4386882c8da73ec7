// Drawing the outline of a sore over its photo. Points are kept in pixels of the original; the
// group `.marks` turns them into what is shown, so that turned and cropped photos need no thought.
"use strict";

const form = document.querySelector(".measure-form");
const board = form.querySelector(".board");
const marks = board.querySelector(".marks");
const edge = marks.querySelector(".edge");
const result = form.querySelector(".result");
const shown = { width: board.viewBox.baseVal.width, height: board.viewBox.baseVal.height };
const button = (does) => form.querySelector(`[data-does=${does}]`);
const HINTS = {
  suggest: "Tap in the middle of the sore. Then drag the points that are off.",
  draw: "Draw round the sore, or over the part of the edge that is off.",
  length: "Tap one end of the known length, then the other.",
};

let outline = JSON.parse(form.elements.outline.value || "[]");
let ends = JSON.parse(form.elements.ends.value || "[]");
let cross = null; // where to suggest from
let chosen = 0; // the point that the keyboard and the buttons mean
let coarsest = 0; // pixels of the original under one pixel of the screen when an end was placed
const past = [];

// --- Places

// Pixels of the screen for one of the original.
function scale() {
  const { a, b, c, d } = marks.getScreenCTM();
  return Math.sqrt(Math.abs(a * d - b * c));
}

function placeOf(event) {
  const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(marks.getScreenCTM().inverse());
  return [x, y];
}

const apart = ([x, y], [u, v]) => Math.hypot(x - u, y - v);

function middleOfView() {
  const box = board.getBoundingClientRect();
  return placeOf({ clientX: box.left + box.width / 2, clientY: box.top + box.height / 2 });
}

function nearest(points, place, reach) {
  let best = -1;
  for (const [number, point] of points.entries()) {
    const far = apart(point, place);
    if (far <= reach && (best < 0 || far < apart(points[best], place))) best = number;
  }
  return best;
}

// --- The handful of points that can be taken hold of

const HANDFUL = 8;
// From one of them to the next; of few points each is one.
const stride = () => (outline.length > 24 ? Math.ceil(outline.length / HANDFUL) : 1);
const offered = () => [...outline.keys()].filter((number) => number === chosen || number % stride() === 0);
const between = (one, other) => Math.min(Math.abs(one - other), outline.length - Math.abs(one - other));

function offeredAt(place) {
  const those = offered(), at = nearest(those.map((number) => outline[number]), place, 20 / scale());
  return at < 0 ? -1 : those[at];
}

// The edge with one of them moved: what lies between it and the next ones comes along, less the
// farther it is, so that the edge stays as smooth as it was.
function movedAt(number, points, [dx, dy]) {
  return points.map(([x, y], at) => {
    const far = between(at, number) / stride();
    const share = far < 1 ? (1 + Math.cos(Math.PI * far)) / 2 : 0;
    return [x + share * dx, y + share * dy];
  });
}

// --- Drawing the marks

function svg(name, attributes, parent) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  parent.append(element);
  return element;
}

// Marks that take the focus are kept and moved, never made anew while they have it.
const handles = new Map();

function handle(key, place, kind, label, focusable) {
  let group = handles.get(key);
  if (!group) {
    group = svg("g", { role: "button", class: kind, "data-key": key }, marks);
    svg(kind === "cross" ? "path" : "circle", { class: "dot" }, group);
    handles.set(key, group);
  }
  const one = 1 / scale();
  group.setAttribute("transform", `translate(${place[0]} ${place[1]})`);
  group.setAttribute("aria-label", label);
  group.setAttribute("tabindex", focusable ? 0 : -1);
  const dot = group.firstChild;
  if (kind === "cross") {
    const [far, near] = [14 * one, 4 * one];
    dot.setAttribute("d", `M${-far} 0H${-near}M${near} 0H${far}M0 ${-far}V${-near}M0 ${near}V${far}`);
  } else dot.setAttribute("r", (kind === "end" ? 8 : 6) * one);
  return group;
}

function show() {
  edge.setAttribute("points", outline.map((point) => point.join()).join(" "));
  const wanted = new Set();
  const draw = (key, ...rest) => {
    wanted.add(key);
    return handle(key, ...rest);
  };
  if (tool() === "suggest" || cross) {
    draw("cross", cross ?? middleOfView(), "cross", "Place to suggest the edge from", true);
  }
  chosen = Math.min(chosen, Math.max(outline.length - 1, 0));
  for (const [place, number] of offered().entries()) {
    const label = `Point ${place + 1} of ${offered().length}`;
    const dot = draw(`p${number}`, outline[number], "point", label, number === chosen);
    dot.setAttribute("aria-pressed", number === chosen);
  }
  if (byLength()) {
    for (const [number, end] of ends.entries()) {
      draw(`e${number}`, end, "end", `End ${number + 1} of the known length`, true);
    }
  }
  for (const [key, group] of handles) {
    if (wanted.has(key)) continue;
    group.remove();
    handles.delete(key);
  }
  marks.querySelector(".ruler")?.remove();
  if (byLength() && ends.length === 2) {
    const [[x1, y1], [x2, y2]] = ends;
    edge.after(svg("line", { class: "ruler", x1, y1, x2, y2 }, marks));
  }
  button("undo").disabled = !past.length;
  button("remove").disabled = outline.length <= 3;
  form.elements.outline.value = outline.length ? JSON.stringify(outline.map(rounded)) : "";
  form.elements.ends.value = ends.length === 2 ? JSON.stringify(ends.map(rounded)) : "";
}

const rounded = (point) => point.map((value) => Math.round(value * 10) / 10);

// --- What the keeper does

// Also before each change by hand, after which the edge is the keeper's own.
function remember(before = JSON.stringify([outline, ends])) {
  ownHand();
  form.elements.spread.value = "";
  doubt("");
  past.push(before);
  if (past.length > 200) past.shift();
}

function undo() {
  if (!past.length) return;
  [outline, ends] = JSON.parse(past.pop());
  changed();
}

function insertAt(place) {
  // Where it lengthens the outline least.
  let best = outline.length, least = Infinity;
  for (let at = 1; outline.length > 2 && at <= outline.length; at += 1) {
    const before = outline[at - 1], after = outline[at % outline.length];
    const longer = apart(before, place) + apart(place, after) - apart(before, after);
    if (longer <= least) [best, least] = [at, longer];
  }
  outline.splice(best, 0, place);
  chosen = best;
}

// With its share of the points between: the edge then goes straight on.
function remove() {
  const share = Math.floor(stride() / 2);
  const left = outline.filter((_, number) => between(number, chosen) > share);
  if (left.length < 3) return;
  remember();
  outline = left;
  changed();
  focusChosen();
}

function insertAfter() {
  if (outline.length < 3) return circle();
  remember();
  const [x, y] = outline[chosen], [u, v] = outline[(chosen + 1) % outline.length];
  outline.splice(chosen + 1, 0, [(x + u) / 2, (y + v) / 2]);
  chosen += 1;
  changed();
  focusChosen();
}

function circle() {
  remember();
  const [x, y] = cross ?? middleOfView(), radius = 36 / scale();
  outline = Array.from({ length: 12 }, (_, hour) => [
    x + radius * Math.cos((hour * Math.PI) / 6), y + radius * Math.sin((hour * Math.PI) / 6),
  ]);
  chosen = 0;
  changed();
  focusChosen();
}

const focusChosen = () => handles.get(`p${chosen}`)?.focus({ preventScroll: true });

function placeEnd(place) {
  remember();
  coarsest = ends.length === 2 ? 1 / scale() : Math.max(coarsest, 1 / scale());
  ends = ends.length === 2 ? [place] : [...ends, place];
  form.elements.px_per_screen_px.value = coarsest;
  changed();
}

const tool = () => form.elements.tool.value;
const byLength = () => form.elements.scaled_by.value === "length";

// --- Fingers and mouse: one finger works, two bring the photo nearer

const down = new Map();
let held = null; // what the first finger does

function begin(event) {
  const place = placeOf(event), reach = 20 / scale();
  const end = byLength() ? nearest(ends, place, reach) : -1;
  if (end >= 0) return { kind: "end", number: end, from: place, before: JSON.stringify([outline, ends]) };
  const point = offeredAt(place);
  // Over the edge of a suggestion one draws; a tap chooses.
  const draws = tool() === "draw" && stride() > 1;
  if (point >= 0 && tool() !== "length" && !draws) {
    chosen = point;
    show();
    return { kind: "point", number: point, from: place, points: outline, before: JSON.stringify([outline, ends]) };
  }
  return { kind: "new", from: place, stroke: [place] };
}

function drag(event) {
  const place = placeOf(event);
  if (held.kind === "new") {
    const last = held.stroke[held.stroke.length - 1];
    if (tool() === "draw" && apart(last, place) > 5 / scale()) {
      held.stroke.push(place);
      held.line ??= svg("polyline", { class: "stroke" }, marks);
      held.line.setAttribute("points", held.stroke.map((point) => point.join()).join(" "));
    }
    return;
  }
  held.moved ||= apart(place, held.from) > 2 / scale(); // a finger is never quite still
  if (!held.moved) return;
  ownHand();
  const { kind, number, points } = held;
  if (kind === "end") ends[number] = place;
  else outline = movedAt(number, points, [place[0] - points[number][0], place[1] - points[number][1]]);
  show();
}

function finish() {
  const done = held;
  held = null;
  done.line?.remove();
  if (done.kind !== "new") {
    if (done.moved) {
      remember(done.before);
      changed();
    }
    return;
  }
  if (tool() === "suggest") return suggestFrom(done.from);
  if (tool() === "length") return placeEnd(done.from);
  const point = offeredAt(done.from);
  if (done.stroke.length === 1 && point >= 0) {
    chosen = point;
    return show();
  }
  remember();
  if (done.stroke.length > 5) [outline, chosen] = [redrawn(done.stroke), 0];
  else insertAt(done.from);
  changed();
}

const along = (line) => line.slice(1).reduce((sum, place, at) => sum + apart(line[at], place), 0);

// A stroke from the edge to the edge takes the place of the part that it lies closer to; a ring, or
// one drawn elsewhere, is a new edge.
function redrawn(stroke) {
  const line = thinned(stroke), [from, to] = [stroke[0], stroke.at(-1)], reach = 24 / scale();
  const [first, last] = [from, to].map((end) => nearest(outline, end, reach));
  const ring = apart(from, to) < reach && along(stroke) > along(outline) / 2;
  if (outline.length < 3 || first < 0 || last < 0 || ring) return line;
  const part = (one, other) => [...outline, ...outline].slice(one, (other < one ? other + outline.length : other) + 1);
  const off = (points) =>
    points.reduce((sum, point) => sum + Math.min(...line.map((place) => apart(place, point))), 0) / points.length;
  const [ahead, behind] = [part(first, last), part(last, first)];
  if (off(ahead) < off(behind)) return [...line, ...behind.slice(1, -1)];
  return [...ahead.slice(1, -1), ...line.reverse()];
}

// At most 90 points, evenly taken: more than a finger can draw.
function thinned(stroke) {
  const step = Math.max(1, Math.ceil(stroke.length / 90));
  return stroke.filter((_, number) => number % step === 0);
}

let space = false; // held down: a drag moves the photo, as with the middle button
let panned = null;

board.addEventListener("pointerdown", (event) => {
  if (event.button === 1 || (space && !event.button)) {
    event.preventDefault();
    panned = event;
    board.setPointerCapture(event.pointerId);
    return;
  }
  if (event.button) return;
  down.set(event.pointerId, event);
  board.setPointerCapture(event.pointerId);
  if (down.size === 1) held = begin(event);
  else if (held) {
    if (held.moved) [outline, ends] = JSON.parse(held.before);
    held.line?.remove();
    held = null;
    show();
  }
});
board.addEventListener("pointermove", (event) => {
  if (panned?.pointerId === event.pointerId) {
    pan(panned, event);
    panned = event;
    return;
  }
  if (!down.has(event.pointerId)) return;
  const before = [...down.values()];
  down.set(event.pointerId, event);
  if (down.size === 1 && held) drag(event);
  if (down.size === 2) pinch(before, [...down.values()]);
});
board.addEventListener("pointerup", (event) => {
  if (panned?.pointerId === event.pointerId) panned = null;
  else if (down.delete(event.pointerId) && held) finish();
});
board.addEventListener("pointercancel", (event) => {
  panned = null;
  down.delete(event.pointerId);
  held?.line?.remove();
  held = null;
});

// --- Nearer and farther: a smaller part of the photo in the same frame

function look(x, y, width) {
  const kept = Math.min(shown.width, Math.max(shown.width / 40, width));
  const height = (kept * shown.height) / shown.width;
  const left = Math.min(shown.width - kept, Math.max(0, x));
  const top = Math.min(shown.height - height, Math.max(0, y));
  board.setAttribute("viewBox", `${left} ${top} ${kept} ${height}`);
  show();
}

function nearer(factor, at) {
  const { x, y, width, height } = board.viewBox.baseVal;
  const px = at?.x ?? x + width / 2, py = at?.y ?? y + height / 2;
  const kept = Math.min(shown.width, Math.max(shown.width / 40, width / factor));
  look(px - ((px - x) * kept) / width, py - ((py - y) * kept) / width, kept);
}

function pinch(before, after) {
  const middle = ([p, q]) => ({ x: (p.clientX + q.clientX) / 2, y: (p.clientY + q.clientY) / 2 });
  const far = ([p, q]) => Math.max(8, Math.hypot(p.clientX - q.clientX, p.clientY - q.clientY));
  const inView = ({ x, y }) => new DOMPoint(x, y).matrixTransform(board.getScreenCTM().inverse());
  const from = inView(middle(before)), to = inView(middle(after));
  const { x, y, width } = board.viewBox.baseVal;
  look(x - (to.x - from.x), y - (to.y - from.y), width);
  nearer(far(after) / far(before), inView(middle(after)));
}

const inView = ({ clientX, clientY }) =>
  new DOMPoint(clientX, clientY).matrixTransform(board.getScreenCTM().inverse());

function pan(before, after) {
  const from = inView(before), to = inView(after), { x, y, width } = board.viewBox.baseVal;
  look(x - (to.x - from.x), y - (to.y - from.y), width);
}

board.addEventListener("wheel", (event) => {
  event.preventDefault();
  nearer(Math.exp(-event.deltaY / (event.ctrlKey ? 100 : 400)), inView(event));
}, { passive: false });

function lookAt(points, room = 2.2) {
  const matrix = marks.transform.baseVal.consolidate().matrix;
  const xs = [], ys = [];
  for (const [x, y] of points) {
    xs.push(matrix.a * x + matrix.c * y + matrix.e);
    ys.push(matrix.b * x + matrix.d * y + matrix.f);
  }
  const middle = [(Math.min(...xs) + Math.max(...xs)) / 2, (Math.min(...ys) + Math.max(...ys)) / 2];
  const across = Math.max(Math.max(...xs) - Math.min(...xs), ((Math.max(...ys) - Math.min(...ys)) * shown.width) / shown.height);
  const width = Math.min(shown.width, room * across);
  look(middle[0] - width / 2, middle[1] - (width * shown.height) / shown.width / 2, width);
}

// --- Keyboard

// The space bar is the board's while the pointer is over it, whatever was pressed last.
const forBoard = ({ key, target }) =>
  key === " " && board.matches(":hover") && !target.closest?.("input:not([type=radio]), select, textarea");

document.addEventListener("keydown", (event) => {
  if ((event.ctrlKey || event.metaKey) && !event.shiftKey && event.key.toLowerCase() === "z") {
    if (event.target.closest("input:not([type=radio]), textarea")) return;
    event.preventDefault();
    undo();
  } else if (forBoard(event)) {
    event.preventDefault();
    space = true;
    board.classList.add("panning");
  }
});
for (const [target, kind] of [[document, "keyup"], [window, "blur"]]) {
  target.addEventListener(kind, (event) => {
    if (kind === "keyup" && event.key !== " ") return;
    if (space) event.preventDefault();
    space = false;
    board.classList.remove("panning");
  });
}

board.addEventListener("keydown", (event) => {
  const key = event.target.closest?.("[data-key]")?.dataset.key;
  if (!key) return;
  const step = (event.shiftKey ? 20 : 2) / scale();
  const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  const does = {
    PageUp: () => choose(beside(1)), PageDown: () => choose(beside(-1)),
    Home: () => choose(0), End: () => choose(offered().at(-1)),
    Delete: remove, Backspace: remove,
    Enter: () => (key === "cross" ? suggestFrom(cross ?? middleOfView()) : key[0] === "p" && insertAfter()),
  }[event.key];
  if (!way && !does) return;
  event.preventDefault();
  if (way) shift(key, onOriginal(way, step));
  else if (key === "cross" ? event.key === "Enter" : key[0] === "p") does();
});

// A step as it is seen, in the original, which may lie turned.
function onOriginal([x, y], step) {
  const { a, b, c, d } = marks.transform.baseVal.consolidate().matrix;
  return [(a * x + b * y) * step, (c * x + d * y) * step];
}

function shift(key, [dx, dy]) {
  const move = ([x, y]) => [x + dx, y + dy];
  if (key === "cross") {
    cross = move(cross ?? middleOfView());
    show();
    return;
  }
  remember();
  const number = Number(key.slice(1));
  if (key[0] === "e") ends[number] = move(ends[number]);
  else outline = movedAt(number, outline, [dx, dy]);
  changed();
}

function beside(way) {
  const all = offered();
  return all.at((all.indexOf(chosen) + way) % all.length);
}

function choose(number) {
  chosen = number;
  show();
  focusChosen();
}

// --- The server

async function ask(task, more = {}) {
  const body = new FormData(form);
  for (const [key, value] of Object.entries({ do: task, ...more })) body.set(key, value);
  const answer = await fetch(form.action, {
    method: "POST", body, headers: { Accept: "application/json" }, redirect: "manual",
  });
  if (answer.status !== 200 && answer.status !== 422) throw new Error(`answer ${answer.status}`);
  return answer.json();
}

function doubt(words) {
  const line = form.querySelector(".edge-doubt");
  line.hidden = !words;
  line.textContent = words;
}

function say(answer) {
  const reason = answer.reason ?? answer.missing;
  result.classList.toggle("refused", Boolean(reason));
  if (!answer.area) {
    result.textContent = reason ?? "";
    return;
  }
  const area = Object.assign(document.createElement("strong"), { textContent: answer.area });
  result.replaceChildren(area, `Longest diameter ${answer.diameter}`);
}

const noAnswer = { reason: "No signal. What you drew is still here; try again." };
const LOOKING = "Looking for the edge …";
let waiting = 0, asked = 0;

// After every change; the answer to an older question is not shown.
function changed() {
  show();
  clearTimeout(waiting);
  if (outline.length < 3) return;
  waiting = setTimeout(async () => {
    const mine = (asked += 1);
    const answer = await ask("sizes").catch(() => noAnswer);
    if (mine === asked) say(answer);
  }, 300);
}

// What the keeper draws while an edge is being looked for stays.
function ownHand() {
  asked += 1;
  if (result.textContent === LOOKING) result.textContent = "";
}

async function suggestFrom(place) {
  cross = place;
  show();
  clearTimeout(waiting); // of the edge before
  const mine = (asked += 1);
  result.classList.remove("refused");
  result.textContent = LOOKING;
  const answer = await ask("suggest", { tap: JSON.stringify([place]) }).catch(() => noAnswer);
  if (mine !== asked) return;
  if (answer.outline) {
    remember();
    [outline, chosen] = [answer.outline, 0];
    form.elements.spread.value = answer.spread;
    doubt(answer.doubt);
    lookAt(outline);
  }
  say(answer);
}

// How much more of the photo than the card's window is shown at first.
const WINDOW_ROOM = 1.06;
const whole = () => board.viewBox.baseVal.width >= shown.width;

async function readCard() {
  const line = form.querySelector(".card-words");
  line.textContent = "Looking for the card …";
  const { card, window: corners, reason } = await ask("card").catch(() => noAnswer);
  const doubt = form.querySelector(".card-doubt");
  doubt.hidden = !card?.doubt;
  doubt.textContent = card?.doubt ?? "";
  if (!card || card.reason) line.textContent = `${card?.reason ?? reason} Without the card, use a known length.`;
  else line.textContent = card.words;
  if (corners?.length && !outline.length && whole()) lookAt(corners, WINDOW_ROOM);
  if (outline.length) changed();
}

// --- Beginning

function scaledBy() {
  for (const part of form.querySelectorAll(".by-length")) part.hidden = !byLength();
  form.querySelector(".by-card").hidden = byLength();
  const other = form.elements.known.value !== "other";
  form.elements.length_mm.closest(".field").hidden = other;
  if (byLength() && ends.length < 2) form.elements.tool.value = "length";
  if (!byLength() && tool() === "length") form.elements.tool.value = "suggest";
  form.querySelector(".hint").textContent = HINTS[tool()];
}

form.classList.remove("without-script");
for (const [does, act] of Object.entries({
  undo, remove, circle, insert: insertAfter,
  nearer: () => nearer(1.5), farther: () => nearer(1 / 1.5), whole: () => look(0, 0, shown.width),
})) button(does).addEventListener("click", act);
form.querySelector("[value=card][name=do]").addEventListener("click", (event) => {
  event.preventDefault();
  readCard();
});
form.addEventListener("change", () => {
  scaledBy();
  changed();
});
form.addEventListener("input", (event) => event.target.name === "length_mm" && changed());
new ResizeObserver(show).observe(board);
scaledBy();
show();
if (outline.length) lookAt(outline);
else if (form.dataset.window) lookAt(JSON.parse(form.dataset.window), WINDOW_ROOM);
if ("readCard" in form.dataset) readCard();
else if (outline.length) changed();
