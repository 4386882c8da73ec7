// The slider of days says where it stands while it moves, and goes along when a link chooses the
// day. Without script it is sent with its button.
"use strict";

const slider = document.getElementById("step");

if (slider) {
  const { options } = document.getElementById("stops");
  const say = () => {
    const { label } = options[slider.value];
    slider.setAttribute("aria-valuetext", label);
    const newest = slider.value === slider.max;
    document.getElementById("step-says").textContent = newest ? "As it is today" : `As it was on ${label}`;
  };
  slider.setAttribute("aria-valuetext", options[slider.value].label);
  slider.addEventListener("input", say);
  document.addEventListener("htmx:afterSwap", ({ detail }) => {
    // An answer to the slider itself may come while the finger is already farther.
    if (detail.requestConfig.elt.closest(".day-slider")) return;
    slider.value = document.getElementById("on-the-day").dataset.step;
    say();
  });
}
