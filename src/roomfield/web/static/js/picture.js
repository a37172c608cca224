// Pictures drawn anew in this browser: smaller, and without anything that a camera put into the file.

export async function drawnAnew(source, longestPx, quality) {
  const picture = await createImageBitmap(source, { imageOrientation: "from-image" });
  const scale = Math.min(1, longestPx / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(picture.width * scale);
  canvas.height = Math.round(picture.height * scale);
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  return new Promise((done) => { canvas.toBlob(done, "image/jpeg", quality); });
}
