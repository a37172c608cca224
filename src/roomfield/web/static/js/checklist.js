// A tick is kept the moment it is made.

import { faultBox, follow } from "./door.js";

for (const form of document.querySelectorAll("form[data-tick]")) {
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("change", async () => {
    const box = form.elements.done;
    form.querySelector(".fault")?.remove();
    try {
      await follow(form.getAttribute("action"), new FormData(form));
      const list = form.closest("section");
      const all = [...list.querySelectorAll("input[name=done]")];
      list.querySelector("[data-count]").textContent = `${all.filter((one) => one.checked).length} / ${all.length}`;
    } catch (error) {
      box.checked = !box.checked;
      form.append(faultBox(error));
    }
  });
}
