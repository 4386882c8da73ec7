// On the page of reminders: this phone takes notices, or no more. The forms are sent as forms.
const here = document.querySelector("[data-push]");
const start = here.querySelector("[data-start]"), end = here.querySelector("[data-end]");
const none = here.querySelector("[data-none]"), said = here.querySelector("[data-said]");
const known = new Set(here.dataset.known.split(" "));

const able = "serviceWorker" in navigator && "PushManager" in window && "Notification" in window;
none.hidden = able;
const worker = able && (await navigator.serviceWorker.ready); // outbox/page.js registers it
if (worker) {
  const held = await worker.pushManager.getSubscription();
  const isOn = Boolean(held) && known.has(held.endpoint);
  start.hidden = isOn;
  end.hidden = !isOn;
  start.addEventListener("submit", (event) => {
    event.preventDefault();
    begin().catch((problem) => {
      start.querySelector("button").disabled = false;
      said.textContent = `This phone refused them (${problem.name}).`;
    });
  });
  end.addEventListener("submit", () => {
    end.elements.endpoint.value = held.endpoint;
    held.unsubscribe();
  });
}

async function begin() {
  said.textContent = "";
  if ((await Notification.requestPermission()) !== "granted") {
    said.textContent = "This phone blocks notifications from Flockcare. Allow them in its settings.";
    return;
  }
  start.querySelector("button").disabled = true;
  // One that was made for other keys, of another installation, cannot be used.
  await (await worker.pushManager.getSubscription())?.unsubscribe();
  const made = await worker.pushManager.subscribe({
    userVisibleOnly: true, applicationServerKey: here.dataset.push,
  });
  const { endpoint, keys } = made.toJSON();
  Object.assign(start.elements.endpoint, { value: endpoint });
  Object.assign(start.elements.p256dh, { value: keys.p256dh });
  Object.assign(start.elements.auth, { value: keys.auth });
  start.submit();
}
