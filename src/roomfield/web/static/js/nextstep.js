// What to do next: at once when a reading was taken, then worked out in full when the hand rests. Entry never waits for it.

const REST_MS = 2500;
const box = document.querySelector("[data-next]");
let asking = false;
let again = false;
let timer = 0;

async function ask(soon) {
  if (asking) { again = true; return; }
  asking = true;
  clearTimeout(timer);
  try {
    const answer = await fetch(`${box.dataset.next}${soon ? "&soon=true" : ""}`, { credentials: "same-origin" });
    if (!answer.ok) return;
    const words = await answer.text();
    if (!again) box.innerHTML = words;
    if (box.querySelector('[data-settled="no"]') && soon) timer = setTimeout(() => ask(false), REST_MS);
  } catch {
    // The line is a help beside the entry; without an answer the last one stands.
  } finally {
    asking = false;
    if (again) { again = false; ask(true); }
  }
}

if (box) {
  document.addEventListener("readings-changed", () => ask(true));
  ask(true);
}
