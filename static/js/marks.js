// One stop of the Tab key leads into a drawing of many marks; arrows go from mark to mark, Escape
// goes out of it. Without script each mark is a link and a stop of its own.
"use strict";

// The rows of the drawing from the top, each with its links from left to right.
const rowsOf = (drawing) => {
  const rows = new Map();
  for (const link of drawing.querySelectorAll("a")) {
    const { left, right } = (link.querySelector("rect") ?? link).getBoundingClientRect();
    const row = rows.get(link.parentNode) ?? rows.set(link.parentNode, []).get(link.parentNode);
    row.push({ link, middle: (left + right) / 2 });
  }
  return [...rows.values()].map((row) => row.sort((one, other) => one.middle - other.middle));
};

const stopAt = (drawing, link) => {
  for (const one of drawing.querySelectorAll("a")) one.setAttribute("tabindex", one === link ? 0 : -1);
};

const begin = (drawing) => {
  const rows = rowsOf(drawing);
  if (!rows.length) return;
  // The newest mark of the first row of marks: what stands behind them all comes after.
  const first = rows.find(([{ link }]) => link.parentNode !== drawing) ?? rows[0];
  stopAt(drawing, first.at(-1).link);
  const how = drawing.parentNode.querySelector(".by-keys");
  how.hidden = false;
  drawing.setAttribute("aria-describedby", how.id);
};

const nearest = (row, middle) =>
  row?.reduce((best, one) => (Math.abs(one.middle - middle) < Math.abs(best.middle - middle) ? one : best));

const next = (drawing, link, key) => {
  const rows = rowsOf(drawing);
  const here = rows.findIndex((row) => row.some((one) => one.link === link));
  const row = rows[here];
  const place = row.findIndex((one) => one.link === link);
  const { middle } = row[place];
  switch (key) {
    case "ArrowLeft": return row[place - 1];
    case "ArrowRight": return row[place + 1];
    case "ArrowUp": return nearest(rows[here - 1], middle);
    case "ArrowDown": return nearest(rows[here + 1], middle);
    case "Home": return row[0];
    case "End": return row.at(-1);
  }
};

const KEYS = ["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "Home", "End"];

document.addEventListener("keydown", (event) => {
  const link = event.target.closest?.(".timeline a");
  if (!link || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
  const drawing = link.closest(".timeline");
  if (event.key === "Escape") {
    drawing.closest("section").querySelector("nav [aria-current]").focus();
  } else if (KEYS.includes(event.key)) {
    event.preventDefault();
    const to = next(drawing, link, event.key)?.link;
    if (!to) return;
    stopAt(drawing, to);
    to.focus();
    to.scrollIntoView({ block: "nearest", inline: "nearest" });
  }
});

// Whoever taps one and comes back goes on from there.
document.addEventListener("focusin", ({ target }) => {
  const link = target.closest?.(".timeline a");
  if (link) stopAt(link.closest(".timeline"), link);
});

const all = (under) => under.querySelectorAll(".timeline").forEach(begin);
all(document);
// Another time is asked for: the drawing is a new one.
document.addEventListener("htmx:load", ({ target }) => all(target));
