// Beside an address that is shown only now: copy it, or hand it to another app.
// <input data-copy> in a .field; needs what browsers grant to secure pages only.
"use strict";

function button(words, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "plain";
  made.textContent = words;
  made.addEventListener("click", act);
  return made;
}

for (const field of document.querySelectorAll("input[data-copy]")) {
  const said = document.createElement("span");
  said.setAttribute("aria-live", "polite");
  const row = document.createElement("div");
  row.className = "buttons below";
  if (navigator.clipboard?.writeText) {
    row.append(
      button("Copy", async () => {
        said.textContent = "";
        try {
          await navigator.clipboard.writeText(field.value);
          said.textContent = "Copied";
        } catch {
          field.select();
          said.textContent = "Your browser did not allow it. The link is selected: copy it yourself.";
        }
      }),
    );
  }
  if (navigator.share) {
    row.append(
      button("Share", () => {
        // Whoever changes their mind has not failed.
        navigator.share({ url: field.value }).catch(() => {});
      }),
    );
  }
  if (row.childElementCount) {
    row.append(said);
    field.after(row);
  }
  field.addEventListener("focus", () => field.select());
}
