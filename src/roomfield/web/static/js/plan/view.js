// The plan as a picture: pan, zoom, and one layer per kind of thing. Shared by every page with a plan.

import { shape } from "../svg.js";
import { metres, t } from "../words.js";
import { along, area, centre, distance, extent, inside } from "./shapes.js";
import { drawRing } from "./ring.js";
import { boxOutline, boxesOf, slabsOf } from "./solids.js";

const GLYPHS = {
  bed: "M-9 6V-6M-9 3H9V0a3 3 0 0 0-3-3H-3V3M9 3v3M-6.500-1.500a1.500 1.500 0 1 0 .01 0",
  cot: "M-8-6V7M8-6V7M-8 4H8M-8-2H8M-4-2v6M0-2v6M4-2v6",
  desk: "M-9-3H9M-7-3V7M7-3V7M1-3V2H7",
  sofa: "M-9-1v7H9V-1M-6 2V-5H6V2M-9-1a1.500 1.500 0 0 1 3 0v3H6v-3a1.500 1.500 0 0 1 3 0",
  table: "M-9-4H9M-6-4-8 7M6-4 8 7",
  play: "M-6 6V-2H2V6zM-2-2V-8H6V0H2",
  other: "M0 7V1M0-3a2 2 0 1 0-.01 0M-6 7H6",
  emitter: "M0 8V0M-4-4a5.500 5.500 0 0 1 8 0M-7-7a10 10 0 0 1 14 0M-2-1a2 2 0 1 0 4 0a2 2 0 1 0-4 0",
};

const path = (points, closed = true) => points.map((p, i) => `${i ? "L" : "M"}${p[0]} ${-p[1]}`).join("") + (closed ? "Z" : "");
// Where a mark's name may stand, the best first, in pixels from its middle.
const LABEL_SPOTS = [{ dx: 0, dy: 28, anchor: "middle" }, { dx: 0, dy: -20, anchor: "middle" }, { dx: 1, dy: 4, anchor: "start" }, { dx: -1, dy: 4, anchor: "end" }]; // dx: to which side of the plate
const BESIDE = 5; // pixels between a plate and the words beside it
const LIFT = 62; // pixels that a number is held over the finger which drags it
// Thin walls first, so that they end inside the thick ones they meet.
const inDrawingOrder = (walls) => [...walls].sort((a, b) => thickness(a) - thickness(b));
const thickness = (wall) => wall.layers.reduce((sum, layer) => sum + layer.thickness_m, 0) || 0.1;

export function pictureCorners(image, [width, height]) {
  const angle = (image.rotation_deg * Math.PI) / 180;
  const [cos, sin, scale] = [Math.cos(angle), Math.sin(angle), image.metres_per_pixel];
  return [[0, 0], [width, 0], [width, height], [0, height]].map(([x, y]) => [image.origin[0] + (x * cos - y * sin) * scale, image.origin[1] + (x * sin + y * cos) * scale]);
}

export class PlanView {
  constructor(svg, { label = "" } = {}) {
    this.svg = svg;
    this.box = { x: -1, y: -9, width: 12, height: 10 };
    this.chosen = new Set();
    this.hidden = new Set();
    this.numbers = null;
    this.bearings = [];
    this.layers = {};
    for (const name of ["frame", "image", "under", "rooms", "shade", "walls", "over", "ways", "ring", "emitters", "places", "marks", "draft"]) {
      this.layers[name] = shape("g", { class: `layer-${name}` });
      svg.append(this.layers[name]);
    }
    if (label) svg.setAttribute("aria-label", label);
    new ResizeObserver(() => {
      if (!this.doc) return;
      if (this.framed && !this.touched) this.frame(this.framed);
      else this.refit();
    }).observe(svg);
  }

  // A sheet lower than two fingers leaves the ring away: the places need the room.
  get ringed() { return this.ring !== false && (this.svg.clientHeight || 400) > 170; }

  get metresPerPixel() {
    return this.box.width / (this.svg.clientWidth || 600);
  }

  show(doc, storeyId) {
    this.doc = doc;
    this.storeyId = storeyId;
    this.draw();
  }

