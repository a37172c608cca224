// A device at the door: what it read off the picture stands behind the # and is taken out of the address at once.

import { t } from "./words.js";

const $ = (id) => document.getElementById(id);
const secret = decodeURIComponent(location.hash.slice(1));
history.replaceState(null, "", location.pathname);

if (secret) {
  $("code").value = secret;
  $("code-field").hidden = true;
  $("unlock-head").textContent = t("Let this phone in");
  $("unlock-words").textContent = t("It was read off the computer beside it. Give the phone a name; what it enters carries that name.");
  $("device").focus();
}
if (!$("device").value) $("device").value = /Tablet|iPad/.test(navigator.userAgent) ? t("Tablet") : /Mobi/.test(navigator.userAgent) ? t("Phone") : "";

// Over TLS the answer's header has done this already; without it the page does.
if ($("gone")) {
  localStorage.clear();
  for (const name of (await globalThis.caches?.keys()) ?? []) await caches.delete(name);
  for (const one of (await navigator.serviceWorker?.getRegistrations()) ?? []) await one.unregister();
}
