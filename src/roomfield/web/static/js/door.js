// Talking to the server: one way to send, one way to show what went wrong.

import { t } from "./words.js";

const key = document.querySelector('meta[name="form-key"]')?.content ?? "";

export class Refusal extends Error {
  constructor(status, body) {
    super([body.where, body.what, body.mend].filter(Boolean).join(" "));
    this.status = status;
    this.body = body;
  }
}

export async function send(method, address, body, { signal, patienceMs } = {}) {
  // The second header lets a page that was kept through a restart of the browser go on: no other site can send it.
  const headers = { "x-roomfield-form": key, "x-roomfield-client": "page" };
  let payload = body;
  if (body !== undefined && !(body instanceof FormData) && !(body instanceof Blob)) {
    headers["content-type"] = "application/json";
    payload = JSON.stringify(body);
  }
  let answer;
  const until = patienceMs ? AbortSignal.timeout(patienceMs) : signal;
  try {
    answer = await fetch(address, { method, headers, body: payload, signal: until, credentials: "same-origin" });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Refusal(0, { what: t("The server does not answer."), where: "", mend: t("Entries wait here until it is back.") });
  }
  if (answer.status === 204) return null;
  const type = answer.headers.get("content-type") ?? "";
  const content = type.includes("json") ? await answer.json() : await answer.text();
  if (!answer.ok) {
    const told = typeof content === "object" ? content : { what: content, where: "", mend: "" };
    throw new Refusal(answer.status, told);
  }
  return content;
}

// Sends a form and answers where it leads; a refusal is thrown as it is told.
export async function follow(address, content) {
  let answer;
  try {
    answer = await fetch(address, { method: "POST", headers: { "x-roomfield-form": key }, body: content, credentials: "same-origin" });
  } catch {
    throw new Refusal(0, { what: t("The server does not answer."), where: "", mend: t("What you typed stays here; send it again when it is back.") });
  }
  if (answer.ok) return answer.url;
  const type = answer.headers.get("content-type") ?? "";
  throw new Refusal(answer.status, type.includes("json") ? await answer.json() : { what: t("The request cannot be answered like this."), where: "", mend: "" });
}

let area;

export function notice(sentence, { action, run, stay = false } = {}) {
  area ??= document.querySelector(".notice-area");
  const box = document.createElement("div");
  box.className = "notice";
  const words = document.createElement("span");
  words.textContent = sentence;
  box.append(words);
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = action ?? t("Close");
  button.addEventListener("click", () => {
    box.remove();
    run?.();
  });
  box.append(button);
  area.replaceChildren(box);
  if (!stay) setTimeout(() => box.remove(), 7000);
  return box;
}

export function faultBox(error, retry) {
  const box = document.createElement("div");
  box.className = "fault";
  box.setAttribute("role", "alert");
  const head = document.createElement("strong");
  head.textContent = error.body?.what ?? error.message;
  box.append(head);
  if (error.body?.mend) {
    const mend = document.createElement("p");
    mend.textContent = error.body.mend;
    box.append(mend);
  }
  if (retry) {
    const again = document.createElement("button");
    again.type = "button";
    again.className = "button slim";
    again.textContent = t("Try again");
    again.addEventListener("click", retry);
    box.append(again);
  }
  return box;
}

// Sections that take longer than a page should: loaded after the page stands.
export async function fill(section) {
  const wait = document.createElement("div");
  wait.className = "loading";
  const words = document.createElement("p");
  words.textContent = section.dataset.wait ?? t("Working it out ...");
  wait.append(words);
  section.setAttribute("aria-busy", "true");
  section.replaceChildren(wait);
  try {
    const text = await send("GET", section.dataset.load);
    section.innerHTML = text;
    section.dispatchEvent(new CustomEvent("filled", { bubbles: true }));
    for (const inner of section.querySelectorAll("[data-load]")) fill(inner);
  } catch (error) {
    section.replaceChildren(faultBox(error, () => fill(section)));
  } finally {
    section.removeAttribute("aria-busy");
  }
}
