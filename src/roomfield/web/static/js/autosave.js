// A form that keeps itself while it is typed: in this browser at once, in the record a moment later.

import { faultBox } from "./door.js";
import { t } from "./words.js";

const WAIT_MS = 700;
const form = document.querySelector("form[data-autosave]");
const place = `assignment:${form.dataset.autosave}`;
const said = form.querySelector("[data-kept]");
const fields = () => [...form.elements].filter((field) => field.name && field.type !== "hidden");
let timer = 0;
let busy = false;

function written() {
  return Object.fromEntries(fields().map((field) => [field.name, field.value]));
}

async function save() {
  clearTimeout(timer);
  if (busy) { timer = setTimeout(save, WAIT_MS); return; }
  busy = true;
  const sent = JSON.stringify(written());
  try {
    const answer = await fetch(form.action, {
      method: "POST", body: new FormData(form), credentials: "same-origin", keepalive: true,
      headers: { accept: "application/json", "x-roomfield-form": form.elements.form_key.value },
    });
    const told = await answer.json();
    form.querySelector(".fault")?.remove();
    if (!answer.ok) { form.append(faultBox({ body: told, message: told.what })); said.textContent = t("Not kept yet."); return; }
    for (const field of document.querySelectorAll("input[name=revision]")) field.value = told.revision;
    if (JSON.stringify(written()) === sent) localStorage.removeItem(place);
    said.textContent = t("All kept");
  } catch {
    said.textContent = t("Kept in this browser until the server is back");
    timer = setTimeout(save, 2000);
  } finally {
    busy = false;
  }
}

form.addEventListener("input", () => {
  localStorage.setItem(place, JSON.stringify(written()));
  clearTimeout(timer);
  timer = setTimeout(save, WAIT_MS);
});
window.addEventListener("pagehide", () => { if (localStorage.getItem(place)) save(); });

const kept = JSON.parse(localStorage.getItem(place) ?? "null");
if (kept) {
  for (const field of fields()) if (field.name in kept) field.value = kept[field.name];
  save();
}