  onStorey() {
    const doc = this.doc;
    const storey = doc.dwelling.storeys.find((s) => s.id === this.storeyId) ?? doc.dwelling.storeys[0];
    const near = (item) => {
      if (item.storey_id) return item.storey_id === storey?.id;
      if (!item.position || !storey) return false;
      const z = item.position[2];
      const lowest = Math.min(...doc.dwelling.storeys.map((s) => s.floor_m));
      return (z >= storey.floor_m - 0.2 && z < storey.ceiling_m + 0.2) || (z < lowest && storey.floor_m === lowest);
    };
    return {
      storey,
      rooms: doc.dwelling.rooms.filter((r) => r.storey_id === storey?.id),
      walls: doc.dwelling.walls.filter((w) => w.storey_id === storey?.id),
      images: doc.dwelling.plan_images.filter((i) => i.storey_id === storey?.id),
      places: doc.places.filter((p) => p.position && near(p)),
      emitters: doc.emitters.filter((e) => e.position && near(e)),
    };
  }

  fit() {
    const { rooms, walls, places, emitters, images } = this.onStorey();
    const points = [
      ...rooms.flatMap((r) => r.outline),
      ...walls.flatMap((w) => [w.start, w.end]),
      ...places.map((p) => p.position),
      ...emitters.filter((e) => !e.outdoor).map((e) => e.position),
    ];
    for (const image of images) {
      const size = this.imageSizes?.get(image.media_sha256);
      if (size) points.push(...pictureCorners(image, size));
    }
    this.frame(extent(points));
  }

  frame(wanted) {
    const [x0, y0, x1, y1] = wanted;
    this.framed = wanted;
    this.touched = false;
    // A slip that lies on the right of the sheet covers part of it.
    const [whole, high] = [this.svg.clientWidth || 600, this.svg.clientHeight || 400];
    const cover = this.cover?.() ?? 0;
    const wide = whole - cover;
    const ratio = high / wide;
    // Room for the ring and its names around the dwelling.
    const [side, top] = !this.ringed ? [0.06, 0.06] : [Math.min(0.16, (this.chained ? 92 : 74) / wide), Math.min(0.24, (this.chained ? 84 : 52) / high)];
    let width = (x1 - x0 + 0.6) / (1 - 2 * side);
    let height = (y1 - y0 + 0.6) / (1 - 2 * top);
    if (height / width < ratio) height = width * ratio;
    else width = height / ratio;
    this.box = { x: (x0 + x1) / 2 - width / 2, y: -(y0 + y1) / 2 - height / 2, width: (width * whole) / wide, height };
    this.draw();
  }

  refit() {
    const ratio = (this.svg.clientHeight || 400) / (this.svg.clientWidth || 600);
    const middle = this.box.y + this.box.height / 2;
    this.box.height = this.box.width * ratio;
    this.box.y = middle - this.box.height / 2;
    this.draw();
  }

  toPlan(event) {
    const frame = this.svg.getBoundingClientRect();
    return [
      this.box.x + ((event.clientX - frame.left) / frame.width) * this.box.width,
      -(this.box.y + ((event.clientY - frame.top) / frame.height) * this.box.height),
    ];
  }

  toScreen([x, y]) {
    const frame = this.svg.getBoundingClientRect();
    return { clientX: frame.left + ((x - this.box.x) / this.box.width) * frame.width, clientY: frame.top + ((-y - this.box.y) / this.box.height) * frame.height };
  }

  pan(dx, dy) {
    this.touched = true;
    this.box.x -= dx * this.metresPerPixel;
    this.box.y -= dy * this.metresPerPixel;
    this.draw();
  }

  zoom(factor, at) {
    this.touched = true;
    const width = Math.min(400, Math.max(0.8, this.box.width * factor));
    const scale = width / this.box.width;
    const [x, y] = at ? [at[0], -at[1]] : [this.box.x + this.box.width / 2, this.box.y + this.box.height / 2];
    this.box = { x: x - (x - this.box.x) * scale, y: y - (y - this.box.y) * scale, width, height: this.box.height * scale };
    this.draw();
  }

