// What can be done at a point of the sheet: words that come up beside the finger and go again.

import { element } from "../element.js";
import { t } from "../words.js";

const GAP = 14;

export class Offer {
  constructor({ holder, sheet, onWords, onClose }) {
    Object.assign(this, { holder, sheet, onWords, onClose });
    this.node = null;
  }

  get isOpen() { return this.node !== null; }

  // `words` are pairs of what is said and what is done; a null makes a gap. From the keyboard the first word has the focus.
  open(event, title, words, { focus = false } = {}) {
    this.close();
    const pick = (run) => () => { this.close(); run(); };
    this.node = element("div", { class: "offer", role: "group", "aria-label": t("What can be done here") },
      title ? element("p", { class: "offer-title" }, title) : null,
      element("div", { class: "offer-words" }, ...words.map((one) => (one ? element("button", { type: "button", class: "offer-word", onclick: pick(one[1]) }, one[0]) : element("span", { class: "offer-gap" })))));
    this.node.addEventListener("keydown", (key) => this.onKey(key));
    this.holder.append(this.node);
    beside(this.node, this.holder, event);
    this.onWords([title, ...words.filter(Boolean).map(([said]) => said)].filter(Boolean).join(", "));
    if (focus) this.node.querySelector("button").focus();
  }

  onKey(event) {
    event.stopPropagation();
    const all = [...this.node.querySelectorAll("button")];
    const at = all.indexOf(document.activeElement);
    const step = { ArrowDown: 1, ArrowRight: 1, ArrowUp: -1, ArrowLeft: -1 }[event.key];
    if (step) { event.preventDefault(); all[(at + step + all.length) % all.length].focus(); }
    if (event.key === "Escape") { this.close(); this.sheet.focus({ preventScroll: true }); }
  }

  close() {
    if (!this.node) return;
    const within = this.node.contains(document.activeElement);
    this.node.remove();
    this.node = null;
    if (within) this.sheet.focus({ preventScroll: true });
    this.onClose?.();
  }
}

// Puts a slip to the side of a point of the window that has more room, inside the sheet.
export function beside(node, holder, { clientX, clientY }) {
  const frame = holder.getBoundingClientRect();
  const [x, y] = [clientX - frame.left, clientY - frame.top];
  const [wide, high] = [node.offsetWidth, node.offsetHeight];
  const side = x + GAP + wide <= frame.width ? x + GAP : x - GAP - wide >= 0 ? x - GAP - wide : null;
  // On a narrow sheet it lies over the finger, not under the hand, as long as there is room.
  const over = y - 2 * GAP - high >= 0 ? y - 2 * GAP - high : y + 2 * GAP;
  const said = holder.querySelector(".in-hand:not([hidden])");
  const least = said ? said.offsetTop + said.offsetHeight + 4 : 4;
  node.style.left = `${Math.max(4, Math.min(frame.width - wide - 4, side ?? x - wide / 2))}px`;
  node.style.top = `${Math.max(least, Math.min(frame.height - high - 4, side === null ? over : y - high / 3))}px`;
}
