// What every page needs: sections that load later, typed confirmation, help that closes, forms sent once.

import { faultBox, fill, follow, send } from "./door.js";
import { t } from "./words.js";

for (const section of document.querySelectorAll("[data-load]")) fill(section);
// What is folded loads when it is opened.
for (const section of document.querySelectorAll("[data-load-open]")) {
  const fold = section.closest("details");
  const load = () => { if (fold.open && !section.childElementCount) { section.dataset.load = section.dataset.loadOpen; fill(section); } };
  fold.addEventListener("toggle", load);
  load();
}

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const open of document.querySelectorAll("details.help[open], details.menu[open], details.tour[open]")) {
    open.open = false;
    open.querySelector("summary").focus();
  }
});
document.addEventListener("click", (event) => {
  for (const open of document.querySelectorAll("details.help[open], details.menu[open], details.tour[open]")) {
    if (!open.contains(event.target)) open.open = false;
  }
});

for (const opener of document.querySelectorAll("[data-opens]")) {
  opener.addEventListener("click", () => document.getElementById(opener.dataset.opens).showModal());
}
for (const closer of document.querySelectorAll("dialog [data-closes]")) {
  closer.addEventListener("click", () => closer.closest("dialog").close());
}
for (const input of document.querySelectorAll("input[data-must-equal]")) {
  const button = input.form.querySelector("[data-confirms]");
  const check = () => { button.disabled = input.value.trim() !== input.dataset.mustEqual; };
  input.addEventListener("input", check);
  check();
}

for (const form of document.querySelectorAll("form[data-upload]")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = form.querySelector("button[type=submit], button:not([type])");
    form.querySelector(".fault")?.remove();
    button.disabled = true;
    try {
      const told = await send("POST", form.action, new FormData(form));
      window.location.assign(told.next);
    } catch (error) {
      form.append(faultBox(error));
    } finally {
      button.disabled = false;
    }
  });
}

// What takes longer than a moment says what it does.
function sayWorking(form) {
  const words = document.createElement("p");
  words.className = "working soft small";
  words.setAttribute("role", "status");
  words.textContent = form.dataset.wait ?? t("Working on it ...");
  form.append(words);
}

// A form that is refused stays as it was typed, with the reason beside it.
for (const form of document.querySelectorAll("form[method=post]:not([data-upload]):not([data-live]):not([data-plain])")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    form.querySelector(":scope > .fault")?.remove();
    const buttons = [...form.querySelectorAll("button:not(:disabled)")];
    const content = new FormData(form, event.submitter);
    buttons.forEach((button) => { button.disabled = true; });
    const waiting = setTimeout(() => sayWorking(form), 600);
    try {
      // Asked for as attributes: a field may be named "action", and a button without an address of its own answers the page's.
      const address = event.submitter?.getAttribute("formaction") ?? form.getAttribute("action") ?? window.location.href;
      window.location.assign(await follow(address, content));
    } catch (error) {
      const box = faultBox(error);
      form.append(box);
      box.scrollIntoView({ block: "nearest" });
    } finally {
      clearTimeout(waiting);
      form.querySelector(":scope > .working")?.remove();
      buttons.forEach((button) => { button.disabled = false; });
    }
  });
}

// Values under the finger: a figure whose parts carry words says those of the part that is touched.
for (const kind of ["pointerover", "click"]) {
  document.addEventListener(kind, (event) => {
    const part = event.target.closest?.("[data-touch] [data-words]");
    if (part) part.closest("[data-touch]").querySelector("[data-touched]").textContent = part.dataset.words;
  });
}

// On a narrow strip the present step may lie out of sight.
const here = document.querySelector(".way a[aria-current]");
if (here) {
  const strip = here.closest(".way");
  const stretch = here.closest(".stretch");
  strip.scrollLeft = Math.max(here.offsetLeft + here.offsetWidth - strip.clientWidth, stretch.offsetLeft - 8);
}

for (const select of document.querySelectorAll("select[data-go]")) {
  select.addEventListener("change", () => select.form.requestSubmit());
}
document.querySelector("[data-print]")?.addEventListener("click", () => window.print());

// The tour stays open while one follows it from page to page.
const tour = document.querySelector("details.tour");
if (tour && location.hash === "#tour") tour.open = true;
