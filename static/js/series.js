// Two photos of one foot: laid over each other at one scale, with a divider, brought nearer by
// fingers, wheel or buttons. Without script they stand side by side, each at its own scale.
"use strict";

const compared = document.querySelector(".compared");
const NEAREST = 12;
// x, y: shift in shares of the pane's side; turn: of the second photo, in quarters
const look = { zoom: 1, x: 0, y: 0, turn: 0 };

// A photo fits into its pane as `object-fit: contain` puts it; this is how it is laid instead.
function laid(element, side) {
  const { width, height } = element.dataset;
  const fit = side / Math.max(width, height);
  const contained = new DOMMatrix()
    .translate((side - width * fit) / 2, (side - height * fit) / 2)
    .scale(fit);
  const near = new DOMMatrix().translate(look.x * side, look.y * side).scale(look.zoom);
  if (element.dataset.of === "b") {
    near.translateSelf(side / 2, side / 2).rotateSelf(90 * look.turn).translateSelf(-side / 2, -side / 2);
  }
  if (!element.dataset.toMm) return { matrix: near, fit: fit * look.zoom };
  const perMm = side / Number(compared.dataset.span);
  const toMm = new DOMMatrix(element.dataset.toMm.split(" ").map(Number));
  const aligned = new DOMMatrix().translate(side / 2, side / 2).scale(perMm).multiply(toMm);
  const scale = Math.sqrt(Math.abs(toMm.a * toMm.d - toMm.b * toMm.c)) * perMm;
  return { matrix: near.multiply(aligned).multiply(contained.inverse()), fit: scale * look.zoom };
}

function show() {
  for (const element of compared.querySelectorAll(".laid")) {
    const side = element.closest(".pane").clientWidth;
    const { matrix, fit } = laid(element, side);
    const { a, b, c, d, e, f } = matrix;
    element.style.transform = `matrix(${[a, b, c, d, e, f].map((v) => v.toFixed(5)).join(",")})`;
    const stretch = Math.sqrt(Math.abs(a * d - b * c));
    for (const line of element.querySelectorAll(".outline")) line.style.strokeWidth = `${2 / stretch}px`;
    // The browser takes a larger file when this one gets too coarse.
    const picture = element.querySelector("img");
    if (picture) picture.sizes = `${Math.ceil(fit * element.dataset.width)}px`;
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
  pane.addEventListener("pointerdown", (event) => {
    if (event.target.closest(".divider")) return;
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
  for (const end of ["pointerup", "pointercancel"]) {
    pane.addEventListener(end, (event) => down.delete(event.pointerId));
  }
  pane.addEventListener("wheel", (event) => {
    if (!event.ctrlKey) return; // a plain wheel scrolls the page; a touchpad's pinch comes with ctrl
    event.preventDefault();
    const { x, y } = place(event);
    bring(Math.exp(-event.deltaY / 200), x, y);
  }, { passive: false });
}

function slide(divider) {
  const pane = divider.parentElement;
  const earlier = divider.getAttribute("aria-valuetext").replace(/^\d+ % /, "");
  const to = (share) => {
    const cut = Math.round(Math.min(100, Math.max(0, share)));
    pane.style.setProperty("--cut", `${cut}%`);
    divider.setAttribute("aria-valuenow", cut);
    divider.setAttribute("aria-valuetext", `${cut} % ${earlier}`);
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

if (compared) {
  compared.querySelectorAll(".pane").forEach(fingers);
  compared.querySelectorAll(".divider").forEach(slide);
  for (const note of document.querySelectorAll(".zooming, .scaled-note")) note.hidden = false;
  document.querySelector("[data-turn]")?.addEventListener("click", () => {
    look.turn = (look.turn + 1) % 4;
    show();
  });
  for (const button of document.querySelectorAll("[data-zoom]")) {
    button.addEventListener("click", () => {
      const factor = Number(button.dataset.zoom);
      if (!factor) Object.assign(look, { zoom: 1, x: 0, y: 0 });
      bring(factor || 1);
    });
  }
  new ResizeObserver(show).observe(compared);
  show();
}
