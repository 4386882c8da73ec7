// A camera of the page's own: the live picture over the whole screen with the foot's last photo laid
// over it, several photos in a row, and whether the bird's card is in view. js/photos.js opens it
// and puts what was taken into the form, as if it had been chosen.

import { orientation, readJpeg, withExif } from "./outbox/pictures.js";

const FRAME_SIDE = 800, ASKED_EVERY = 1_500, LOOKED_EVERY = 600, SLOW = 3_000, PHOTO_SLOW = 8_000, LAST_ONE = 1_500;
const HINTS = {
  ours: "Card in view", none: "Card not in view yet", foot: "The other foot’s card", bird: "Another bird’s card",
};
let withLast = true; // as it was left the last time

// `feet`: [[foot, its name]], the one to begin with first; an empty foot is not said. `card` and
// `last`: where to ask for the card in a frame, with `token`, and for the last photos.
// Resolves to [[foot, file]] when it is closed; rejects when there is no camera for this page.
export async function shoot(asked) {
  const stream = await navigator.mediaDevices.getUserMedia({ audio: false, video: wanted() });
  try {
    return await shown(stream, asked);
  } finally {
    stream.getTracks().forEach((track) => track.stop());
  }
}

async function shown(stream, { dialog, bird, name, feet, card, last, token }) {
  const part = (selector) => dialog.querySelector(selector);
  const video = part("video"), shutter = part(".shutter"), shots = part(".camera-shots");
  const taken = [], closing = new AbortController(), { signal } = closing;
  const [track] = stream.getVideoTracks();
  const on = (element, event, act) => element.addEventListener(event, act, { signal });
  let foot = feet[0][0], lastPhotos = {}, atWork = null;
  if (document.hidden) return taken; // meanwhile, while the browser asked

  function show() {
    part(".camera-bird").textContent = name;
    part("h2 strong").textContent = foot;
    const other = feet.find(([each]) => each !== foot);
    Object.assign(part(".other-foot-too"), { hidden: !other, textContent: other?.[1] ?? "" });
    lay(part(".last-photo"), part(".with-last"), lastPhotos[foot]);
    part(".done").textContent = taken.length ? `Done (${taken.length})` : "Done";
  }

  async function take() {
    shutter.ariaBusy = "true";
    const moment = new Date(), of = foot;
    try {
      const jpeg = dated(await (await still(track, video)).arrayBuffer(), moment);
      const number = taken.length + 1;
      const file = new File([jpeg], `${[name, of, number].filter(Boolean).join(" ")}.jpg`, {
        type: "image/jpeg", lastModified: moment.getTime(),
      });
      taken.push([of, file]);
      shots.append(thumb(file, of, number));
      shots.scrollLeft = shots.scrollWidth;
      show();
    } finally {
      shutter.ariaBusy = "false";
    }
  }

  on(shutter, "click", () => {
    if (shutter.ariaBusy === "true") return;
    atWork = take().catch(() => hint(dialog, "", "No photo was taken. Try again."));
  });
  on(part(".done"), "click", () => dialog.close());
  on(part(".other-foot-too"), "click", () => {
    foot = feet.find(([each]) => each !== foot)[0];
    show();
  });
  on(part(".with-last"), "click", () => {
    withLast = !withLast;
    show();
  });
  offerLight(part(".torch"), track, on);

  // Off as soon as nobody looks: a locked phone or another app hides the page.
  on(document, "visibilitychange", () => document.hidden && dialog.close());
  on(window, "pagehide", () => dialog.close());
  // The phone's button to go back closes it, and not the form below.
  on(window, "popstate", () => dialog.close());
  on(track, "ended", () => dialog.close());
  const closed = new Promise((resolve) => on(dialog, "close", resolve));

  video.srcObject = stream;
  hint(dialog, "", "");
  show();
  dialog.showModal();
  history.pushState({ camera: true }, "");
  fetch(last, { headers: { Accept: "application/json" }, signal })
    .then((answer) => answer.json())
    .then((found) => {
      lastPhotos = found;
      show();
    })
    .catch(() => {}); // no signal: without it
  watch({ video, card, token, signal, tell: (code) => {
    const said = code === null ? "none" : whose(code, bird, foot);
    hint(dialog, said, HINTS[said]);
  } }).catch(() => {}).finally(() => signal.aborted || hint(dialog, "", ""));

  await closed;
  closing.abort();
  await inTime(atWork, LAST_ONE).catch(() => {}); // a photo that was being taken
  video.srcObject = null;
  shots.replaceChildren();
  if (history.state?.camera) history.back();
  return taken;
}

