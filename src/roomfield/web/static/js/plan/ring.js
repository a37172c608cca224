// The ring around the sheet: what transmits outside, beside, above, below or nobody knows where, always in sight.

import { number, t } from "../words.js";
import { extent } from "./shapes.js";
import { shape } from "../svg.js";

const INSET = 20;
const GAP = 8;

// Emitters that the storeys do not show, each with the direction [deg clockwise from up] or the end of the ring it sits at.
export function outsiders(doc) {
  const points = doc.dwelling.walls.flatMap((w) => [w.start, w.end]);
  const [x0, y0, x1, y1] = points.length ? extent(points) : [0, 0, 10, 8];
  const middle = [(x0 + x1) / 2, (y0 + y1) / 2];
  const floors = doc.dwelling.storeys.map((s) => s.floor_m);
  const ceilings = doc.dwelling.storeys.map((s) => s.ceiling_m);
  const found = [];
  for (const emitter of doc.emitters) {
    const seat = seatOf(emitter, { box: [x0 - 1, y0 - 1, x1 + 1, y1 + 1], middle, low: Math.min(...floors) - 0.2, high: Math.max(...ceilings) + 0.2 });
    if (seat) found.push({ emitter, ...seat });
  }
  return together(found);
}

function seatOf(emitter, { box, middle, low, high }) {
  const at = emitter.position;
  if (!at) return emitter.bearing_deg === null || emitter.bearing_deg === undefined ? { seat: "somewhere" } : { seat: "far", degrees: emitter.bearing_deg, distance: null };
  const [dx, dy] = [at[0] - middle[0], at[1] - middle[1]];
  const beside = at[0] < box[0] || at[0] > box[2] || at[1] < box[1] || at[1] > box[3];
  if (beside) return { seat: "far", degrees: (Math.atan2(dx, dy) * 180) / Math.PI, distance: Math.hypot(dx, dy), height: at[2] };
  if (at[2] > high) return { seat: "above", height: at[2] };
  return at[2] < low ? { seat: "below", height: at[2] } : null;
}

// Bands of one mast share a seat.
function together(found) {
  const seats = new Map();
  for (const one of found) {
    const key = one.seat === "far" ? `far ${Math.round(one.degrees)} ${one.distance === null ? "" : Math.round(one.distance)}` : one.seat === "somewhere" ? one.emitter.id : `${one.seat} ${one.emitter.position}`;
    if (seats.has(key)) seats.get(key).emitters.push(one.emitter);
    else seats.set(key, { ...one, emitters: [one.emitter] });
  }
  return [...seats.values()];
}

export function nameOf({ emitters }) {
  const [first, ...more] = emitters;
  const stem = more.length ? commonStem(emitters.map((e) => e.name)) : first.name;
  return more.length ? `${stem} ×${emitters.length}` : stem;
}

function commonStem(names) {
  let stem = names[0];
  while (stem && !names.every((name) => name.startsWith(stem))) stem = stem.slice(0, -1);
  return stem.replace(/[\s,;:·-]+$/, "").replace(/\s+\d*$/, "") || names[0];
}

export function farWords({ seat, distance, height }) {
  if (seat === "far") return distance === null ? t("direction only") : t("{distance} m, {height} m up", { distance: number(distance, 2), height: number(height, 2) });
  if (seat === "above") return t("above, at {height} m", { height: number(height, 2) });
  if (seat === "below") return t("below, at {height} m", { height: number(height, 2) });
  return t("place not known");
}

