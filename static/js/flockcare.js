// Small helps that a page works without.
"use strict";

document.addEventListener("submit", (event) => {
  const asked = event.submitter?.dataset.confirm;
  if (asked && !window.confirm(asked)) event.preventDefault();
});

// A search box narrows the list that is already on the page.
for (const box of document.querySelectorAll("[data-narrows]")) {
  box.closest("[hidden]").hidden = false;
  const rows = document.getElementById(box.dataset.narrows).children;
  box.addEventListener("input", () => {
    const wanted = box.value.trim().toLowerCase();
    for (const row of rows) row.hidden = !row.textContent.toLowerCase().includes(wanted);
  });
}

// A check that has been saved needs its draft no longer.
for (const saved of document.querySelectorAll("[data-saved]")) {
  for (const key of Object.keys(localStorage)) {
    if (key.startsWith("draft:") && localStorage.getItem(key).includes(saved.dataset.saved)) {
      localStorage.removeItem(key);
    }
  }
}