// With takePhoto the photo is as large as the camera can, whatever the live picture is. 4:3 is what
// sensors are: the live picture shows all that the photo will.
function wanted() {
  const [width, height] = "ImageCapture" in window ? [1920, 1440] : [4096, 3072];
  return { facingMode: { ideal: "environment" }, width: { ideal: width }, height: { ideal: height } };
}

function lay(drawing, button, photo) {
  button.hidden = !photo;
  button.setAttribute("aria-pressed", withLast);
  drawing.classList.toggle("shown", Boolean(photo) && withLast);
  if (!photo) return;
  drawing.setAttribute("viewBox", `0 0 ${photo.width} ${photo.height}`);
  const image = drawing.querySelector("image");
  for (const [name, value] of Object.entries({ href: photo.url, width: photo.width, height: photo.height })) {
    if (image.getAttribute(name) !== String(value)) image.setAttribute(name, value);
  }
  drawing.querySelector("g").setAttribute("transform", photo.outline ? `matrix(${photo.outline})` : "");
  drawing.querySelector("polygon").setAttribute("points", photo.points ?? "");
}

function hint(dialog, state, words) {
  const line = dialog.querySelector(".camera-hint");
  if (line.textContent !== words) line.textContent = words; // said once only
  line.dataset.state = state;
}

function thumb(file, foot, number) {
  const url = URL.createObjectURL(file), item = document.createElement("li");
  const image = Object.assign(new Image(56, 56), { src: url, alt: `Photo ${number}` });
  image.addEventListener("load", () => URL.revokeObjectURL(url));
  item.append(image, Object.assign(document.createElement("span"), { textContent: foot }));
  return item;
}

function offerLight(button, track, on) {
  button.hidden = !track.getCapabilities?.().torch;
  button.setAttribute("aria-pressed", false);
  on(button, "click", async () => {
    const torch = button.getAttribute("aria-pressed") !== "true";
    await track.applyConstraints({ advanced: [{ torch }] }).then(
      () => button.setAttribute("aria-pressed", torch), () => (button.hidden = true),
    );
  });
}

// --- The photo

async function still(track, video) {
  if ("ImageCapture" in window) {
    try {
      const camera = new ImageCapture(track);
      const can = await camera.getPhotoCapabilities().catch(() => null);
      const largest = can?.imageWidth && { imageWidth: can.imageWidth.max, imageHeight: can.imageHeight.max };
      const photo = await inTime(camera.takePhoto(largest ?? {}), PHOTO_SLOW);
      return photo.type === "image/jpeg" ? photo : await drawn(await createImageBitmap(photo));
    } catch {
      // Some cameras promise more than they do; then what is seen is what is kept.
    }
  }
  return drawn(video);
}

const inTime = (promise, limit) =>
  Promise.race([promise, new Promise((_, reject) => setTimeout(() => reject(new Error("late")), limit))]);

function drawn(picture, side = Infinity, quality = 0.92) {
  const width = picture.videoWidth ?? picture.width, height = picture.videoHeight ?? picture.height;
  const scale = Math.min(1, side / Math.max(width, height));
  const canvas = Object.assign(document.createElement("canvas"), {
    width: Math.round(scale * width), height: Math.round(scale * height),
  });
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  return new Promise((resolve, reject) =>
    canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error("no picture"))), "image/jpeg", quality));
}

// --- The card

// Tells again and again what the card in view says, null where none is seen. Ends, and with it the
// hint, where nobody can answer: a slow line has better to do.
async function watch({ video, card, token, signal, tell }) {
  const reader = await codeReader();
  while (!signal.aborted && (reader || (token && navigator.onLine))) {
    const began = Date.now();
    if (video.readyState >= HTMLMediaElement.HAVE_CURRENT_DATA) tell(reader ? await reader(video) : await ask(card, token, video, signal));
    if (Date.now() - began > SLOW) return;
    const pause = (reader ? LOOKED_EVERY : ASKED_EVERY) - (Date.now() - began);
    await new Promise((resolve) => setTimeout(resolve, Math.max(pause, 200)));
  }
}

