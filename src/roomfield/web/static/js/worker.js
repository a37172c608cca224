// Stands between the pages and the computer: the walk opens from here while the computer sleeps.
// The computer is asked first, always. What is kept is the walk of one survey, put here by walk/kept.js.

const SHELL = "shell-1";
const PAGES = "walk-1";
const PATIENCE_MS = 3000;
const AWAY_MS = 8000;
const KEPT_MS = 14 * 24 * 3600 * 1000;
let awayUntil = 0;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== location.origin) return;
  if (address.pathname === "/unlock") event.respondWith(stranger(request));
  else if (address.pathname.startsWith("/static/")) event.respondWith(shell(request));
  else if (request.mode === "navigate" || address.pathname.includes("/media/")) event.respondWith(page(request));
});

// A device at the door was let in no longer: it forgets what it kept of surveys.
async function stranger(request) {
  await caches.delete(PAGES);
  return fetch(request);
}

async function asked(request) {
  if (Date.now() < awayUntil) throw new Error("away");
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
  try {
    return await fetch(request, request.mode === "navigate" ? {} : { signal: stop.signal });
  } finally {
    clearTimeout(timer);
  }
}

// A navigation cannot be stopped, but it need not be waited for.
function soon(request) {
  const late = new Promise((_, fail) => { setTimeout(() => fail(new Error("away")), PATIENCE_MS); });
  return Promise.race([asked(request), late]);
}

async function shell(request) {
  const kept = await caches.open(SHELL);
  try {
    const answer = await soon(request);
    if (answer.ok) await kept.put(request, answer.clone());
    return answer;
  } catch {
    awayUntil = Date.now() + AWAY_MS;
    return (await kept.match(request, { ignoreVary: true })) ?? fetch(request);
  }
}

async function page(request) {
  const kept = await caches.open(PAGES);
  const there = await kept.match(request, { ignoreSearch: true, ignoreVary: true });
  if (there && Date.now() - Date.parse(there.headers.get("date")) > KEPT_MS) await caches.delete(PAGES);
  else if (there) {
    try {
      return await soon(request);
    } catch {
      awayUntil = Date.now() + AWAY_MS;
      return there;
    }
  }
  try {
    return await fetch(request);
  } catch {
    return away(kept);
  }
}

// Any other page while the computer sleeps: say so, and lead to the walk that is kept.
async function away(kept) {
  const walk = (await kept.keys()).map((one) => new URL(one.url)).find((one) => one.pathname.endsWith("/walk"));
  const said = await kept.match("/kept/away", { ignoreVary: true });
  if (!walk || !said) return Response.error();
  const text = (await said.text()).replaceAll("{walk}", walk.pathname + walk.search);
  return new Response(text, { status: 503, headers: { "content-type": "text/html; charset=utf-8", "content-security-policy": said.headers.get("content-security-policy") } });
}