  draw() {
    if (!this.doc) return;
    const { x, y, width, height } = this.box;
    this.svg.setAttribute("viewBox", `${x} ${y} ${width} ${height}`);
    this.pixel = this.metresPerPixel;
    const now = this.onStorey();
    this.drawFrame();
    this.layers.image.replaceChildren(...now.images.map((image) => this.imageShape(image)).filter(Boolean));
    this.layers.rooms.replaceChildren(...now.rooms.map((room) => this.roomShape(room)));
    this.layers.walls.replaceChildren(...inDrawingOrder(now.walls).map((wall) => this.wallShape(wall)));
    this.layers.under.replaceChildren(...slabsOf(this.doc, now.storey).filter((s) => this.showSlabs || this.chosen.has(`slabs:${s.id}`)).map((slab) => this.slabShape(slab)));
    this.layers.over.replaceChildren(...this.boxes().map((box) => this.boxShape(box)));
    const on = (item) => ({ id: item.id, x: item.position[0] / this.pixel, y: -item.position[1] / this.pixel });
    const marks = now.emitters.map((e) => ({ ...on(e), half: 14, fixed: true }));
    this.shifts = this.numbers ? apart([...now.places.map((p) => ({ ...on(p), half: this.halfWidth(p) })), ...marks]) : new Map();
    if (this.lifted?.startsWith("places:")) this.shifts.set(this.lifted.slice(7), [0, -LIFT]);
    const ring = this.ringed ? drawRing(this) : { shapes: [], written: [] };
    const labels = this.freeLabels(now, ring.written);
    this.layers.emitters.replaceChildren(...now.emitters.map((emitter) => this.markShape("emitters", emitter, labels)));
    this.layers.places.replaceChildren(...now.places.map((place) => this.markShape("places", place, labels)));
    this.layers.ring.replaceChildren(...ring.shapes);
    this.layers.ways.replaceChildren(...this.bearings.filter((one) => this.isHere(one.position)).flatMap((one) => this.bearingShapes(one)));
    this.onDraw?.(this);
  }

  isHere(position) {
    const { storey } = this.onStorey();
    return position && storey && position[2] >= storey.floor_m - 0.2 && position[2] < storey.ceiling_m + 0.2;
  }

  // Axes of a bearing: strongest drawn through, weakest dashed; each may point both ways.
  bearingShapes({ id, position: [x, y], strongest_deg: strongest, null_deg: weakest }) {
    const reach = Math.max(this.box.width, this.box.height);
    const axis = (degrees, kind) => {
      if (degrees === null || degrees === undefined) return null;
      const [dx, dy] = [Math.sin((degrees * Math.PI) / 180) * reach, Math.cos((degrees * Math.PI) / 180) * reach];
      return shape("path", { class: `bearing ${kind}`, "data-bearing": id, d: `M${x - dx} ${-(y - dy)}L${x + dx} ${-(y + dy)}` });
    };
    return [axis(strongest, "strongest"), axis(weakest, "weakest"), shape("circle", { class: "bearing-point", cx: x, cy: -y, r: 3.5 * this.pixel })].filter(Boolean);
  }

  // Marks whose label fits beside those already written; chosen ones come first, places before emitters, the ring's words before all.
  freeLabels({ places, emitters }, written) {
    const all = [...places.map((item) => ["places", item]), ...emitters.map((item) => ["emitters", item])];
    const first = (key) => (this.chosen.has(key) ? 0 : 1);
    all.sort((a, b) => first(`${a[0]}:${a[1].id}`) - first(`${b[0]}:${b[1].id}`));
    const at = ([, item]) => { const [dx, dy] = this.shifts.get(item.id) ?? [0, 0]; return [item.position[0] / this.pixel + dx, -item.position[1] / this.pixel + dy]; };
    const taken = all.map((one) => { const [x, y] = at(one); const half = this.halfWidth(one[1]); return { of: one[1], box: [x - half, y - 15, x + half, y + 15] }; });
    taken.push(...written.map((box) => ({ of: null, box })));
    const free = new Map();
    const edge = [this.box.x / this.pixel, (this.box.x + this.box.width) / this.pixel];
    for (const one of all) {
      const [kind, item] = one;
      if (this.quiet && !this.chosen.has(`${kind}:${item.id}`)) continue;
      const [x, y] = at(one);
      const wide = item.name.length * 6.6 + 6;
      const spots = LABEL_SPOTS.map((one) => ({ ...one, dx: Math.sign(one.dx) * (this.halfWidth(item) + BESIDE) }));
      const spot = spots.find(({ dx, dy, anchor }) => {
        const left = x + dx - { start: 0, middle: wide / 2, end: wide }[anchor];
        const box = [left, y + dy - 11, left + wide, y + dy + 4];
        if (box[0] < edge[0] || box[2] > edge[1]) return false;
        if (taken.some((t) => t.of !== item && t.box[0] < box[2] && t.box[2] > box[0] && t.box[1] < box[3] && t.box[3] > box[1])) return false;
        taken.push({ of: null, box });
        return true;
      });
      if (spot) free.set(`${kind}:${item.id}`, spot);
    }
    return free;
  }