// Shape Detection (an open standard of the web), where the browser has it.
async function codeReader() {
  const kinds = await globalThis.BarcodeDetector?.getSupportedFormats().catch(() => []);
  if (!kinds?.includes("qr_code")) return null;
  const detector = new BarcodeDetector({ formats: ["qr_code"] });
  return async (video) => {
    const codes = (await detector.detect(video)).map(({ rawValue }) => rawValue);
    return codes.find((code) => CODE.test(code)) ?? null; // a sack of feed has codes too
  };
}

async function ask(card, token, video, signal) {
  const answer = await fetch(card, {
    method: "POST", body: await drawn(video, FRAME_SIDE, 0.7), redirect: "error",
    headers: { "X-CSRFToken": token, "Content-Type": "image/jpeg" },
    signal: AbortSignal.any?.([signal, AbortSignal.timeout(SLOW)]) ?? signal,
  });
  const { seen, code } = await answer.json();
  return seen ? code : null;
}

// What cards say: the key of a bird, and of which foot; see photos/measuring.py.
const CODE = /^([0-9a-f-]{32,36}?)(?:-(l|r|left|right))?$/i;

function whose(code, bird, foot) {
  const [, key, of] = code.match(CODE) ?? [];
  if (!key) return "ours"; // seen, though its code is not to be read
  if (key.replaceAll("-", "").toLowerCase() !== bird.replaceAll("-", "")) return "bird";
  return of && foot && of[0].toLowerCase() !== foot[0] ? "foot" : "ours";
}

// --- When it was taken

// A JPEG that says, as cameras do, when it was taken by this phone's clock, and that clock's offset
// from UTC; which way up it is stays, all else that was written beside it goes.
function dated(jpeg, moment) {
  const { exif } = readJpeg(new DataView(jpeg));
  if (!exif) return withExif(jpeg, takenAt(moment, 1));
  const { view, at, little } = orientation(jpeg.slice(exif.start, exif.end));
  const bare = new Uint8Array(jpeg.byteLength - (exif.end - exif.start));
  bare.set(new Uint8Array(jpeg, 0, exif.start));
  bare.set(new Uint8Array(jpeg, exif.end), exif.start);
  return withExif(bare.buffer, takenAt(moment, at ? view.getUint16(at, little) : 1));
}

// Exif 2.2 (JEITA CP-3451): tags 274, 34665, 36867 and 37521; 2.31 (CIPA DC-008): 36881, from memory.
const SHORT = 3, LONG = 4, TEXT = 2;

function takenAt(moment, turn) {
  const two = (number) => String(number).padStart(2, "0");
  const [month, day, hour, minute, second] = [
    moment.getMonth() + 1, moment.getDate(),
    moment.getHours(), moment.getMinutes(), moment.getSeconds(),
  ].map(two);
  const ahead = -moment.getTimezoneOffset(), minutes = Math.abs(ahead);
  const clock = `${moment.getFullYear()}:${month}:${day} ${hour}:${minute}:${second}\0`;
  const offset = `${ahead < 0 ? "-" : "+"}${two(Math.floor(minutes / 60))}:${two(minutes % 60)}\0`;
  const fraction = String(moment.getMilliseconds()).padStart(3, "0");
  // Directories of two and three entries, and behind them the texts of more than four bytes.
  const first = 8, inner = first + 30, text = inner + 42;
  const view = new DataView(new ArrayBuffer(10 + text + clock.length + offset.length));
  const write = (at, words) => [...words].forEach((letter, place) => view.setUint8(at + place, letter.charCodeAt(0)));
  view.setUint16(0, 0xffe1);
  view.setUint16(2, view.byteLength - 2);
  write(4, "Exif\0\0MM\0*");
  view.setUint32(14, first);
  const entry = (at, tag, type, count, value) => {
    view.setUint16(at, tag);
    view.setUint16(at + 2, type);
    view.setUint32(at + 4, count);
    if (typeof value === "string") write(at + 8, value);
    else if (type === SHORT) view.setUint16(at + 8, value);
    else view.setUint32(at + 8, value);
  };
  const directory = (at, ...entries) => {
    view.setUint16(10 + at, entries.length);
    entries.forEach((values, place) => entry(10 + at + 2 + 12 * place, ...values));
  };
  directory(first, [274, SHORT, 1, turn], [34665, LONG, 1, inner]);
  directory(
    inner, [36867, TEXT, clock.length, text], [36881, TEXT, offset.length, text + clock.length],
    [37521, TEXT, 4, `${fraction}\0`], // two photos of one second are two
  );
  write(10 + text, clock + offset);
  return view.buffer;
}
