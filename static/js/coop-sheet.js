// Typing a coop sheet in by keyboard: 0, 1, 2 and N, Y answer a group and go on to the next.
(() => {
  const form = document.querySelector(".coop-form");
  if (!form) return;
  const VALUES = { n: "no", y: "yes" };
  const rows = [...form.querySelectorAll(".coop-row")];

  const stops = (row) => [...row.querySelectorAll(".field fieldset, .field > input:not([type=checkbox])")];

  const enter = (stop) => {
    if (!stop) return;
    const first = stop.matches("input") ? stop : stop.querySelector("input:checked") || stop.querySelector("input");
    first.focus();
  };

  const nextRow = (row) => {
    const next = rows[rows.indexOf(row) + 1];
    if (next) enter(stops(next)[0]);
    else form.querySelector(".coop-save button").focus();
  };

  form.addEventListener("keydown", (event) => {
    const row = event.target.closest(".coop-row");
    if (!row || event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
    if (event.key === "Enter" && event.target.matches("input")) {
      event.preventDefault(); // It would save a sheet that is half typed in.
      nextRow(row);
      return;
    }
    if (event.target.type !== "radio") return;
    const group = event.target.closest("fieldset");
    const value = event.key === "Backspace" ? "" : VALUES[event.key.toLowerCase()] || event.key;
    const meant = [...group.querySelectorAll("input")].find((input) => input.value === value);
    if (!meant) return;
    event.preventDefault();
    meant.checked = true;
    if (value === "") return;
    const all = stops(row);
    enter(all[all.indexOf(group) + 1]);
  });
})();
