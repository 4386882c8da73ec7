// Sliders beside the lengths of the scratch copy, and words for the slider of days. Without script
// the fields are typed and sent with their button.
"use strict";

// "18 1/2" and "18,5" as numbers; NaN for what is neither.
function read(text) {
  const parts = text.trim().replace(",", ".").match(/^(\d*\.?\d+)?(?:\s*(\d+)\/(\d+))?$/);
  if (!parts || !(parts[1] || parts[2])) return NaN;
  return Number(parts[1] ?? 0) + (parts[2] ? parts[2] / parts[3] : 0);
}

for (const field of document.querySelectorAll("input[data-slider]")) {
  const slider = Object.assign(document.createElement("input"), {
    type: "range", min: 0, max: field.dataset.slider, step: field.dataset.step,
  });
  const label = field.closest(".field").querySelector("label").textContent;
  const group = field.closest("fieldset").querySelector("legend").firstChild.textContent.trim();
  slider.setAttribute("aria-label", `${group}: ${label}, slider`);
  const follow = () => (slider.value = read(field.value) || 0);
  follow();
  field.addEventListener("input", follow);
  // The event goes on to the form, which asks for the drawing anew.
  slider.addEventListener("input", () => (field.value = slider.value === "0" ? "" : slider.value));
  field.after(slider);
}

for (const button of document.querySelectorAll(".without-script")) button.hidden = true;

for (const slider of document.querySelectorAll("input[data-says]")) {
  const options = document.getElementById(slider.dataset.says).options;
  const say = () => slider.setAttribute("aria-valuetext", options[slider.value].label);
  say();
  slider.addEventListener("input", say);
}