  // Length of the scale bar [m].
  get barLength() { return this.box.width > 60 ? 10 : this.box.width > 24 ? 5 : 1; }

  // What scale and north take of the sheet's lower right corner, in pixels.
  get corner() { return { wide: 64 + (this.chained ? 0 : this.barLength / this.pixel), high: 62 }; }

  // Scale and north on the margin of the sheet.
  drawFrame() {
    const { x, y, width, height } = this.box;
    const step = this.barLength;
    const bar = shape("g", { class: "scale-bar", transform: `translate(${x + width - (52 + (this.cover?.() ?? 0)) * this.pixel - step} ${y + height - 32 * this.pixel})` });
    bar.append(
      shape("path", { d: `M0 ${-6 * this.pixel}v${6 * this.pixel}h${step}v${-6 * this.pixel}` }),
      this.text(`${step} m`, step / 2, -9 * this.pixel, 11),
    );
    const north = this.doc.dwelling.north_deg;
    const parts = this.chained ? [] : [bar];
    if (north !== null && north !== undefined) {
      const place = `translate(${x + width - (36 + (this.cover?.() ?? 0)) * this.pixel} ${y + height - 44 * this.pixel}) scale(${this.pixel})`;
      const needle = shape("g", { class: "north", transform: `${place} rotate(${north})` });
      needle.append(shape("path", { d: "M0-14 5 10 0 6-5 10Z" }));
      const letter = shape("text", { class: "north-letter", transform: place, x: 0, y: 0, "font-size": 10, "text-anchor": "middle", dx: 21 * Math.sin((north * Math.PI) / 180), dy: -20 * Math.cos((north * Math.PI) / 180) + 4 });
      letter.textContent = "N";
      parts.push(needle, letter);
    }
    this.layers.frame.replaceChildren(...parts);
  }

  text(words, x, y, size = 12, attributes = {}) {
    const node = shape("text", { x, y, "font-size": size * this.pixel, "text-anchor": "middle", ...attributes });
    node.textContent = words;
    return node;
  }

  imageShape(image) {
    const size = this.imageSizes?.get(image.media_sha256);
    if (!size) return null;
    const scale = image.metres_per_pixel;
    const [ox, oy] = image.origin;
    return shape("image", {
      href: this.mediaAddress(image.media_sha256), width: size[0] * scale, height: size[1] * scale,
      x: ox, y: -oy - size[1] * scale, transform: `rotate(${-image.rotation_deg} ${ox} ${-oy})`, preserveAspectRatio: "none",
    });
  }

  roomShape(room) {
    const chosen = this.chosen.has(`rooms:${room.id}`);
    const group = shape("g", { class: `room${chosen ? " chosen" : ""}`, "data-kind": "rooms", "data-id": room.id });
    group.append(shape("path", { d: path(room.outline) }));
    const [x, middle] = centre(room.outline);
    const y = this.clearOfMarks(x, middle, room.outline);
    const [x0, , x1] = extent(room.outline);
    const wide = (x1 - x0) / this.pixel > room.name.length * 7;
    if (wide && y !== null) group.append(this.text(room.name, x, -y, 12.5), this.text(`${metres(area(room.outline), 1)} m²`, x, -y + 15 * this.pixel, 10.5, { class: "minor" }));
    return group;
  }

  // A room's name steps aside for a mark in the middle of the room.
  clearOfMarks(x, y, outline) {
    const { places, emitters } = this.onStorey();
    const crowded = (at) => [...places, ...emitters].some((i) => Math.abs(i.position[0] - x) < 62 * this.pixel && Math.abs(i.position[1] - 12 * this.pixel - at) < 34 * this.pixel);
    const ways = [0, 48, -48, 84, -84].map((step) => y + step * this.pixel);
    const fits = (at) => inside([x, at + 16 * this.pixel], outline) && inside([x, at - 24 * this.pixel], outline);
    return ways.find((at) => !crowded(at) && fits(at)) ?? null;
  }

  boxes() { return boxesOf(this.doc, this.onStorey().storey); }

  slabShape(slab) {
    const group = shape("g", { class: `slab${this.chosen.has(`slabs:${slab.id}`) ? " chosen" : ""}`, "data-kind": "slabs", "data-id": slab.id });
    group.append(...slab.outlines.map((outline) => shape("path", { d: path(outline) })));
    return group;
  }

