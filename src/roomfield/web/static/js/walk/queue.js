// Entries on their way to the record: written down in this browser first, sent until the server has them.

import { send } from "../door.js";

const AGAIN_MS = 1500;

export class Queue {
  constructor(surveyId, { onTaken, onRefused, onChange }) {
    this.key = `walk:${surveyId}`;
    this.address = `/api/v1/surveys/${surveyId}/readings`;
    Object.assign(this, { onTaken, onRefused, onChange });
    this.entries = JSON.parse(localStorage.getItem(this.key) ?? "[]");
  }

  add(entry) {
    this.entries.push(entry);
    this.keep();
    this.drain();
  }

  keep() {
    localStorage.setItem(this.key, JSON.stringify(this.entries));
    this.onChange(this.entries.length);
  }

  async drain() {
    if (this.busy) return;
    this.busy = true;
    clearTimeout(this.timer);
    try {
      while (this.entries.length) {
        const entry = this.entries[0];
        try {
          const told = await send("POST", this.address, entry);
          this.entries.shift();
          this.keep();
          this.onTaken(entry, told);
        } catch (error) {
          if (error.status === 0 || error.status >= 500 || error.status === 403) {
            this.timer = setTimeout(() => this.drain(), AGAIN_MS);
            this.onChange(this.entries.length, error);
            return;
          }
          this.entries.shift();
          this.keep();
          this.onRefused(entry, error);
        }
      }
    } finally {
      this.busy = false;
    }
  }
}
