// Preview and file are made beside the page: it says how far they are, and both can be stopped.

import { faultBox, send } from "./door.js";
import { element } from "./element.js";
import { followed } from "./longwork.js";
import { t } from "./words.js";

const frame = document.getElementById("preview");

async function preview() {
  const pages = document.getElementById("pages");
  const loading = pages.querySelector(".loading");
  loading.replaceChildren();
  try {
    const begun = await send("POST", frame.dataset.preview);
    if (await followed(begun, loading)) {
      frame.addEventListener("load", () => loading.remove(), { once: true });
      frame.src = `/work/${begun.work}/page`;
    } else {
      const again = element("button", { type: "button", class: "button slim" }, t("Show it like this"));
      again.addEventListener("click", preview);
      loading.replaceChildren(again);
    }
  } catch (error) {
    loading.replaceChildren(faultBox(error, preview));
  }
  pages.removeAttribute("aria-busy");
}

if (frame) preview();

const holder = document.getElementById("making");
for (const link of document.querySelectorAll("a[data-makes]")) {
  link.addEventListener("click", async (event) => {
    event.preventDefault();
    if (holder.childElementCount && !holder.querySelector(".fault")) return; // one at a time
    holder.replaceChildren();
    const address = new URL(link.href);
    try {
      const made = await followed(await send("POST", `${address.pathname.replace("/file.", "/make.")}${address.search}`), holder);
      if (made) location.assign(made.next);
    } catch (error) {
      holder.replaceChildren(faultBox(error));
    }
  });
}