  boxShape(box) {
    const outline = boxOutline(box);
    const group = shape("g", { class: `furniture${this.chosen.has(`furniture:${box.id}`) ? " chosen" : ""}`, "data-kind": "furniture", "data-id": box.id });
    const [a, b, c, d] = outline;
    group.append(shape("path", { class: "box", d: path(outline) }), shape("path", { class: "cross-line", d: `M${a[0]} ${-a[1]}L${c[0]} ${-c[1]}M${b[0]} ${-b[1]}L${d[0]} ${-d[1]}` }));
    const wide = (c[0] - a[0]) / this.pixel;
    if (wide > box.name.length * 6) group.append(this.text(box.name, (a[0] + c[0]) / 2, -(a[1] + c[1]) / 2 + 4 * this.pixel, 11, { class: "minor" }));
    const title = shape("title");
    title.textContent = box.name;
    group.append(title);
    return group;
  }

  wallShape(wall) {
    const chosen = this.chosen.has(`walls:${wall.id}`);
    const wide = Math.max(thickness(wall), 3 * this.pixel);
    const kind = wall.layers.every((l) => l.material === "air" || l.thickness_m < 0.06) ? "light" : "solid";
    const group = shape("g", { class: `wall ${kind}${wall.exterior ? " outer" : ""}${chosen ? " chosen" : ""}${wall.shields?.length ? " shielded" : ""}`, "data-kind": "walls", "data-id": wall.id });
    const line = `M${wall.start[0]} ${-wall.start[1]}L${wall.end[0]} ${-wall.end[1]}`;
    group.append(shape("path", { class: "wall-body", d: line, "stroke-width": wide }));
    for (const hole of wall.openings) group.append(this.openingShape(wall, hole, wide));
    group.append(shape("path", { class: "grip", d: line, "stroke-width": Math.max(wide, 16 * this.pixel) }));
    return group;
  }

  openingShape(wall, hole, wide) {
    const a = along(wall.start, wall.end, hole.start_m);
    const b = along(wall.start, wall.end, hole.end_m);
    const line = `M${a[0]} ${-a[1]}L${b[0]} ${-b[1]}`;
    const group = shape("g", { class: `opening ${hole.kind}${this.chosen.has(`openings:${hole.id}`) ? " chosen" : ""}` });
    group.append(shape("path", { class: "hole", d: line, "stroke-width": wide * 1.06 }));
    const width = distance(a, b) || 1e-9;
    const [ux, uy] = [(b[0] - a[0]) / width, (b[1] - a[1]) / width];
    if (hole.kind === "door") {
      const tip = [a[0] - uy * width, a[1] + ux * width];
      group.append(shape("path", { class: "leaf-line", d: `M${a[0]} ${-a[1]}L${tip[0]} ${-tip[1]}A${width} ${width} 0 0 1 ${b[0]} ${-b[1]}` }));
    } else if (hole.kind === "window") {
      for (const side of [-1, 0, 1]) {
        const off = (side * wide) / 2.4;
        group.append(shape("path", { class: "pane-line", d: `M${a[0] - uy * off} ${-(a[1] + ux * off)}L${b[0] - uy * off} ${-(b[1] + ux * off)}` }));
      }
    }
    group.append(shape("path", { class: "grip", "data-kind": "openings", "data-id": hole.id, d: line, "stroke-width": Math.max(wide * 1.2, 18 * this.pixel) }));
    return group;
  }

  markShape(kind, item, labels) {
    const chosen = this.chosen.has(`${kind}:${item.id}`);
    const off = this.hidden.has(item.id);
    const [x, y] = item.position;
    const said = kind === "places" ? this.numbers?.get(item.id) : null;
    const glyph = kind === "emitters" ? GLYPHS.emitter : (GLYPHS[item.kind] ?? GLYPHS.other);
    const suspected = item.standing === "suspected";
    const group = shape("g", {
      class: `mark ${kind}${chosen ? " chosen" : ""}${suspected ? " suspected" : ""}${off ? " off" : ""}`,
      "data-kind": kind, "data-id": item.id, transform: `translate(${x} ${-y}) scale(${this.pixel})`,
    });
    const [dx, dy] = this.shifts.get(item.id) ?? [0, 0];
    if (dx || dy) group.append(shape("path", { class: "leader", d: `M0 0L${dx} ${dy}` }), shape("circle", { class: "leader-end", r: 2.5 }));
    if (said) group.append(...this.plate(item, said, [dx, dy]));
    else group.append(
      shape("circle", { class: "grip", r: 22 }),
      kind === "emitters" ? shape("circle", { class: "plate", r: 14 }) : shape("rect", { class: "plate", x: -14, y: -14, width: 28, height: 28, rx: 4 }),
      shape("path", { class: "glyph", d: glyph }),
    );
    if (off) group.append(shape("path", { class: "strike", d: "M-12 12 12-12" }));
    const spot = labels.get(`${kind}:${item.id}`);
    if (spot) {
      const label = shape("text", { x: spot.dx + dx, y: spot.dy + dy, "text-anchor": spot.anchor, "font-size": 11.5 });
      label.textContent = item.name;
      group.append(label);
    }
    const title = shape("title");
    title.textContent = said?.title ?? item.name;
    group.append(title);
    return group;
  }

