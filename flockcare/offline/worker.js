// Keeps the pages for the coop: forms without a bird, frames without a record, and what they are made
// of, nothing private.
// Whatever a keeper looks at, and every photo, passes through untouched and is never kept.
"use strict";

const CACHE = `coop-${KEPT.version}`;
const PATIENCE = 5_000; // one bar of signal is no signal for somebody who holds a hen
const MORE_PATIENCE = 45_000; // for somebody who has tapped "Try again"
let patientUntil = 0;
const KEY = "([0-9a-f-]{36})";
const STAND_INS = KEPT.pages.map(({ page, address }) => ({
  page, address: new RegExp(`^${address.replace(KEPT.flock, KEY).replace(KEPT.bird, KEY)}$`),
}));

self.addEventListener("install", (event) => event.waitUntil(keep()));

async function keep() {
  const cache = await caches.open(CACHE);
  // Without cookies: what comes is what anybody gets.
  const asked = [...KEPT.files, ...KEPT.pages.map(({ page }) => page)].map(
    (address) => new Request(address, { credentials: "omit" }),
  );
  await cache.addAll(asked);
}

self.addEventListener("activate", (event) => event.waitUntil(begin()));

async function begin() {
  for (const name of await caches.keys()) {
    if (name.startsWith("coop-") && name !== CACHE) await caches.delete(name);
  }
  await self.clients.claim();
}

self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
  if (event.data === "patience") patientUntil = Date.now() + MORE_PATIENCE;
});

// A reminder: how much is due, nothing that a locked phone should not show. A tap opens Today.
self.addEventListener("push", (event) => {
  const { body = "Something is due today in the coop.", url = "/", tag } = told(event.data);
  const shown = { body, tag, data: { url }, icon: KEPT.icon };
  event.waitUntil(self.registration.showNotification("Flockcare", shown));
});

function told(data) {
  try {
    return data.json() ?? {};
  } catch {
    return {}; // nothing that we sent, but browsers want something shown
  }
}

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const path = new URL(event.notification.data.url, self.location.origin).pathname;
  event.waitUntil(self.clients.openWindow(path));
});

self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "GET") {
    if (request.mode === "navigate") event.respondWith(page(request, url));
    else if (KEPT.files.includes(url.pathname)) event.respondWith(file(request));
  } else if (request.mode === "navigate" && !self.navigator.onLine) {
    event.respondWith(filled(KEPT.otherwise, url)); // a button that leads on, such as to the next bird
  }
});

async function file(request) {
  const cache = await caches.open(CACHE);
  return (await cache.match(request)) ?? fetch(request);
}

async function page(request, url) {
  const standIn = STAND_INS.find(({ address }) => address.test(url.pathname));
  if (!standIn) return asked(request).catch(() => filled(KEPT.otherwise, url));
  const keys = url.pathname.match(standIn.address).slice(1);
  const blank = () => filled(standIn.page, url, keys);
  try {
    const answer = await Promise.race([fetch(request), late()]);
    return answer.status >= 500 ? await blank() : answer;
  } catch {
    return blank();
  }
}

// Once more where there is a network: while a phone goes from one to another, what it asks for fails.
function asked(request) {
  return fetch(request).catch((error) => (self.navigator.onLine ? fetch(request) : Promise.reject(error)));
}

function late() {
  const patience = Math.max(PATIENCE, patientUntil - Date.now());
  return new Promise((_, reject) => setTimeout(() => reject(new Error("late")), patience));
}

// A kept page with the keys of the address in place of those that nobody has.
async function filled(address, url, [flock, bird] = []) {
  const cache = await caches.open(CACHE);
  const kept = await cache.match(address);
  const inAddress = url.pathname.match(new RegExp(`^/f/${KEY}/`))?.[1];
  let text = await kept.text();
  if (flock ?? inAddress) text = text.replaceAll(KEPT.flock, flock ?? inAddress);
  if (bird) text = text.replaceAll(KEPT.bird, bird);
  return new Response(text, { headers: kept.headers });
}
