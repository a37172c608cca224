// The photos of a survey: which of them stand in the report, and what is said of them there.

import { faultBox, send } from "./door.js";
import { drawnAnew } from "./picture.js";
import { t } from "./words.js";

const COPY_PX = 960;
const COPY_QUALITY = 0.72;

async function copyOf(figure) {
  const answer = await fetch(figure.querySelector("img").src, { credentials: "same-origin" });
  return drawnAnew(await answer.blob(), COPY_PX, COPY_QUALITY);
}

for (const form of document.querySelectorAll("form[data-photo]")) {
  const said = form.querySelector("[role=status]");
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("change", async () => {
    const wanted = form.elements.in_report.checked;
    const content = new FormData();
    content.append("in_report", wanted ? "yes" : "no");
    content.append("caption", form.elements.caption.value);
    form.querySelector(".fault")?.remove();
    try {
      if (wanted) content.append("small", await copyOf(form.closest("figure")), "small.jpg");
      await send("POST", form.getAttribute("action"), content);
      said.textContent = wanted ? t("Stands in the report") : t("In the record only");
    } catch (error) {
      form.append(faultBox(error));
    }
  });
}