// Its shapes, and the boxes of its words in pixels of the sheet.
export function drawRing(view) {
  const { x, y, width, height } = view.box;
  const pixel = view.pixel;
  const [wide, high] = [width / pixel - (view.cover?.() ?? 0), height / pixel];
  const frame = shape("rect", { class: "ring", x: INSET, y: INSET, width: Math.max(0, wide - 2 * INSET), height: Math.max(0, high - 2 * INSET), rx: 26 });
  const seats = outsiders(view.doc);
  const counts = { above: 0, below: 0, somewhere: 0 };
  const { corner } = view;
  const taken = [[wide - corner.wide, high - corner.high, wide, high]];
  const marks = seats.map((one) => seatShape(view, one, placeOnRing(one, wide, high, counts, corner), taken));
  const [left, top] = [x / pixel, y / pixel];
  return {
    shapes: [shape("g", { transform: `translate(${x} ${y}) scale(${pixel})` }, frame, ...marks)],
    written: taken.map((box) => [box[0] + left, box[1] + top, box[2] + left, box[3] + top]),
  };
}

// Half of what the words of a seat take, in pixels.
function halfWidth(one) { return Math.max(nameOf(one).length, farWords(one).length) * 3; }

function placeOnRing(one, wide, high, counts, corner) {
  if (one.seat !== "far") {
    const n = counts[one.seat];
    counts[one.seat] += 1;
    if (one.seat === "above") return [wide / 2 + n * 44, INSET];
    if (one.seat === "below") return [wide / 2 + n * 44, high - INSET];
    return [wide - Math.max(140, corner.wide + halfWidth(one) + GAP) - n * 44, high - INSET];
  }
  const angle = (one.degrees * Math.PI) / 180;
  const [dx, dy] = [Math.sin(angle), -Math.cos(angle)];
  const [halfX, halfY] = [wide / 2 - INSET, high / 2 - INSET];
  const reach = Math.min(halfX / Math.max(1e-6, Math.abs(dx)), halfY / Math.max(1e-6, Math.abs(dy)));
  return [wide / 2 + dx * reach, high / 2 + dy * reach];
}

function seatShape(view, one, [x, y], taken) {
  const first = one.emitters[0];
  const chosen = one.emitters.some((e) => view.chosen.has(`emitters:${e.id}`));
  const off = one.emitters.every((e) => view.hidden.has(e.id));
  const [wide, high] = [view.box.width / view.pixel - (view.cover?.() ?? 0), view.box.height / view.pixel];
  const group = shape("g", { class: `seat${chosen ? " chosen" : ""}${off ? " off" : ""}`, transform: `translate(${x} ${y})`, "data-kind": "emitters", "data-id": first.id, "data-seat": one.seat });
  const glyph = one.seat === "far" ? shape("path", { class: "glyph", d: "M0-9V9M-5 9H5M-6-9a8 8 0 0 1 12 0M-3-5a4 4 0 0 1 6 0", transform: "scale(0.85)" }) : shape("path", { class: "glyph", d: { above: "M0 6V-5M-5 0 0-5 5 0", below: "M0-6V5M-5 0 0 5 5 0", somewhere: "M-3-3a3.500 3.500 0 1 1 4.500 3.300Q0 1 0 3M0 6v.4" }[one.seat] });
  group.append(shape("circle", { class: "grip", r: 22 }), shape("circle", { class: "plate", r: 12 }), glyph);
  const anchor = x < 80 ? "start" : x > wide - 80 ? "end" : "middle";
  const dx = { start: -12, end: 12, middle: 0 }[anchor];
  const under = y < high / 2;
  const lines = [nameOf(one), farWords(one)];
  const half = halfWidth(one);
  const from = { start: x - 12, middle: x - half, end: x + 12 - 2 * half }[anchor];
  const box = [from, y + (under ? 14 : -40), from + 2 * half, y + (under ? 40 : -14)];
  const free = chosen || (!view.quiet && !taken.some((b) => b[0] < box[2] && b[2] > box[0] && b[1] < box[3] && b[3] > box[1]));
  if (free) taken.push(box);
  for (const [n, words] of (free ? lines : []).entries()) {
    const label = shape("text", { class: n ? "minor" : "", x: dx, y: (under ? 25 : -28) + n * 12, "font-size": n ? 10 : 11, "text-anchor": anchor });
    label.textContent = words;
    group.append(label);
  }
  const title = shape("title");
  title.textContent = one.emitters.map((e) => e.name).join(", ");
  group.append(title);
  return group;
}
