// The page waits for a phone: it is drawn anew when one came in or the picture ran out.

const body = document.querySelector("[data-devices]");
const EVERY_MS = 3000;

async function look() {
  try {
    const answer = await fetch("/devices/state", { credentials: "same-origin" });
    const told = await answer.json();
    if (told.devices.join() !== body.dataset.devices || told.open !== (body.dataset.open === "yes")) {
      location.replace("/devices");
      return;
    }
  } catch {
    // The server is away; the page stays as it is.
  }
  setTimeout(look, EVERY_MS);
}
setTimeout(look, EVERY_MS);
