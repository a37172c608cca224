// Measures as a laser gives them: clear widths between wall faces, typed and drawn as chains along the sheet.

import { distance, foot, round } from "./shapes.js";

const NEAR_M = 0.05;
const LEAST_M = 0.3;
const SIZE = /^\s*(\d+(?:[.,]\d*)?)\s*[x×*]\s*(\d+(?:[.,]\d*)?)\s*m?\s*$/i;

export const thickness = (wall) => wall.layers.reduce((sum, layer) => sum + layer.thickness_m, 0);

// "4.2 x 3.6" as two lengths in metres; null if it is none.
export function sizeIn(text) {
  const found = SIZE.exec(text);
  const [a, b] = found ? [found[1], found[2]].map((part) => Number(part.replace(",", "."))) : [0, 0];
  return a > 0 && b > 0 ? [a, b] : null;
}

// Thickness of the wall that stands along an edge; what a new wall would have if none does.
export function edgeThickness(doc, storeyId, a, b, fresh = 0) {
  const wall = doc.dwelling.walls.find((w) => w.storey_id === storeyId && foot(a, w.start, w.end).gap < NEAR_M && foot(b, w.start, w.end).gap < NEAR_M);
  return wall ? thickness(wall) : fresh;
}

export function rectangle(outline) {
  if (outline.length !== 4) return null;
  const xs = [...new Set(outline.map((p) => round(p[0], 0.001)))].sort((a, b) => a - b);
  const ys = [...new Set(outline.map((p) => round(p[1], 0.001)))].sort((a, b) => a - b);
  return xs.length === 2 && ys.length === 2 ? [xs[0], ys[0], xs[1], ys[1]] : null;
}

const sides = ([x0, y0, x1, y1]) => ({ left: [[x0, y0], [x0, y1]], right: [[x1, y0], [x1, y1]], low: [[x0, y0], [x1, y0]], high: [[x0, y1], [x1, y1]] });

// Half the walls on both sides, in x and in y: what the clear size of a box is short of its centre lines.
export function wallsOff(doc, storeyId, box, fresh = 0) {
  const { left, right, low, high } = sides(box);
  const half = (edge) => edgeThickness(doc, storeyId, ...edge, fresh) / 2;
  return [half(left) + half(right), half(low) + half(high)];
}

export function clearSize(doc, storeyId, box, fresh = 0) {
  const [offX, offY] = wallsOff(doc, storeyId, box, fresh);
  return [round(box[2] - box[0] - offX, 0.001), round(box[3] - box[1] - offY, 0.001)];
}

// Everything on a storey beyond a line moves along, so that one clear width changes and all others stay.
export function stretch(doc, storeyId, axis, beyond, by) {
  const storey = doc.dwelling.storeys.find((s) => s.id === storeyId);
  const shift = (p) => (p[axis] > beyond - 0.005 ? p.map((v, i) => (i === axis ? round(v + by, 0.001) : v)) : p);
  for (const wall of doc.dwelling.walls) {
    if (wall.storey_id !== storeyId) continue;
    wall.start = shift(wall.start);
    wall.end = shift(wall.end);
  }
  for (const room of doc.dwelling.rooms) if (room.storey_id === storeyId) room.outline = room.outline.map(shift);
  for (const place of doc.places) if (place.storey_id === storeyId && place.position) place.position = shift(place.position);
  const here = (z) => z >= storey.floor_m - 0.2 && z < storey.ceiling_m + 0.2;
  for (const emitter of doc.emitters) if (emitter.position && !emitter.outdoor && here(emitter.position[2])) emitter.position = shift(emitter.position);
  for (const box of doc.dwelling.furniture) {
    if (!here(box.low[2]) || box.low[axis] <= beyond - 0.005) continue;
    box.low = shift(box.low);
    box.high = shift(box.high);
  }
}

// Clear widths along one axis: between faces of the walls that stand across it.
export function chain(doc, storeyId, axis) {
  const across = doc.dwelling.walls.filter((w) => w.storey_id === storeyId && Math.abs(w.start[axis] - w.end[axis]) < 0.02 && distance(w.start, w.end) > LEAST_M);
  const lines = [];
  for (const wall of [...across].sort((a, b) => a.start[axis] - b.start[axis])) {
    const last = lines.at(-1);
    if (last && wall.start[axis] - last.at < NEAR_M) last.thick = Math.max(last.thick, thickness(wall));
    else lines.push({ at: wall.start[axis], thick: thickness(wall) });
  }
  return lines.slice(1).map((line, n) => ({ axis, from: round(lines[n].at + lines[n].thick / 2, 0.001), to: round(line.at - line.thick / 2, 0.001), line: line.at }))
    .filter((part) => part.to - part.from > LEAST_M);
}
