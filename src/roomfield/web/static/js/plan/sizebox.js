// "4.2 x 3.6": the clear size of what is being drawn, typed on the sheet while its outline follows.

import { element } from "../element.js";
import { t } from "../words.js";
import { beside } from "./offer.js";

const figure = (text) => Number(text.replace(",", "."));

export class SizeBox {
  constructor({ holder, onSize, onTake, onLeave }) {
    Object.assign(this, { holder, onSize, onTake, onLeave });
    this.node = null;
  }

  open(event, [wide, deep], words, { focus = true } = {}) {
    this.close();
    const field = (label, value) => element("input", { class: "size-field", inputmode: "decimal", autocomplete: "off", value, "aria-label": t(label) });
    this.fields = [field("Clear width in metres", wide), field("Clear depth in metres", deep)];
    this.node = element("form", { class: "size-box", "data-live": true },
      this.fields[0], element("span", { "aria-hidden": "true" }, "×"), this.fields[1], element("span", {}, "m"),
      element("button", { class: "button main slim" }, t("Draw it")),
      element("p", { class: "soft small" }, words));
    this.node.addEventListener("submit", (submit) => { submit.preventDefault(); if (this.size) this.onTake(this.size); });
    this.node.addEventListener("input", () => this.typed());
    this.node.addEventListener("keydown", (key) => {
      key.stopPropagation();
      if (key.key === "Escape") this.onLeave();
      // The sign between two figures leads to the second one.
      if (/^[x×*]$/i.test(key.key)) { key.preventDefault(); this.fields[1].select(); }
    });
    this.holder.append(this.node);
    beside(this.node, this.holder, event);
    if (focus) this.fields[0].select();
    this.typed();
  }

  get size() {
    const [wide, deep] = this.fields.map((one) => figure(one.value));
    return wide > 0 && deep > 0 ? [wide, deep] : null;
  }

  typed() { if (this.size) this.onSize(this.size); }

  close() {
    this.node?.remove();
    this.node = null;
  }
}
