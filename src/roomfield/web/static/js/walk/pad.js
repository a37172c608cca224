// The entry line being filled in: "highest seen __ in __ s", "second's mean __", and the axes already read.

export const HIGH_KINDS = ["highest_held", "peak"];
export const ORIENTATIONS = ["best_axis", "x", "y", "z", "three_axis_sum"];
export const UNITS = ["µW/m²", "mW/m²", "nW/m²"];
const AXES = ["x", "y", "z"];
const EMPTY = { high: "", mean: "" };

export class Pad {
  constructor(kept = {}) {
    this.blanks = { ...EMPTY, ...kept.blanks };
    this.seconds = kept.seconds ?? "60";
    this.at = kept.at ?? "high";
    this.kind = kept.kind ?? HIGH_KINDS[0];
    this.unit = kept.unit ?? UNITS[0];
    this.orientation = kept.orientation ?? ORIENTATIONS[0];
    this.waiting = kept.waiting ?? [];
    this.withMean = kept.withMean ?? true;
  }

  kept() {
    const { blanks, seconds, at, kind, unit, orientation, waiting, withMean } = this;
    return { blanks, seconds, at, kind, unit, orientation, waiting, withMean };
  }

  get digits() { return this.at === "seconds" ? this.seconds : this.blanks[this.at]; }

  set digits(text) {
    if (this.at === "seconds") this.seconds = text;
    else this.blanks[this.at] = text;
  }

  go(blank) {
    this.at = blank;
    this.fresh = blank === "seconds";
  }

  type(key) {
    const before = this.fresh && key !== "back" ? "" : this.digits;
    this.fresh = false;
    if (key === "back") this.digits = before.slice(0, -1);
    else if (key === ".") {
      if (!before.includes(".")) this.digits = `${before || "0"}.`;
    } else if (before.replace(".", "").length < 9) this.digits = before === "0" ? key : before + key;
  }

  // Whether Enter goes on to the mean: it does as long as the line before was filled in so.
  get leadsToMean() { return this.at === "high" && Number(this.blanks.high) > 0 && !this.blanks.mean && this.withMean; }

  // Goes to the next blank of the line; false if the line is at its end and wants to be kept.
  next() {
    if (this.at === "seconds") { this.go(this.blanks.high ? "mean" : "high"); return true; }
    if (this.leadsToMean) { this.go("mean"); return true; }
    const axis = AXES.indexOf(this.orientation);
    if (axis >= 0 && axis < 2 && this.values().length) {
      this.waiting.push(...this.values());
      this.orientation = AXES[axis + 1];
      this.clear();
      return true;
    }
    return false;
  }

  value(blank, censoring = "none") {
    const number = Number(this.blanks[blank]);
    if (censoring === "none" && !(number > 0)) return null;
    const kind = blank === "high" ? this.kind : "average";
    const watched = blank === "high" && Number(this.seconds) > 0 ? Number(this.seconds) : null;
    return { number: censoring === "none" ? number : null, kind, censoring, orientation: this.orientation, watched_s: watched };
  }

  values() { return ["high", "mean"].map((blank) => this.value(blank)).filter(Boolean); }

  clear() {
    this.blanks = { ...EMPTY };
    this.at = "high";
  }

  // Everything of this entry; a bound stands for the blank that is being filled. Empties the line.
  take(censoring = "none") {
    const typed = this.values();
    const blank = this.at === "seconds" ? "high" : this.at;
    const bound = censoring === "none" ? [] : [this.value(blank, censoring)];
    const values = [...this.waiting, ...(bound.length ? typed.filter((v) => v.kind !== bound[0].kind) : typed), ...bound];
    this.waiting = [];
    if (this.blanks.high) this.withMean = Boolean(this.blanks.mean);
    if (AXES.includes(this.orientation)) this.orientation = "x";
    this.clear();
    return values;
  }
}
