// Chains of measures along two edges of the drawing; each length is pressed and typed over.

import { element } from "../element.js";
import { shape } from "../svg.js";
import { metres, t } from "../words.js";
import { chain, stretch } from "./measures.js";
import { beside } from "./offer.js";
import { extent } from "./shapes.js";

export class Chains {
  constructor({ view, book, state, holder }) {
    Object.assign(this, { view, book, state, holder });
  }

  parts() {
    return [...chain(this.book.doc, this.state.storeyId, 0), ...chain(this.book.doc, this.state.storeyId, 1)];
  }

  draw(layer) {
    const walls = this.book.doc.dwelling.walls.filter((w) => w.storey_id === this.state.storeyId);
    if (!walls.length) return;
    const [x0, y0] = extent(walls.flatMap((w) => [w.start, w.end]));
    const pixel = this.view.metresPerPixel;
    const off = 24 * pixel;
    this.parts().forEach((part, n) => {
      const at = (v) => (part.axis ? [x0 - off, v] : [v, y0 - off]);
      const [a, b] = [at(part.from), at(part.to)];
      const tick = part.axis ? `h${8 * pixel}` : `v${8 * pixel}`;
      const back = part.axis ? [-4 * pixel, 0] : [0, -4 * pixel];
      const group = shape("g", { class: "chain", "data-kind": "chain", "data-id": n });
      const middle = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
      const turn = part.axis ? ` rotate(-90)` : "";
      const words = shape("text", { "font-size": 11, "text-anchor": "middle", y: -5, transform: `translate(${middle[0]} ${-middle[1]}) scale(${pixel})${turn}` });
      words.textContent = metres(part.to - part.from);
      group.append(
        shape("path", { d: `M${a[0]} ${-a[1]}L${b[0]} ${-b[1]}M${a[0] + back[0]} ${-a[1] + back[1]}${tick}M${b[0] + back[0]} ${-b[1] + back[1]}${tick}` }),
        words,
        shape("path", { class: "grip", d: `M${a[0]} ${-a[1]}L${b[0]} ${-b[1]}`, "stroke-width": 30 * pixel }),
      );
      layer.append(group);
    });
  }

  // A field on the sheet where the length stands; Enter takes it, Escape leaves it.
  open(n, event) {
    const part = this.parts()[n];
    if (!part) return;
    this.close();
    const field = element("input", { class: "chain-field", inputmode: "decimal", value: metres(part.to - part.from), "aria-label": t("Clear width in metres") });
    const take = () => {
      if (this.field !== field) return; // it was left or taken already
      const wanted = Number(field.value.replace(",", "."));
      const by = wanted - (part.to - part.from);
      this.close();
      if (wanted > 0.2 && wanted < 200 && Math.abs(by) > 0.0005) this.book.edit((doc) => stretch(doc, this.state.storeyId, part.axis, part.line, by));
    };
    field.addEventListener("keydown", (event) => {
      event.stopPropagation();
      if (event.key === "Enter") take();
      if (event.key === "Escape") this.close();
    });
    field.addEventListener("change", take);
    this.field = field;
    const box = element("label", { class: "chain-box" }, element("span", {}, t("Clear width")), field, "m");
    this.holder.append(box);
    beside(box, this.holder, event);
    field.select();
  }

  close() {
    this.field = null; // before it goes, for it tells of a change as it goes
    this.holder.querySelector(".chain-box")?.remove();
  }
}
