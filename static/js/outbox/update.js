// The worker that keeps the pages for checking without signal, and the notice of a newer one.

const seen = () => document.getElementById("new-version");

export async function watchWorker() {
  if (!navigator.serviceWorker) return;
  const registration = await navigator.serviceWorker
    .register("/worker.js", { scope: "/", updateViaCache: "none" })
    .catch(() => null);
  if (!registration) return;
  const ready = () => {
    if (registration.waiting && navigator.serviceWorker.controller) seen().hidden = false;
  };
  ready();
  registration.addEventListener("updatefound", () => {
    registration.installing?.addEventListener("statechange", ready);
  });
  seen().querySelector("button").addEventListener("click", () => {
    navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
    registration.waiting?.postMessage("take over");
  });
}