  halfWidth(item) {
    const said = this.numbers?.get(item.id);
    return said ? Math.max(15, said.words.length * 4.4 + 7) : 15;
  }

  // A number that stands at its place: the shade is its level, an own line under it says more.
  plate(item, said, [dx, dy]) {
    const half = this.halfWidth(item);
    const words = shape("text", { class: "plate-number", y: said.more ? 0 : 5, "font-size": 14, "text-anchor": "middle" });
    words.textContent = said.words;
    const parts = [
      shape("rect", { class: "grip", x: -half - 6, y: -22, width: 2 * half + 12, height: 44 }),
      shape("rect", { class: `plate tone-${said.tone ?? 0}${said.faded ? " faded" : ""}`, x: -half, y: -15, width: 2 * half, height: 30, rx: 2 }),
      words,
    ];
    if (said.more) {
      const more = shape("text", { class: "plate-more", y: 11, "font-size": 9.5, "text-anchor": "middle" });
      more.textContent = said.more;
      parts.push(more);
    }
    for (const node of parts.slice(2)) node.classList.add(`on-tone-${said.tone ?? 0}`);
    return [shape("g", { transform: `translate(${dx} ${dy})` }, ...parts)];
  }
}

// Plates that would lie on one another or on a transmitter's mark are pushed apart, in pixels; each keeps a line to its place.
function apart(plates) {
  const at = plates.map((p) => ({ ...p, dx: 0, dy: 0 }));
  for (let turn = 0; turn < 40; turn += 1) {
    let moved = false;
    for (const [i, a] of at.entries()) for (const b of at.slice(i + 1)) {
      const overX = a.half + b.half + 4 - Math.abs(a.x + a.dx - b.x - b.dx);
      const overY = 34 - Math.abs(a.y + a.dy - b.y - b.dy);
      if (overX <= 0 || overY <= 0 || (a.fixed && b.fixed)) continue;
      moved = true;
      const [key, over] = overX < overY ? ["x", overX] : ["y", overY];
      const sign = a[key] + a[`d${key}`] < b[key] + b[`d${key}`] ? 1 : -1;
      const yields = a.fixed ? 0 : b.fixed ? 1 : 0.5;
      a[`d${key}`] -= sign * over * yields;
      b[`d${key}`] += sign * over * (1 - yields);
    }
    if (!moved) break;
  }
  return new Map(at.filter((p) => Math.hypot(p.dx, p.dy) > 1).map((p) => [p.id, [p.dx, p.dy]]));
}

export async function loadImages(view, address) {
  view.imageSizes ??= new Map();
  view.mediaAddress = address;
  const wanted = view.doc.dwelling.plan_images.map((i) => i.media_sha256).filter((h) => !view.imageSizes.has(h));
  await Promise.all([...new Set(wanted)].map((hash) => new Promise((done) => {
    const image = new Image();
    image.onload = () => { view.imageSizes.set(hash, [image.naturalWidth, image.naturalHeight]); done(); };
    image.onerror = () => done();
    image.src = address(hash);
  })));
  if (wanted.length) view.draw();
}

export function storeyButtons(holder, doc, current, choose) {
  holder.replaceChildren(...[...doc.dwelling.storeys].sort((a, b) => b.floor_m - a.floor_m).map((storey) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "button slim";
    button.textContent = storey.name;
    button.setAttribute("aria-pressed", String(storey.id === current));
    button.addEventListener("click", () => choose(storey.id));
    return button;
  }));
  holder.hidden = doc.dwelling.storeys.length < 2;
  holder.setAttribute("aria-label", t("Storeys"));
}
