// "All" ticks the birds of its house, and says whether all of them are ticked. Without script the
// server takes the one tick for all.
"use strict";

for (const all of document.querySelectorAll(".all input")) {
  const group = all.closest("fieldset");
  const each = [...group.querySelectorAll("input")].filter((box) => box !== all);
  const tick = () => each.forEach((box) => (box.checked = all.checked));
  const follow = () => (all.checked = each.every((box) => box.checked));
  // A page that was left and come back to may have the one tick only.
  if (all.checked) tick();
  follow();
  group.addEventListener("change", (event) => (event.target === all ? tick() : follow()));
}
