// Shows what the sliders cut off while they are moved.
"use strict";

const form = document.querySelector(".crop-form");
const board = document.querySelector(".crop-board");
const sides = Object.fromEntries(
  ["left", "right", "top", "bottom"].map((name) => [name, form.elements[name]]),
);

function show() {
  const { width, height } = board.viewBox.baseVal;
  const share = (side) => Number(side.value) / 100;
  const left = share(sides.left) * width, top = share(sides.top) * height;
  const right = (1 - share(sides.right)) * width, bottom = (1 - share(sides.bottom)) * height;
  board.querySelector(".cut-off").setAttribute(
    "d", `M0 0H${width}V${height}H0ZM${left} ${top}H${right}V${bottom}H${left}Z`,
  );
  for (const side of Object.values(sides)) {
    form.querySelector(`output[for=${side.id}]`).textContent = `${side.value}%`;
  }
}

form.addEventListener("input", show);
show();
