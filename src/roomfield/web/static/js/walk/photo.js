// A photo on its way into the record: drawn anew and smaller in this browser, so that nothing of the camera goes along.

import { drawnAnew } from "../picture.js";
import { t } from "../words.js";
import { holdPhoto } from "./photobox.js";

const LONGEST_PX = 1600;
const QUALITY = 0.82;

// Keeps what was photographed under words of the place; it is sent like an entry, now or when the computer is back.
export function photoField({ field, said, caption, newId, outbox, onKept }) {
  field.addEventListener("change", async () => {
    const [file] = field.files;
    if (!file) return;
    said.textContent = t("Keeping the photo ...");
    try {
      const [id, about] = [newId("photo"), caption()];
      const picture = about.keeps_camera_data === "yes" && file.type === "image/jpeg" ? file : await drawnAnew(file, LONGEST_PX, QUALITY);
      await holdPhoto(id, picture);
      outbox.add("photos", id, about);
      said.textContent = t("Photo kept: {caption}", { caption: about.caption });
      field.value = "";
      onKept(id);
    } catch (error) {
      said.textContent = error.body ? error.message : t("This picture cannot be read.");
    }
  });
}
