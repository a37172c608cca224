// What is being typed: digits, kind, orientation, and values already waiting in the same entry.

export const KINDS = ["peak", "highest_held", "average"];
export const ORIENTATIONS = ["best_axis", "x", "y", "z", "three_axis_sum"];
export const UNITS = ["µW/m²", "mW/m²", "nW/m²"];

export class Pad {
  constructor(kept = {}) {
    this.digits = kept.digits ?? "";
    this.kind = kept.kind ?? "peak";
    this.unit = kept.unit ?? UNITS[0];
    this.orientation = kept.orientation ?? "best_axis";
    this.waiting = kept.waiting ?? [];
  }

  kept() {
    return { digits: this.digits, kind: this.kind, unit: this.unit, orientation: this.orientation, waiting: this.waiting };
  }

  type(key) {
    if (key === "back") this.digits = this.digits.slice(0, -1);
    else if (key === ".") {
      if (!this.digits.includes(".")) this.digits = `${this.digits || "0"}.`;
    } else if (this.digits.replace(".", "").length < 9) this.digits = this.digits === "0" ? key : this.digits + key;
  }

  clear() {
    this.digits = "";
    this.waiting = [];
  }

  // The value on the display, or a bound; null if there is nothing to take.
  value(censoring = "none") {
    const number = this.digits === "" || this.digits === "." ? null : Number(this.digits);
    if (censoring === "none" && !(number > 0)) return null;
    return { number: censoring === "none" ? number : null, kind: this.kind, censoring, orientation: this.orientation };
  }

  // Puts the value aside and turns to what usually comes next: the next axis, else the next kind.
  aside(censoring = "none") {
    const value = this.value(censoring);
    if (!value) return false;
    this.waiting.push(value);
    this.digits = "";
    const axis = ["x", "y", "z"].indexOf(this.orientation);
    if (axis >= 0 && axis < 2) this.orientation = ["x", "y", "z"][axis + 1];
    else if (axis < 0) this.kind = KINDS[(KINDS.indexOf(this.kind) + 1) % KINDS.length];
    return true;
  }

  // Everything of this entry, the display included; empties the pad.
  take(censoring = "none") {
    const last = this.value(censoring);
    const values = last ? [...this.waiting, last] : [...this.waiting];
    const first = values[0];
    this.clear();
    if (first) {
      this.kind = first.kind;
      this.orientation = first.orientation;
    }
    return values;
  }
}
