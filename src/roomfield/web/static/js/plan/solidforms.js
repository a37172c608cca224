// Forms for slabs, furniture and fitted shields in the panel.

import { element } from "../element.js";
import { metres, t } from "../words.js";
import { find, storeyOf } from "./items.js";
import { area, round } from "./shapes.js";
import { isUnder, makeShield } from "./solids.js";

const PARTS = { whole: "all of it", masonry: "wall only", openings: "openings only" };

export const slabName = (slab, storey) => t(storey && isUnder(slab, storey) ? "Floor at {height} m" : "Ceiling at {height} m", { height: metres(slab.height_m, 2) });

export function slabForm(panel, slab, edit, id) {
  const total = slab.outlines.reduce((sum, outline) => sum + area(outline), 0);
  const thick = slab.layers.reduce((sum, layer) => sum + layer.thickness_m, 0);
  return [
    panel.field("Height of its middle", slab.height_m, (doc, v) => { if (v !== null) find(doc, "slabs", id).height_m = v; }, { type: "number", unit: "m" }),
    panel.layerTable(slab, "slabs", id, "Layers"),
    element("p", { class: "soft" }, t("{area} m², {thick} cm thick", { area: metres(total, 1), thick: metres(thick * 100, 1) })),
    shieldForms(panel, slab, "slabs", id),
  ];
}

export function boxForm(panel, box, edit, id) {
  const floor = storeyOf(panel.book.doc, panel.state.storeyId)?.floor_m ?? 0;
  const one = (end, axis, base = 0) => (doc, v) => {
    if (v === null) return false;
    const target = find(doc, "furniture", id);
    const value = round(v + base, 0.001);
    if (end === "low" ? value >= target.high[axis] : value <= target.low[axis]) return false;
    target[end][axis] = value;
    return undefined;
  };
  const figure = (label, end, axis, base = 0) => panel.field(label, round(box[end][axis] - base, 0.001), one(end, axis, base), { type: "number", unit: "m" });
  return [
    panel.field("Name", box.name, edit("name"), { name: true }),
    panel.field("Material of its panels", box.panel.material, (doc, v) => { find(doc, "furniture", id).panel.material = v; }, { options: Object.fromEntries(panel.materials.map((m) => [m.key, m.name])) }),
    panel.field("Thickness of its panels", round(box.panel.thickness_m * 1000, 0.01), (doc, v) => { if (v > 0) find(doc, "furniture", id).panel.thickness_m = v / 1000; }, { type: "number", unit: "mm", min: "0.01" }),
    element("div", { class: "fields" },
      figure("Lower edge", "low", 2, floor), figure("Upper edge", "high", 2, floor),
      figure("West", "low", 0), figure("East", "high", 0), figure("South", "low", 1), figure("North on the plan", "high", 1)),
  ];
}

// What is fitted on a surface already; what may be fitted is tried under What if.
export function shieldForms(panel, surface, kind, id) {
  const at = (doc, n) => find(doc, kind, id).shields[n];
  const add = element("button", { type: "button", class: "button slim", onclick: () => panel.book.edit((doc) => { find(doc, kind, id).shields.push(makeShield()); }) }, t("A shield is fitted here"));
  return element("div", { class: "shields" }, element("p", { class: "label" }, t("Shields in place")),
    ...surface.shields.map((shield, n) => oneShield(panel, shield, n, kind, (doc) => at(doc, n), () => panel.book.edit((doc) => { find(doc, kind, id).shields.splice(n, 1); }))), add);
}

function oneShield(panel, shield, n, kind, target, away) {
  const { sheet } = shield;
  const rows = sheet.attenuation.map(([frequency, amount], row) => element("div", { class: "layer-row" },
    element("input", { type: "number", inputmode: "decimal", step: "any", min: "0.001", value: round(frequency / 1e6, 0.001), "aria-label": t("Frequency in MHz, row {n}", { n: row + 1 }),
      onchange: (e) => Number(e.target.value) > 0 && panel.book.edit((doc) => sorted(target(doc), (pairs) => { pairs[row][0] = Number(e.target.value) * 1e6; })) }),
    element("input", { type: "number", inputmode: "decimal", step: "any", min: "0", value: amount, "aria-label": t("Attenuation in dB, row {n}", { n: row + 1 }),
      onchange: (e) => Number(e.target.value) >= 0 && panel.book.edit((doc) => { target(doc).sheet.attenuation[row][1] = Number(e.target.value); }) }),
    element("span", { class: "soft" }, "dB"),
    sheet.attenuation.length > 1 ? element("button", { type: "button", class: "plain-button", "aria-label": t("Take out row {n}", { n: row + 1 }), onclick: () => panel.book.edit((doc) => { target(doc).sheet.attenuation.splice(row, 1); }) }, "×") : null));
  const more = element("button", { type: "button", class: "button slim", onclick: () => panel.book.edit((doc) => { const pairs = target(doc).sheet.attenuation; const [f, a] = pairs.at(-1); pairs.push([f * 2, a]); }) }, t("One more frequency"));
  const label = (words) => `${words} ${n + 1}`;
  const field = (words, ...rest) => numbered(panel.field(words, ...rest), label(words));
  return element("fieldset", { class: "shield" }, element("legend", {}, t("Shield {n}", { n: n + 1 })),
    field("What it is", sheet.name, (doc, v) => { target(doc).sheet.name = v; }),
    kind === "walls" ? field("It covers", shield.part, (doc, v) => { target(doc).part = v; }, { options: PARTS }) : null,
    field("Share of the area truly covered", round(shield.coverage * 100, 0.1), (doc, v) => { if (v > 0 && v <= 100) target(doc).coverage = v / 100; }, { type: "number", unit: "%", min: "0.1" }),
    element("p", { class: "label" }, t("Attenuation as measured"), element("span", { class: "soft" }, " MHz, dB")), ...rows, more,
    field("Measured after", sheet.standard, (doc, v) => { target(doc).sheet.standard = v; }, { hint: "For example IEEE 299; empty if the maker names none." }),
    field("Its standard uncertainty", sheet.std_db, (doc, v) => { if (v > 0) target(doc).sheet.std_db = v; }, { type: "number", unit: "dB", min: "0" }),
    numbered(panel.tick("Electrically conductive, so it is to be earthed", sheet.conductive, (doc, v) => { target(doc).sheet.conductive = v; }), label("conductive")),
    element("button", { type: "button", class: "button slim", onclick: away }, t("Take this shield out")));
}

function sorted(shield, change) {
  change(shield.sheet.attenuation);
  shield.sheet.attenuation.sort((a, b) => a[0] - b[0]);
}

// Several shields have the same fields: ids of their own keep labels and inputs together.
function numbered(node, words) {
  const input = node.querySelector("input, select");
  const id = `field-${words.replace(/\W+/g, "-").toLowerCase()}`;
  (node.matches("label") ? node : node.querySelector("label")).htmlFor = id;
  input.id = id;
  return node;
}
