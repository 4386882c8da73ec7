// Things in the drawing of a house are dragged, by finger, mouse or arrow keys: what comes of it is
// written into the fields of the same thing, and the form asks for the drawing anew. Without script
// the fields are typed.
"use strict";

const THRESHOLD = 4; // Pixels before a tap becomes a drag.
let dragged = null;

// "18 1/2" and "18,5" as numbers; NaN for what is neither.
function lengthIn(text) {
  const parts = text.trim().replace("−", "-").replace(",", ".")
    .match(/^(-?\d*\.?\d+)?(?:\s*(\d+)\/(\d+))?$/);
  if (!parts || !(parts[1] || parts[2])) return NaN;
  return Number(parts[1] ?? 0) + (parts[2] ? parts[2] / parts[3] : 0);
}

const thingAt = (target) => target.closest?.(".draggable a.thing");

function fieldsOf(name) {
  const row = document.querySelector(`fieldset[data-thing="${CSS.escape(name)}"]`);
  const height = row?.querySelector("[data-moves=h]"), along = row?.querySelector("[data-moves=a]");
  return height && along ? { height, along } : null;
}

// Writes what lies so many centimetres from `from`, in steps of the field, never below `least`.
function write(field, from, centimetres, least) {
  const step = Number(field.dataset.step);
  const value = Math.round((from + centimetres / Number(field.dataset.per)) / step) * step;
  field.value = String(Math.max(value, least));
  return field.value;
}

function say(name, { height, along }) {
  const status = document.querySelector("[data-dragged]");
  if (status) status.textContent = `${name}: ${height.value} high, ${along.value} from the left wall`;
}

const tell = ({ height }) => height.dispatchEvent(new Event("input", { bubbles: true }));

document.addEventListener("dragstart", (event) => thingAt(event.target) && event.preventDefault());

document.addEventListener("pointerdown", (event) => {
  const thing = thingAt(event.target), fields = thing && fieldsOf(thing.dataset.thing);
  if (!fields || event.button !== 0) return;
  const matrix = thing.ownerSVGElement.getScreenCTM();
  dragged = {
    thing, fields, x: event.clientX, y: event.clientY, moved: false, unit: matrix.a,
    perCm: matrix.a * Number(thing.ownerSVGElement.dataset.scale),
    height: lengthIn(fields.height.value) || 0, along: lengthIn(fields.along.value) || 0,
  };
  thing.setPointerCapture(event.pointerId);
});

document.addEventListener("pointermove", (event) => {
  if (!dragged) return;
  const { thing, fields, unit, perCm } = dragged;
  const dx = event.clientX - dragged.x, dy = event.clientY - dragged.y;
  if (!dragged.moved && Math.hypot(dx, dy) < THRESHOLD) return;
  dragged.moved = true;
  write(fields.along, dragged.along, dx / perCm, -Infinity);
  write(fields.height, dragged.height, -dy / perCm, Number(fields.height.dataset.step));
  thing.setAttribute("transform", `translate(${dx / unit} ${dy / unit})`);
  say(thing.dataset.thing, fields);
});

function drop(event) {
  if (!dragged) return;
  const { thing, fields, moved, height, along } = dragged;
  dragged = null;
  if (!moved) return;
  if (event.type === "pointercancel") {
    fields.height.value = height;
    fields.along.value = along;
    thing.removeAttribute("transform");
    return;
  }
  // The tap that ends a drag leads nowhere.
  thing.addEventListener("click", (click) => click.preventDefault(), { once: true });
  tell(fields);
}
document.addEventListener("pointerup", drop);
document.addEventListener("pointercancel", drop);

const ARROWS = { ArrowUp: [0, 1], ArrowDown: [0, -1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] };
document.addEventListener("keydown", (event) => {
  const thing = thingAt(event.target), arrow = ARROWS[event.key];
  const fields = thing && arrow && fieldsOf(thing.dataset.thing);
  if (!fields) return;
  event.preventDefault();
  const steps = event.shiftKey ? 10 : 1;
  for (const [field, way, least] of [
    [fields.along, arrow[0], -Infinity], [fields.height, arrow[1], Number(fields.height.dataset.step)],
  ]) {
    if (!way) continue;
    const by = way * steps * Number(field.dataset.step) * Number(field.dataset.per);
    write(field, lengthIn(field.value) || 0, by, least);
  }
  say(thing.dataset.thing, fields);
  tell(fields);
});

// Who moves a thing by keys still holds it in the new drawing.
let held = null;
document.addEventListener("htmx:beforeSwap", () => {
  held = document.activeElement?.dataset?.thing ?? null;
});
document.addEventListener("htmx:afterSwap", () => {
  if (!held) return;
  const again = [...document.querySelectorAll(`.draggable a.thing[data-thing="${CSS.escape(held)}"]`)];
  again.find((thing) => thing.getBoundingClientRect().width)?.focus();
});
