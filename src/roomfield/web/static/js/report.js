// The preview says that it is on its way until it is there; a file is made beside the page, and can be stopped.

import { faultBox, send } from "./door.js";
import { followed } from "./longwork.js";

const frame = document.getElementById("preview");
if (frame) {
  const done = () => {
    const pages = document.getElementById("pages");
    pages.removeAttribute("aria-busy");
    pages.querySelector(".loading")?.remove();
  };
  if (frame.contentDocument?.readyState === "complete" && frame.contentDocument.body?.childElementCount) done();
  frame.addEventListener("load", done);
}

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
