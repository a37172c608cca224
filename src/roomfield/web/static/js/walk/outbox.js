// What was entered and has not reached the record yet: each item lies by itself in this browser, with an id of its own,
// so that two windows never overwrite one another and what is sent twice is kept once.

import { send } from "../door.js";
import { dropPhoto, heldPhoto } from "./photobox.js";

const SOON_MS = 1500;
const SLOWEST_MS = 20000;
const PATIENCE_MS = 10000;
const WAITING = "walk-out";
const REFUSED = "walk-refused";

const isAway = (error) => error.status === 0 || error.status >= 500 || error.status === 408 || error.status === 429;
const isStranger = (error) => error.status === 401 || error.status === 403;

function listed(prefix) {
  const found = [];
  for (let n = 0; n < localStorage.length; n += 1) {
    const key = localStorage.key(n);
    if (!key.startsWith(`${prefix}:`)) continue;
    try { found.push(JSON.parse(localStorage.getItem(key))); } catch { /* another program's key */ }
  }
  return found.sort((one, other) => one.at - other.at || one.id.localeCompare(other.id));
}

export class Outbox {
  constructor(surveyId, { onTaken, onRefused, onChange }) {
    Object.assign(this, { surveyId, onTaken, onRefused, onChange });
    this.base = `/api/v1/surveys/${surveyId}`;
    this.wait = SOON_MS;
    this.takeOver();
    this.items = listed(`${WAITING}:${surveyId}`);
    window.addEventListener("storage", (event) => {
      if (event.key !== null && !event.key.startsWith(WAITING)) return;
      this.items = listed(`${WAITING}:${surveyId}`);
      this.onChange(this.items.length, this.trouble);
    });
    for (const [target, name] of [[window, "online"], [window, "focus"], [document, "visibilitychange"]]) {
      target.addEventListener(name, () => { this.wait = SOON_MS; this.drain(); });
    }
  }

  // Entries that an earlier version of this page kept as one list.
  takeOver() {
    const key = `walk:${this.surveyId}`;
    const old = JSON.parse(localStorage.getItem(key) ?? "[]");
    for (const [n, body] of old.entries()) this.write(WAITING, { id: body.entry_id, at: n, kind: "readings", body });
    localStorage.removeItem(key);
  }

  // Readings on the way: what is waiting as the server would be told it.
  get entries() { return this.items.filter((item) => item.kind === "readings").map((item) => item.body); }

  get refused() { return listed(`${REFUSED}:${this.surveyId}`); }

  write(prefix, item) { localStorage.setItem(`${prefix}:${this.surveyId}:${item.id}`, JSON.stringify(item)); }

  // `kind` is where it goes: readings, bearings, radio-states, readings/undo, photos.
  add(kind, id, body) {
    const item = { id, at: Date.now(), kind, body };
    this.write(WAITING, item);
    this.items.push(item);
    this.onChange(this.items.length, this.trouble);
    this.drain();
  }

  takeBack() {
    const last = this.items.at(-1);
    if (last) this.drop(last);
    return last;
  }

  drop(item) {
    localStorage.removeItem(`${WAITING}:${this.surveyId}:${item.id}`);
    this.items = this.items.filter((one) => one.id !== item.id);
    this.onChange(this.items.length, this.trouble);
  }

  // A refused item is told and kept until it was sent elsewhere or let go by hand.
  putAside(item, error) {
    this.write(REFUSED, { ...item, reason: error.message });
    this.drop(item);
    this.onRefused();
  }

  letGo(item) {
    localStorage.removeItem(`${REFUSED}:${this.surveyId}:${item.id}`);
    if (item.kind === "photos") dropPhoto(item.id);
    this.onRefused();
  }

  sendElsewhere(item, body) {
    localStorage.removeItem(`${REFUSED}:${this.surveyId}:${item.id}`);
    this.add(item.kind, item.id, body);
    this.onRefused();
  }

  async drain() {
    if (this.busy) return;
    this.busy = true;
    clearTimeout(this.timer);
    try {
      while (this.items.length) {
        const item = this.items[0];
        try {
          const told = await this.sent(item);
          const wasAway = Boolean(this.trouble);
          this.trouble = null;
          this.wait = SOON_MS;
          this.drop(item);
          this.onTaken(item, told, wasAway);
        } catch (error) {
          if (isAway(error) || isStranger(error)) {
            this.trouble = error;
            this.timer = setTimeout(() => this.drain(), this.wait);
            this.wait = Math.min(this.wait * 1.6, SLOWEST_MS);
            this.onChange(this.items.length, error);
            return;
          }
          this.putAside(item, error);
        }
      }
    } finally {
      this.busy = false;
    }
  }

  async sent(item) {
    if (item.kind !== "photos") return send("POST", `${this.base}/${item.kind}`, item.body, { patienceMs: PATIENCE_MS });
    const form = new FormData();
    const picture = await heldPhoto(item.id);
    if (!picture) return { lost: true };
    form.append("file", picture, "photo.jpg");
    form.append("id", item.id);
    for (const [name, value] of Object.entries(item.body)) form.append(name, value);
    const told = await send("POST", `${this.base}/photos`, form, { patienceMs: 4 * PATIENCE_MS });
    await dropPhoto(item.id);
    return told;
  }
}
