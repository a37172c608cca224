// A form whose work takes long: sent beside the page, followed, and stopped if the reader wants; what was typed stays.

import { faultBox, send } from "./door.js";
import { followed } from "./longwork.js";

for (const form of document.querySelectorAll("form[data-works]")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    form.querySelector(":scope > .fault")?.remove();
    const buttons = [...form.querySelectorAll("button:not(:disabled)")];
    const content = new FormData(form, event.submitter);
    buttons.forEach((button) => { button.disabled = true; });
    try {
      const made = await followed(await send("POST", form.dataset.works, content), form);
      if (made) location.assign(made.next);
    } catch (error) {
      const box = faultBox(error);
      form.append(box);
      box.scrollIntoView({ block: "nearest" });
    } finally {
      buttons.forEach((button) => { button.disabled = false; });
    }
  });
}
