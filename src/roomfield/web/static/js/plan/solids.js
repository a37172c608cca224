// Slabs, furniture and fitted shields: how they are made and changed. Plain changes of the plan's document.

import { extent, round } from "./shapes.js";

const USUAL_SHEET = { name: "", attenuation: [[1e9, 30]], standard: "", std_db: 3, conductive: true };

// A slab over the storey, unless the storey has one already; then one under it.
export function makeSlab(storey, outline, slabs, id) {
  const layers = [{ material: "concrete", thickness_m: 0.18 }];
  const above = slabs.some((slab) => isAbove(slab, storey) && covers(slab, outline));
  const height = above ? storey.floor_m - 0.09 : storey.ceiling_m + 0.09;
  return { id, height_m: round(height, 0.001), layers, outlines: [outline], shields: [] };
}

export function makeBox(storey, [x0, y0, x1, y1], name, id) {
  return {
    id, name, low: [x0, y0, storey.floor_m], high: [x1, y1, round(storey.floor_m + 1.8, 0.001)],
    panel: { material: "wood", thickness_m: 0.018 },
  };
}

export const makeShield = () => ({ sheet: structuredClone(USUAL_SHEET), part: "whole", opening_ids: [], coverage: 1 });

// A slab belongs to the storey whose ceiling or floor it is.
export function slabsOf(doc, storey) {
  return storey ? doc.dwelling.slabs.filter((slab) => isAbove(slab, storey) || isUnder(slab, storey)) : [];
}
export const isAbove = (slab, storey) => Math.abs(slab.height_m - storey.ceiling_m) < 0.6 && slab.height_m > storey.floor_m + 1;
export const isUnder = (slab, storey) => Math.abs(slab.height_m - storey.floor_m) < 0.6;
export const boxesOf = (doc, storey) => (storey ? doc.dwelling.furniture.filter((box) => box.low[2] < storey.ceiling_m && box.high[2] > storey.floor_m) : []);

export const boxOutline = (box) => [[box.low[0], box.low[1]], [box.high[0], box.low[1]], [box.high[0], box.high[1]], [box.low[0], box.high[1]]];

export function moveSlab(slab, [dx, dy]) {
  slab.outlines = slab.outlines.map((outline) => outline.map(([x, y]) => [round(x + dx, 0.001), round(y + dy, 0.001)]));
}

export function moveSlabCorner(slab, n, to) {
  let at = n;
  for (const outline of slab.outlines) {
    if (at < outline.length) { outline[at] = to; return; }
    at -= outline.length;
  }
}

export function moveBox(box, [dx, dy]) {
  for (const end of [box.low, box.high]) {
    end[0] = round(end[0] + dx, 0.001);
    end[1] = round(end[1] + dy, 0.001);
  }
}

// Corners are numbered as in the outline; the opposite one stays where it is.
export function moveBoxCorner(box, n, [x, y]) {
  const still = boxOutline(box)[(n + 2) % 4];
  if (Math.abs(x - still[0]) < 0.05 || Math.abs(y - still[1]) < 0.05) return n;
  box.low = [Math.min(x, still[0]), Math.min(y, still[1]), box.low[2]];
  box.high = [Math.max(x, still[0]), Math.max(y, still[1]), box.high[2]];
  return boxOutline(box).findIndex((corner) => corner[0] === x && corner[1] === y);
}

function covers(slab, outline) {
  const [x0, y0, x1, y1] = extent(slab.outlines.flat());
  const [a0, b0, a1, b1] = extent(outline);
  return Math.min(x1, a1) - Math.max(x0, a0) > 0.1 && Math.min(y1, b1) - Math.max(y0, b0) > 0.1;
}
