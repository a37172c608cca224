// Long work: the page says how far it is, what it does, and lets it be stopped.

import { Refusal, send } from "./door.js";
import { element } from "./element.js";
import { t } from "./words.js";

const EVERY_MS = 400;

// Follows a work until it is over; answers what came of it, or null if it was stopped. `holder` shows it meanwhile.
export async function followed(begun, holder) {
  const bar = element("progress", { max: "1", value: "0", "aria-label": t("How far it is") });
  const words = element("span", { class: "small soft", role: "status" }, begun.words);
  const button = element("button", { type: "button", class: "button slim" }, t("Stop"));
  const box = element("div", { class: "long-work row" }, bar, words, button);
  button.addEventListener("click", async () => {
    button.disabled = true;
    words.textContent = t("Stops after this step ...");
    await send("POST", `/work/${begun.work}/stop`).catch(() => {});
  });
  holder.append(box);
  try {
    for (let now = begun; ; now = await send("GET", `/work/${begun.work}`)) {
      bar.value = now.share;
      if (!button.disabled) words.textContent = now.words;
      if (now.state === "done") return now;
      if (now.state === "stopped") return null;
      if (now.state === "refused") throw new Refusal(422, now);
      await new Promise((done) => { setTimeout(done, EVERY_MS); });
    }
  } finally {
    box.remove();
  }
}
