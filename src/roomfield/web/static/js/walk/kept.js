// Keeps the walk that is open on this phone, so that it opens again while the computer sleeps.
// On the computer itself nothing is kept: there it is never away from itself.

const SHELL = "shell-1";
const PAGES = "walk-1";
const HERE = new Set(["127.0.0.1", "localhost", "[::1]"]);

export const isBeside = !HERE.has(location.hostname);

async function put(cache, address) {
  const answer = await fetch(address, { credentials: "same-origin" });
  if (answer.ok && !answer.redirected) await cache.put(address, answer);
}

// True if the page will open without the computer; false if it must be left open.
export async function keepWalk(hashes, surveyId) {
  if (!isBeside || !navigator.serviceWorker || !globalThis.caches) return false;
  try {
    await navigator.serviceWorker.register("/worker.js");
  } catch {
    return false; // the browser runs no worker behind a certificate that was only waved through
  }
  const [shell, pages] = [await caches.open(SHELL), await caches.open(PAGES)];
  const loaded = performance.getEntriesByType("resource").map((one) => new URL(one.name)).filter((one) => one.origin === location.origin && one.pathname.startsWith("/static/"));
  await Promise.all(loaded.map(async (one) => (await shell.match(one.href)) ?? put(shell, one.href)));
  const mine = [`${location.pathname}${location.search}`, "/kept/away", ...hashes.map((hash) => `/surveys/${surveyId}/media/${hash}`)];
  await Promise.all(mine.map((address) => put(pages, address)));
  const wanted = new Set(mine.map((address) => new URL(address, location.origin).href));
  for (const request of await pages.keys()) if (!wanted.has(request.url)) await pages.delete(request);
  return true;
}
