// A photo over the whole screen. A link with `data-viewer` leads to a photo; its value is the page
// of that foot's series, whose film strip says what comes before and after it, and what is known of
// each. Empty: the strip is in this page, or there is none. Without script it stays a link.
"use strict";

(() => {
  const NEAREST = 10;
  const near = { zoom: 1, x: 0, y: 0 }; // shift in pixels of the screen
  let dialog, stage, picture, words, buttons;
  let shots = [], at = 0;

  const make = (name, attributes, ...children) => {
    const element = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    element.append(...children);
    return element;
  };

  function build() {
    picture = make("img", { alt: "", draggable: "false" });
    stage = make("div", { class: "viewer-stage" }, picture);
    words = make("div", { "aria-live": "polite" });
    buttons = [[-1, "‹", "Photo before"], [1, "›", "Next photo"]].map(([step, sign, label]) => {
      const button = make("button", { type: "button", "aria-label": label }, sign);
      button.addEventListener("click", () => go(step));
      return button;
    });
    const close = make("button", { type: "button", class: "viewer-close", "aria-label": "Close", autofocus: "" }, "×");
    close.addEventListener("click", () => dialog.close());
    dialog = make("dialog", { class: "viewer", "aria-label": "Photo" }, stage,
      make("div", { class: "viewer-foot" }, buttons[0], words, buttons[1]), close);
    dialog.addEventListener("close", () => history.state?.viewer && history.back());
    dialog.addEventListener("keydown", keys);
    addEventListener("popstate", () => dialog.open && dialog.close());
    fingers();
    document.body.append(dialog);
  }

  // --- Which photos

  const pageOf = (url) => new URL("./", url).href;

  function shotsIn(strip, base) {
    return [...strip.querySelectorAll("a[data-key]")].map((link) => {
      const file = new URL(link.querySelector("img").getAttribute("src"), base);
      const [, score, area] = ["time", "time ~ span", "i"].map((part) => link.querySelector(part)?.textContent.trim());
      return {
        page: pageOf(file), edition: file.search, when: link.querySelector("time").textContent,
        size: [score, area].filter(Boolean).join(" · "), care: link.dataset.care ?? "",
      };
    });
  }

  async function found(series, page) {
    let strip = document.querySelector(".strip");
    if (!strip && series) {
      const answer = await fetch(series, { headers: { Accept: "text/html" } });
      const other = new DOMParser().parseFromString(await answer.text(), "text/html");
      strip = other.querySelector(".strip");
    }
    const all = strip ? shotsIn(strip, new URL(series || location.href, location.href)) : [];
    return all.some((shot) => shot.page === page) ? all : [];
  }

  async function open(link) {
    if (!dialog) build();
    const page = pageOf(link.href);
    const image = link.querySelector("img");
    const when = image?.alt || link.closest("figure")?.querySelector("strong")?.textContent || "";
    shots = [{ page, edition: image ? new URL(image.src).search : "", when, size: "", care: "" }];
    at = 0;
    dialog.showModal();
    history.pushState({ viewer: true }, "");
    show();
    const all = await found(link.dataset.viewer.trim(), page).catch(() => []);
    if (!all.length || shots[at].page !== page) return;
    [shots, at] = [all, all.findIndex((shot) => shot.page === page)];
    show();
  }

  function show() {
    const shot = shots[at];
    lay(1, 0, 0);
    const file = (size) => `${shot.page}${size}.jpg${shot.edition}`;
    if (picture.dataset.page !== shot.page) {
      picture.dataset.page = shot.page;
      picture.src = file(800);
      const sharp = new Image();
      sharp.src = file(1600);
      sharp.decode().then(() => {
        if (picture.dataset.page === shot.page) picture.src = sharp.src;
      }, () => {});
    }
    picture.alt = shot.when;
    const lines = [make("p", {}, make("strong", {}, shot.when))];
    if (shot.size) lines.push(make("p", {}, shot.size));
    if (shot.care) lines.push(make("p", { class: "more" }, `Care since the photo before: ${shot.care}`));
    if (pageOf(location.href) !== shot.page) lines.push(make("a", { href: shot.page }, "Photo page"));
    words.replaceChildren(...lines);
    // Not `disabled`: a button that is takes no keys while it has the focus.
    buttons[0].setAttribute("aria-disabled", at === 0);
    buttons[1].setAttribute("aria-disabled", at === shots.length - 1);
  }

  function go(step) {
    const next = at + step;
    if (next < 0 || next >= shots.length) return;
    at = next;
    show();
  }

  // --- Nearer and farther

  function lay(zoom, x, y) {
    const { clientWidth: width, clientHeight: height } = stage;
    near.zoom = Math.min(NEAREST, Math.max(1, zoom));
    near.x = Math.min(0, Math.max(width * (1 - near.zoom), x));
    near.y = Math.min(0, Math.max(height * (1 - near.zoom), y));
    picture.style.transform = `translate(${near.x}px, ${near.y}px) scale(${near.zoom})`;
    stage.classList.toggle("near", near.zoom > 1);
  }

  function bring(factor, x = stage.clientWidth / 2, y = stage.clientHeight / 2) {
    const zoom = Math.min(NEAREST, Math.max(1, near.zoom * factor)), change = zoom / near.zoom;
    lay(zoom, x - (x - near.x) * change, y - (y - near.y) * change);
  }

  function keys(event) {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const does = {
      ArrowLeft: () => go(-1), ArrowRight: () => go(1), "+": () => bring(1.5), "=": () => bring(1.5),
      "-": () => bring(1 / 1.5), 0: () => lay(1, 0, 0),
    }[event.key];
    if (!does) return;
    event.preventDefault();
    does();
  }

  function fingers() {
    const down = new Map();
    let start = null, tapped = 0;
    const apart = ([p, q]) => Math.max(8, Math.hypot(p.x - q.x, p.y - q.y));
    const place = (event) => {
      const box = stage.getBoundingClientRect();
      return { x: event.clientX - box.left, y: event.clientY - box.top };
    };
    stage.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      const now = place(event);
      start = down.size ? null : now;
      down.set(event.pointerId, now);
      stage.setPointerCapture(event.pointerId);
    });
    stage.addEventListener("pointermove", (event) => {
      if (!down.has(event.pointerId)) return;
      const before = [...down.values()], old = down.get(event.pointerId), now = place(event);
      down.set(event.pointerId, now);
      if (down.size === 1 && near.zoom > 1) lay(near.zoom, near.x + now.x - old.x, near.y + now.y - old.y);
      if (down.size !== 2) return;
      const [p, q] = down.values();
      bring(apart([p, q]) / apart(before), (p.x + q.x) / 2, (p.y + q.y) / 2);
    });
    stage.addEventListener("pointerup", (event) => {
      if (!down.delete(event.pointerId) || !start) return;
      const now = place(event), dx = now.x - start.x, dy = now.y - start.y;
      start = null;
      if (near.zoom === 1 && Math.abs(dx) > 50 && Math.abs(dx) > 1.5 * Math.abs(dy)) return go(dx < 0 ? 1 : -1);
      if (Math.hypot(dx, dy) > 10) return;
      const twice = event.timeStamp - tapped < 350;
      tapped = twice ? 0 : event.timeStamp;
      if (!twice) return;
      if (near.zoom > 1) lay(1, 0, 0);
      else bring(3, now.x, now.y);
    });
    stage.addEventListener("pointercancel", (event) => {
      down.delete(event.pointerId);
      start = null;
    });
    stage.addEventListener("wheel", (event) => {
      event.preventDefault();
      const { x, y } = place(event);
      bring(Math.exp(-event.deltaY / (event.ctrlKey ? 100 : 400)), x, y);
    }, { passive: false });
  }

  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("a[data-viewer]");
    if (!link || event.button || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    open(link);
  });
})();
