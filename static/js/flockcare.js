// Small helps that a page works without.
"use strict";

document.addEventListener("submit", (event) => {
  const asked = event.submitter?.dataset.confirm;
  if (asked && !window.confirm(asked)) event.preventDefault();
});

// A form that was saved keeps its record's key when the browser comes back to it, though the page
// is asked for anew and what was typed is shown in it: saved again, it is stored once.
const RECORD_KEYS = ["check_id", "step_id", "weighing_id", "give_id"].map((name) => `input[name=${name}]`).join();
document.addEventListener("submit", ({ target }) => {
  const key = target.querySelector(RECORD_KEYS);
  if (key) history.replaceState({ [key.name]: key.value }, "");
});
for (const key of document.querySelectorAll(RECORD_KEYS)) key.value = history.state?.[key.name] ?? key.value;

// A search box narrows the list that is already on the page.
for (const box of document.querySelectorAll("[data-narrows]")) {
  box.closest("[hidden]").hidden = false;
  const rows = document.getElementById(box.dataset.narrows).children;
  box.addEventListener("input", () => {
    const wanted = box.value.trim().toLowerCase();
    for (const row of rows) row.hidden = !row.textContent.toLowerCase().includes(wanted);
  });
}

// Only where the browser can print, which some apps around a browser cannot.
for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = !window.print;
  button.addEventListener("click", () => window.print());
}

// A photo that was just chosen is sent without another tap.
for (const form of document.querySelectorAll("form[data-at-once]")) {
  const button = form.querySelector("button");
  button.hidden = true;
  form.addEventListener("change", () => {
    button.hidden = false;
    button.textContent = "Sending the photo …";
    form.requestSubmit();
    button.disabled = true;
  });
}

// What has been saved needs its draft no longer (draft.js): the answer names it (core/drafts.py).
const savedDraft = document.cookie.match(/(?:^|; )flockcare_saved=([^;]+)/)?.[1];
if (savedDraft) {
  localStorage.removeItem(`draft:${decodeURIComponent(savedDraft)}`);
  document.cookie = "flockcare_saved=; Max-Age=0; Path=/";
}

// Only the birds whose row has what is typed are left in the list below.
document.addEventListener("input", ({ target }) => {
  if (target.id !== "bird-find") return;
  const wanted = target.value.trim().toLowerCase();
  for (const row of document.getElementById("bird-rows").children) {
    row.hidden = !row.textContent.toLowerCase().includes(wanted);
  }
});

// A tap that did not get through says so, instead of seeming to have worked.
for (const failure of ["htmx:sendError", "htmx:responseError"]) {
  document.addEventListener(failure, ({ detail }) => {
    if (detail.requestConfig.verb === "get") return;
    const said = document.createElement("p");
    said.className = "notice error";
    said.role = "alert";
    const full = detail.xhr.status === 507 && detail.xhr.responseText;
    said.textContent =
      failure === "htmx:sendError"
        ? "No signal: that did not get through."
        : full || "That wasn’t accepted. Reload the page and try again.";
    // What waits on the phone, as this tap does not: the page as the phone keeps it, else the form.
    const form = detail.elt.closest(".due-line")?.dataset.form;
    const keeps = navigator.serviceWorker?.controller;
    if (failure === "htmx:sendError" && (keeps || form)) {
      const link = document.createElement("a");
      link.href = keeps ? location.pathname : form;
      link.textContent = keeps ? "Go on without signal" : "Log it on the form: that waits on this phone";
      said.append(" ", link);
    }
    document.querySelectorAll("main > .notice.error[role=alert]").forEach((old) => old.remove());
    document.getElementById("main").prepend(said);
    said.scrollIntoView({ block: "nearest" });
  });
}

// What was just tapped stays where it is, as high as it was: while somebody taps down the list, no
// other card comes under the finger. Two minutes after the last tap the list renews itself again.
let tapped = 0, height = 0, taps = 0;
const asHighAs = (element, pixels) => (element.style.minHeight = `${pixels}px`);
document.addEventListener("htmx:beforeSwap", ({ detail }) => {
  const { target, requestConfig } = detail;
  // The list as it was before a tap came through says that it is still due.
  if (target.id === "care" && requestConfig.verb === "get" && requestConfig.taps !== taps) detail.shouldSwap = false;
  if (!target.matches(".due-line")) return;
  height = target.offsetHeight;
  const answer = document.querySelector(".answer-place");
  if (answer) asHighAs(answer, answer.offsetHeight);
});
document.addEventListener("htmx:afterSwap", () => {
  const saved = document.querySelectorAll("#care .due-line.saved");
  saved.forEach((line) => line.style.minHeight || asHighAs(line, height));
  tapped = saved.length && (tapped || Date.now());
});
document.addEventListener("htmx:beforeRequest", (event) => {
  const { target, detail } = event;
  if (detail.requestConfig.verb !== "get") {
    tapped = tapped && Date.now();
    taps += 1;
    return;
  }
  detail.requestConfig.taps = taps;
  if (target.id === "care" && Date.now() - tapped < 120_000) event.preventDefault();
});
document.addEventListener("htmx:afterRequest", ({ detail }) => {
  if (detail.requestConfig.verb !== "get") taps += 1;
});
