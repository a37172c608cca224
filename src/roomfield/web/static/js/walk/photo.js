// A photo on its way into the record: drawn anew and smaller in this browser, so that nothing of the camera goes along.

import { send } from "../door.js";
import { t } from "../words.js";

const LONGEST_PX = 1600;
const QUALITY = 0.82;

async function drawnAnew(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, LONGEST_PX / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(picture.width * scale);
  canvas.height = Math.round(picture.height * scale);
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  return new Promise((done) => { canvas.toBlob(done, "image/jpeg", QUALITY); });
}

// Keeps what was photographed under words of the place; `onKept` learns the first letters of its hash for the note.
export function photoField({ surveyId, field, said, caption, onKept }) {
  field.addEventListener("change", async () => {
    const [file] = field.files;
    if (!file) return;
    said.textContent = t("Keeping the photo ...");
    try {
      const form = new FormData();
      form.append("file", await drawnAnew(file), "photo.jpg");
      form.append("caption", caption());
      const kept = await send("POST", `/api/v1/surveys/${surveyId}/photos`, form);
      said.textContent = t("Photo kept: {caption}", { caption: kept.caption });
      field.value = "";
      onKept(kept.sha256.slice(0, 8));
    } catch (error) {
      said.textContent = error.body ? error.message : t("This picture cannot be read.");
    }
  });
}
