// Drawing the plan: tools for mouse, finger and keyboard on one sheet.

import { notice } from "../door.js";
import { metres, t } from "../words.js";
import { PlanBook } from "./book.js";
import { Chains } from "./chains.js";
import * as items from "./items.js";
import { boxOutline, moveBoxCorner, moveSlabCorner } from "./solids.js";
import { clearSize, sizeIn, thickness, wallsOff } from "./measures.js";
import { Offer } from "./offer.js";
import { PLACE_KINDS, Panel } from "./panel.js";
import { traceOver } from "./tracing.js";
import { outsiders } from "./ring.js";
import { distance, extent, foot, inside, round, same, snapped } from "./shapes.js";
import { SizeBox } from "./sizebox.js";
import { hit, navigate } from "./gestures.js";
import { shape } from "../svg.js";
import { PlanView, loadImages, storeyButtons } from "./view.js";

const start = JSON.parse(document.getElementById("start").textContent);
const svg = document.querySelector("svg.plan");
const holder = document.querySelector(".drafting-sheet");
const state = { tool: "choose", several: false, storeyId: start.plan.dwelling.storeys[0]?.id, draft: null, cursor: null, drag: null };
const view = new PlanView(svg);
view.chained = true;
const DRAGGED = new Set(["room", "slab", "furniture"]);
const TOOL_WORDS = {
  room: "Room: drag to the opposite corner, press it, or press corner after corner and the first one again.",
  wall: "Wall: press from corner to corner; press the last corner twice to end.",
  window: "Window: press a wall.", door: "Door: press a wall.", gap: "Gap: press a wall.",
  slab: "Ceiling or floor: drag or trace it over this storey.",
  furniture: "Furniture: drag the box as it stands on the floor, or press two opposite corners.",
  place: "Place: press where somebody sleeps, sits or plays.",
  emitter: "Transmitter: press where something transmits.",
};
const DIRECT = new Set(["places", "emitters", "openings", "furniture", "slabs"]);
const stateLine = document.getElementById("save-state");
const coordinates = document.getElementById("coordinates");

const book = new PlanBook({
  surveyId: start.survey_id, revision: start.revision, plan: start.plan,
  onChange: () => refresh(),
  onState: (words) => { stateLine.textContent = words; },
});
book.onConflict = (conflicts, answer) => {
  const dialog = document.getElementById("conflict");
  const nouns = { storeys: t("storey"), rooms: t("room"), walls: t("wall"), slabs: t("ceiling"), furniture: t("furniture"), places: t("place"), emitters: t("transmitter"), plan_images: t("picture"), north_deg: t("north arrow") };
  dialog.querySelector("[data-what]").textContent = conflicts.map((one) => [nouns[one.kind], one.name, one.theirs === null ? `(${t("taken out")})` : ""].filter(Boolean).join(" ")).join(", ");
  dialog.returnValue = "";
  dialog.showModal();
  dialog.onclose = () => answer(dialog.returnValue === "mine");
};

const chains = new Chains({ view, book, state, holder });
const panel = new Panel(document.getElementById("panel"), { book, view, state, materials: start.materials, technologies: start.technologies, choose, refresh, removeChosen });
const offer = new Offer({ holder, sheet: svg, onWords: (words) => announce(words), onClose: () => { state.spot = null; drawDraft(); } });
const sizes = new SizeBox({
  holder,
  onSize: (size) => { if (state.draft?.box) { state.typed = size.join(" x "); state.draft.box = typedBox(state.draft.box); drawDraft(); } },
  onTake: () => {
    const box = state.draft?.box && typedBox(state.draft.box);
    letGo();
    if (box) closeBox(box);
    setTool("choose");
  },
  onLeave: () => { letGo(); setTool("choose"); svg.focus({ preventScroll: true }); },
});
function letGo() {
  sizes.close();
  state.typed = "";
  state.draft = null;
  state.anchor = null;
}

function refresh() {
  if (!book.doc.dwelling.storeys.some((s) => s.id === state.storeyId)) state.storeyId = book.doc.dwelling.storeys[0]?.id;
  for (const key of [...view.chosen]) {
    const [kind, id] = items.split(key);
    if (!items.find(book.doc, kind, id)) view.chosen.delete(key);
  }
  view.show(book.doc, state.storeyId);
  loadImages(view, (hash) => `/surveys/${start.survey_id}/media/${hash}`);
  storeyButtons(document.getElementById("storeys"), book.doc, state.storeyId, (id) => {
    state.storeyId = id;
    view.chosen.clear();
    refresh();
  });
  document.getElementById("undo").disabled = !book.past.length;
  document.getElementById("redo").disabled = !book.future.length;
  document.getElementById("hint-empty").hidden = book.doc.dwelling.walls.length + book.doc.dwelling.rooms.length + book.doc.dwelling.plan_images.length > 0;
  drawStrip();
  panel.draw();
}

const buildWords = (key) => metres(thickness(items.BUILDS[key]) * 100, 1);
// The title strip says how the sheet stands; each of its words opens what it names.
function drawStrip() {
  const storey = items.storeyOf(book.doc, state.storeyId);
  const north = book.doc.dwelling.north_deg;
  const { rooms, places, emitters } = view.onStorey();
  document.getElementById("storey-words").textContent = storey ? [book.doc.dwelling.storeys.length < 2 ? storey.name : "", t("{low} to {high} m", { low: metres(storey.floor_m, 1), high: metres(storey.ceiling_m, 1) })].filter(Boolean).join(", ") : "";
  document.getElementById("walls-words").textContent = t("outer {outer} cm, inner {inner} cm", { outer: buildWords(panel.outer), inner: buildWords(panel.build) });
  document.getElementById("north-words").textContent = north === null || north === undefined ? t("not known") : t("{degrees}° clockwise from up", { degrees: Math.round(north) });
  document.getElementById("list-words").textContent = t("{count} things", { count: rooms.length + places.length + emitters.length });
  for (const button of document.querySelectorAll("[data-section]")) button.setAttribute("aria-expanded", String(panel.section === button.dataset.section));
}

// For those who do not see the sheet: what is chosen now, and what was just drawn.
const announce = (words) => { document.getElementById("announce").textContent = words; };

function choose(keys, { add = false, quietly = false } = {}) {
  if (!add) view.chosen.clear();
  panel.section = quietly || !(keys.length || add) ? "" : "item";
  for (const key of keys) {
    if (add && view.chosen.has(key)) view.chosen.delete(key);
    else view.chosen.add(key);
  }
  refresh();
  announce(view.chosen.size === 1 ? panel.nameOf([...view.chosen][0]) : view.chosen.size ? t("{count} chosen", { count: view.chosen.size }) : "");
}

function setTool(tool) {
  state.tool = tool;
  letGo();
  offer.close();
  view.showSlabs = tool === "slab";
  if (view.doc) view.draw();
  document.getElementById("in-hand").hidden = tool === "choose";
  document.getElementById("tool-words").textContent = TOOL_WORDS[tool] ? t(TOOL_WORDS[tool]) : "";
  if (TOOL_WORDS[tool]) announce(t(TOOL_WORDS[tool]));
  svg.classList.toggle("drawing", tool !== "choose");
  drawDraft();
}

function snap(point, { from = null, free = false, except = [] } = {}) {
  const reach = 11 * view.metresPerPixel;
  const grid = view.metresPerPixel > 0.02 ? 0.1 : 0.05;
  if (free) return { point: [round(point[0]), round(point[1])], what: "free" };
  return snapped(point, { corners: items.cornerList(book.doc, state.storeyId, except), lines: items.lineList(book.doc, state.storeyId), from, reach, grid });
}

// One press on the sheet, from a pointer or from the keyboard's cross.
function press(point, target, { add = false, free = false, by = null } = {}) {
  if (state.tracing) return state.tracing.press(point);
  offer.close();
  const at = snap(point, { from: state.draft?.points.at(-1), free }).point;
  if (state.tool === "choose") {
    if (add || state.several || DIRECT.has(target?.kind)) choose(target ? [`${target.kind}:${target.id}`] : [], { add: add || state.several });
    else offerAt(point, target, by);
  } else if (state.tool === "wall") drawWall(at);
  else if (state.tool === "room" || state.tool === "slab") drawCorner(at);
  else if (state.tool === "furniture") drawBoxCorner(at);
  else if (state.tool in items.OPENINGS) cutOpening(point);
  else if (state.tool === "place") setPlace(at);
  else if (state.tool === "emitter") setEmitter(at);
  return undefined;
}

// What can be done at a point: on a wall, in a room, on the empty sheet.
function offerAt(point, target, by) {
  const at = snap(point).point;
  const wall = target?.kind === "walls" ? items.find(book.doc, "walls", target.id) : null;
  const room = wall ? null : items.roomAt(book.doc, state.storeyId, point);
  choose(wall ? [`walls:${wall.id}`] : [], { quietly: true });
  state.spot = wall ? foot(point, wall.start, wall.end).point : point;
  drawDraft();
  const title = wall ? panel.nameOf(`walls:${wall.id}`) : room?.name ?? "";
  offer.open(by ?? view.toScreen(point), title, wall ? wallWords(wall, point) : room ? roomWords(room, at, by) : sheetWords(at, by), { focus: !by });
}

function wallWords(wall, point) {
  const along = foot(point, wall.start, wall.end).along;
  const cut = (kind) => () => made("openings", (doc) => items.addOpening(doc, wall.id, along, kind));
  return [[t("Window"), cut("window")], [t("Door"), cut("door")], [t("Gap"), cut("gap")], null,
    [t("Build-up and length ..."), () => choose([`walls:${wall.id}`])], [t("Take out"), () => { choose([`walls:${wall.id}`]); removeChosen(); }]];
}

function roomWords(room, at, by) {
  const place = ([kind, words]) => [t(words), () => { panel.placeKind = kind; setPlace(at); }];
  return [...Object.entries(PLACE_KINDS).map(place), null,
    [t("Transmitter"), () => setEmitter(at)], [t("Furniture from here"), () => begin("furniture", at, by)], [t("Wall from here"), () => begin("wall", at, by)], [t("Room from here"), () => begin("room", at, by)], null,
    [t("Its ceiling"), () => made("slabs", (doc) => items.addSlab(doc, state.storeyId, room.outline))], [t("Name and size ..."), () => choose([`rooms:${room.id}`])]];
}

function sheetWords(at, by) {
  const bare = !book.doc.dwelling.walls.length;
  return [[t("Room from here"), () => begin("room", at, by)], [t("Wall from here"), () => begin("wall", at, by)],
    [bare ? t("Transmitter") : t("Mast or neighbour this way"), () => setEmitter(at)],
    bare ? [t("Picture or file ..."), () => document.getElementById("under").showModal()] : null,
    bare ? [t("Place"), () => setPlace(at)] : [t("Ceiling over all of it"), () => made("slabs", (doc) => items.addSlab(doc, state.storeyId, items.wholeStorey(doc, state.storeyId)))]].filter((one) => one !== null);
}

const setPlace = (at) => made("places", (doc) => items.addPlace(doc, state.storeyId, at, panel.placeKind, items.unusedName(t(panel.placeName), doc.places)));
const setEmitter = (at) => made("emitters", (doc) => addTransmitter(doc, at));

// Begins something at a point; a room or a box opens away from what stands already, and its size can be typed at once.
function begin(tool, at, by) {
  setTool(tool);
  if (tool === "wall") { state.draft = { points: [at], now: at }; drawDraft(); svg.focus({ preventScroll: true }); return; }
  const usual = tool === "room" ? [4, 3] : [1, 0.6];
  const walls = book.doc.dwelling.walls.filter((w) => w.storey_id === state.storeyId).flatMap((w) => [w.start, w.end]);
  const [x0, y0, x1, y1] = walls.length && tool === "room" ? extent(walls) : [at[0], at[1], at[0], at[1]];
  const way = [at[0] < (x0 + x1) / 2 - 0.01 ? -1 : 1, at[1] > (y0 + y1) / 2 + 0.01 ? 1 : -1];
  state.anchor = at;
  state.draft = { box: [...at, at[0] + way[0] * usual[0], at[1] + way[1] * usual[1]], points: [] };
  // What is to be drawn comes into sight with what stands there.
  if (tool === "room") view.frame(extent([...walls, at, state.draft.box.slice(2)]));
  sizes.open(view.toScreen(at), usual.map((v) => metres(v, 1)), tool === "room" ? t("clear, between the walls; or drag to the opposite corner") : t("or drag to the opposite corner"), { focus: !by || by.pointerType === "mouse" });
}

// Set down beside the dwelling it is a mast or a neighbour: it goes to the ring, a hundred metres off until that is known.
function addTransmitter(doc, at) {
  const [x0, y0, x1, y1] = extent(doc.dwelling.walls.flatMap((w) => [w.start, w.end]));
  const beside = doc.dwelling.walls.length > 0 && (at[0] < x0 - 1.2 || at[0] > x1 + 1.2 || at[1] < y0 - 1.2 || at[1] > y1 + 1.2);
  if (!beside) return items.addEmitter(doc, state.storeyId, at, items.unusedName(t("Emitter"), doc.emitters));
  const middle = [(x0 + x1) / 2, (y0 + y1) / 2];
  const far = 100 / distance(middle, at);
  const item = items.addEmitter(doc, state.storeyId, [round(middle[0] + (at[0] - middle[0]) * far), round(middle[1] + (at[1] - middle[1]) * far)], items.unusedName(t("Mast"), doc.emitters));
  item.position[2] = 20;
  return Object.assign(item, { outdoor: true, control: "operator" });
}

function made(kind, make) {
  let item;
  book.edit((doc) => { item = make(doc); return item ? undefined : false; });
  if (!item) return;
  // Rooms come one after the other: the tool stays in the hand.
  if (kind !== "rooms") setTool("choose");
  choose([`${kind}:${item.id}`]);
  announce(t("Drawn: {what}", { what: panel.nameOf(`${kind}:${item.id}`) }));
  if (kind !== "rooms") panel.focusName();
}

function drawWall(at) {
  const from = state.draft?.points.at(-1);
  if (from && !same(from, at)) {
    book.edit((doc) => (items.addWall(doc, state.storeyId, from, at, panel.build) ? undefined : false));
    state.draft = { points: [at], now: at };
  } else if (from) state.draft = null;
  else state.draft = { points: [at], now: at };
  drawDraft();
}

function drawCorner(at) {
  state.draft ??= { points: [], now: at };
  if (state.anchor) { const from = state.anchor; letGo(); closeBox([...from, ...at]); setTool("choose"); return undefined; }
  const points = state.draft.points;
  // A second corner across from the first opens a rectangle; one along a wall goes on from corner to corner.
  if (points.length === 1 && Math.abs(points[0][0] - at[0]) > 0.3 && Math.abs(points[0][1] - at[1]) > 0.3) return closeBox([...points[0], ...at]);
  if (points.length > 2 && same(points[0], at)) return finishRoom(points);
  if (points.length && same(points.at(-1), at)) return points.length > 2 ? finishRoom(points) : undefined;
  points.push(at);
  drawDraft();
  return undefined;
}

// Two opposite corners by presses, for hands that do not drag.
function drawBoxCorner(at) {
  const from = state.anchor ?? state.draft?.points[0];
  if (state.anchor) sizes.close();
  state.anchor = null;
  if (!from) state.draft = { points: [at], now: at };
  else closeBox([...from, ...at]);
  drawDraft();
}

function finishRoom(points) {
  state.draft = null;
  if (state.tool === "slab") return made("slabs", (doc) => items.addSlab(doc, state.storeyId, points));
  made("rooms", (doc) => items.addRoom(doc, state.storeyId, points, items.unusedName(t("Room"), doc.dwelling.rooms), { inner: panel.build, outer: panel.outer }));
  drawDraft();
  return undefined;
}

function cutOpening(point) {
  const walls = book.doc.dwelling.walls.filter((w) => w.storey_id === state.storeyId);
  const best = walls.map((wall) => ({ wall, ...foot(point, wall.start, wall.end) })).sort((a, b) => a.gap - b.gap)[0];
  if (!best || best.gap > 24 * view.metresPerPixel) {
    notice(t("Point at a wall to put the opening in."));
    return;
  }
  made("openings", (doc) => items.addOpening(doc, best.wall.id, best.along, state.tool));
}

function drawDraft() {
  const layer = view.layers.draft;
  layer.replaceChildren();
  const pixel = view.metresPerPixel;
  const draft = state.draft;
  if (draft?.box) {
    const [x0, y0, x1, y1] = draft.box;
    layer.append(shape("rect", { class: "draft-line", x: Math.min(x0, x1), y: -Math.max(y0, y1), width: Math.abs(x1 - x0), height: Math.abs(y1 - y0) }));
    if (DRAGGED.has(state.tool)) layer.append(view.text(boxWords(draft.box), (x0 + x1) / 2, -(y0 + y1) / 2, 13));
  } else if (draft?.points.length) {
    const all = draft.now ? [...draft.points, draft.now] : draft.points;
    layer.append(shape("path", { class: "draft-line", d: all.map((p, i) => `${i ? "L" : "M"}${p[0]} ${-p[1]}`).join("") }));
    const from = draft.points.at(-1);
    if (draft.now && distance(from, draft.now) > 0.05) layer.append(view.text(`${metres(distance(from, draft.now))} m`, (from[0] + draft.now[0]) / 2, -(from[1] + draft.now[1]) / 2 - 8 * pixel, 13));
  }
  if (draft?.now) layer.append(shape("circle", { class: "snap-mark", cx: draft.now[0], cy: -draft.now[1], r: 6 * pixel }));
  if (state.spot) layer.append(shape("circle", { class: "snap-mark", cx: state.spot[0], cy: -state.spot[1], r: 6 * pixel }));
  if (state.cursor) {
    const [x, y] = state.cursor;
    layer.append(shape("path", { class: "cross", d: `M${x - 14 * pixel} ${-y}h${28 * pixel}M${x} ${-y - 14 * pixel}v${28 * pixel}` }));
  }
  chains.draw(layer);
  drawHandles(layer, pixel);
  state.tracing?.draw(layer);
}

// What a laser would show inside the room that is being drawn, or what is being typed.
function boxWords(box) {
  if (state.typed) return `${state.typed} m`;
  const [wide, deep] = state.tool === "room" ? clearSize(book.doc, state.storeyId, ordered(box), freshWall()) : [Math.abs(box[2] - box[0]), Math.abs(box[3] - box[1])];
  return `${metres(Math.max(0, wide))} × ${metres(Math.max(0, deep))} m`;
}
const freshWall = () => thickness(items.BUILDS[panel.outer]);

// A box of the size that was typed, opened from where the drag began in the way it went.
function typedBox(box) {
  const size = sizeIn(state.typed ?? "");
  if (!size) return box;
  const [x0, y0, x1, y1] = box;
  const [sx, sy] = [x1 < x0 ? -1 : 1, y1 < y0 ? -1 : 1];
  const made = (off) => [x0, y0, round(x0 + sx * (size[0] + off[0]), 0.001), round(y0 + sy * (size[1] + off[1]), 0.001)];
  const fresh = freshWall();
  return state.tool === "room" ? made(wallsOff(book.doc, state.storeyId, ordered(made([fresh, fresh])), fresh)) : made([0, 0]);
}

function drawHandles(layer, pixel) {
  if (state.tool !== "choose" || view.chosen.size !== 1) return;
  const [kind, id] = items.split([...view.chosen][0]);
  const item = items.find(book.doc, kind, id);
  const corners = handlesOf(kind, item);
  corners.forEach((p, i) => layer.append(shape("circle", { class: "handle", cx: p[0], cy: -p[1], r: 8 * pixel, "data-kind": "corner", "data-id": i })));
}
view.onDraw = drawDraft;

function handlesOf(kind, item) {
  if (kind === "walls") return [item.start, item.end];
  if (kind === "rooms") return item.outline;
  if (kind === "furniture") return boxOutline(item);
  return kind === "slabs" ? item.outlines.flat() : [];
}

// Pointer: press, or drag what is chosen, or drag a room open, or pan.
navigate(view, {
  onStart(event) {
    state.cursor = null;
    const point = view.toPlan(event);
    const target = hit(event);
    chains.close();
    state.drag = { from: point, last: point, target, moved: false, x: event.clientX, y: event.clientY, mode: "press" };
    if (state.tracing) return;
    if (target?.kind === "corner") {
      const [kind, id] = items.split([...view.chosen][0]);
      const item = items.find(book.doc, kind, id);
      state.drag = { ...state.drag, mode: "corner", kind, id, n: Number(target.id), corner: [...handlesOf(kind, item)[target.id]] };
    } else if (state.tool === "choose" && target && (view.chosen.has(`${target.kind}:${target.id}`) || target.kind === "places" || target.kind === "emitters" || target.kind === "openings" || target.kind === "furniture")) {
      state.drag.mode = "items";
    } else if (state.tool === "choose") {
      state.drag.mode = event.pointerType === "mouse" && event.button === 0 && !event.altKey && (event.shiftKey || state.several) ? "box" : "pan";
    } else if (DRAGGED.has(state.tool) && (state.draft?.points?.length ?? 0) < 2) state.drag.mode = "room"; // a stray press before does not hold the hand
  },
  onMove(event, down) {
    const point = view.toPlan(event);
    coordinates.textContent = `${metres(point[0])} · ${metres(point[1])} m`;
    if (!down) {
      if (state.draft?.points) {
        state.draft.now = snap(point, { from: state.draft.points.at(-1), free: event.altKey }).point;
        drawDraft();
      }
      return;
    }
    const drag = state.drag;
    if (!drag) return;
    if (!drag.moved && Math.hypot(event.clientX - drag.x, event.clientY - drag.y) < 5) return;
    drag.moved = true;
    dragTo(drag, point, event);
  },
  onEnd(event, cancelled) {
    const drag = state.drag;
    state.drag = null;
    book.endMerge();
    if (!drag || cancelled) { state.draft = state.draft?.box ? null : state.draft; drawDraft(); return; }
    if (!drag.moved && drag.target?.kind === "chain") chains.open(Number(drag.target.id), event);
    else if (!drag.moved) press(view.toPlan(event), drag.target, { add: event.shiftKey || event.ctrlKey || event.metaKey, free: event.altKey, by: event });
    else if (drag.mode === "box") choose(items.within(book.doc, state.storeyId, ordered(state.draft.box)), { add: event.shiftKey });
    else if (drag.mode === "room") {
      const [box, once] = [typedBox(state.draft.box), state.anchor !== null];
      sizes.close();
      state.anchor = null;
      closeBox(box);
      if (once) setTool("choose");
    }
    if (drag.moved && (drag.mode === "items" || drag.mode === "corner")) refresh(); // the slip follows what was moved
    state.typed = "";
    if (state.draft?.box && !state.anchor) { state.draft = null; drawDraft(); }
  },
});

function dragTo(drag, point, event) {
  if (drag.mode === "pan" || state.tracing) view.pan(event.movementX, event.movementY);
  if (drag.mode === "box") state.draft = { box: [...drag.from, ...point], points: [] };
  if (drag.mode === "room") {
    if (!state.draft?.dragged) { state.typed = ""; sizes.close(); }
    state.draft = { box: [...(state.anchor ?? snap(drag.from).point), ...snap(point).point], points: [], dragged: true };
  }
  if (drag.mode === "corner") {
    const to = snap(point, { except: [drag.corner], free: event.altKey }).point;
    const by = [to[0] - drag.corner[0], to[1] - drag.corner[1]];
    if (by[0] || by[1]) {
      book.edit((doc) => moveCorner(doc, drag, to, by), { merge: "corner" });
      drag.corner = to;
    }
  }
  if (drag.mode === "items" && drag.target.seat) {
    turnAround(drag, point);
  } else if (drag.mode === "items") {
    const key = `${drag.target.kind}:${drag.target.id}`;
    if (!view.chosen.has(key)) choose([key]);
    const by = [round(point[0] - drag.last[0], 0.05), round(point[1] - drag.last[1], 0.05)];
    if (by[0] || by[1]) {
      book.edit((doc) => items.moveChosen(doc, state.storeyId, view.chosen, by), { merge: "items" });
      drag.last = [drag.last[0] + by[0], drag.last[1] + by[1]];
    }
  }
  drawDraft();
}

// What sits on the ring is turned about the dwelling; its distance and height stay.
function turnAround(drag, point) {
  const { emitters, seat } = outsiders(book.doc).find((one) => one.emitters.some((e) => e.id === drag.target.id)) ?? { emitters: [] };
  if (seat !== "far") return;
  const [x0, y0, x1, y1] = extent(book.doc.dwelling.walls.flatMap((w) => [w.start, w.end]));
  const middle = [(x0 + x1) / 2, (y0 + y1) / 2];
  const angle = Math.atan2(point[0] - middle[0], point[1] - middle[1]);
  book.edit((doc) => {
    for (const { id } of emitters) {
      const item = items.find(doc, "emitters", id);
      if (!item.position) { item.bearing_deg = round(((angle * 180) / Math.PI + 360) % 360, 1); continue; }
      const away = distance(middle, item.position);
      item.position = [round(middle[0] + Math.sin(angle) * away), round(middle[1] + Math.cos(angle) * away), item.position[2]];
    }
  }, { merge: "items" });
}

function moveCorner(doc, drag, to, by) {
  if (drag.kind === "furniture") drag.n = moveBoxCorner(items.find(doc, drag.kind, drag.id), drag.n, to);
  else if (drag.kind === "slabs") moveSlabCorner(items.find(doc, drag.kind, drag.id), drag.n, to);
  else items.moveCorners(doc, state.storeyId, [drag.corner], by);
}

const ordered = ([x0, y0, x1, y1]) => [Math.min(x0, x1), Math.min(y0, y1), Math.max(x0, x1), Math.max(y0, y1)];
function closeBox(box) {
  const [x0, y0, x1, y1] = ordered(box);
  state.draft = null;
  if (state.tool === "furniture") {
    if (x1 - x0 > 0.08 && y1 - y0 > 0.08) made("furniture", (doc) => items.addBox(doc, state.storeyId, [x0, y0, x1, y1], items.unusedName(t("Furniture"), doc.dwelling.furniture)));
  } else if (x1 - x0 > 0.3 && y1 - y0 > 0.3) finishRoom([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]);
}

// Keyboard: the same presses from a cross that the arrows move; letters choose the tool.
const LETTERS = { v: "choose", r: "room", w: "wall", n: "window", d: "door", g: "gap", p: "place", e: "emitter", s: "slab", f: "furniture" };
svg.addEventListener("keydown", (event) => {
  const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  const step = event.shiftKey ? 0.5 : 0.1;
  if (state.draft?.box && typeSize(event)) return;
  if (arrows[event.key]) {
    event.preventDefault();
    const by = arrows[event.key].map((v) => v * step);
    if (state.tool === "choose" && view.chosen.size && !state.tracing) {
      book.edit((doc) => items.moveChosen(doc, state.storeyId, view.chosen, by), { merge: `keys${[...view.chosen]}` });
    } else moveCross(by);
  } else if (event.key === "Enter" || event.key === " ") {
    event.preventDefault();
    if (!state.cursor) moveCross([0, 0]);
    else press(state.cursor, nearest(state.cursor), { add: event.shiftKey });
  } else if (event.key === "Escape") {
    state.cursor = null;
    state.tracing?.stop();
    choose([]);
    setTool("choose");
  } else if (event.key === "Delete" || event.key === "Backspace") {
    event.preventDefault();
    removeChosen();
  } else if (!event.ctrlKey && !event.metaKey && !event.altKey && LETTERS[event.key.toLowerCase()]) setTool(LETTERS[event.key.toLowerCase()]);
  else if (event.key === "+" || event.key === "-") view.zoom(event.key === "+" ? 0.8 : 1.25);
});

// Sizes typed while the box is open: "4.2 x 3.6", taken with Enter.
function typeSize(event) {
  const key = event.key.replace("*", "x").replace("×", "x");
  if (/^[\d.,xX ]$/.test(key)) state.typed = (state.typed ?? "") + key;
  else if (event.key === "Backspace") state.typed = (state.typed ?? "").slice(0, -1);
  else if (event.key === "Enter" && sizeIn(state.typed ?? "")) {
    const box = typedBox(state.draft.box);
    const once = state.anchor !== null;
    state.drag = null;
    letGo();
    closeBox(box);
    if (once) setTool("choose");
  } else return false;
  event.preventDefault();
  drawDraft();
  return true;
}

function moveCross([dx, dy]) {
  const { x, y, width, height } = view.box;
  state.cursor ??= [round(x + width / 2, 0.1), round(-(y + height / 2), 0.1)];
  state.cursor = [round(state.cursor[0] + dx), round(state.cursor[1] + dy)];
  if (state.draft?.points) state.draft.now = snap(state.cursor, { from: state.draft.points.at(-1) }).point;
  coordinates.textContent = `${metres(state.cursor[0], 1)} · ${metres(state.cursor[1], 1)} m`;
  const under = nearest(state.cursor);
  announce([coordinates.textContent, under ? panel.nameOf(`${under.kind}:${under.id}`) : ""].filter(Boolean).join(", "));
  drawDraft();
}

function nearest(point) {
  const { places, emitters, walls } = view.onStorey();
  const marks = [...places.map((i) => ["places", i]), ...emitters.map((i) => ["emitters", i])].map(([kind, i]) => ({ kind, id: i.id, gap: distance(point, i.position) }));
  const lines = walls.map((w) => ({ kind: "walls", id: w.id, gap: foot(point, w.start, w.end).gap }));
  const best = [...marks, ...lines].sort((a, b) => a.gap - b.gap)[0];
  if (best && best.gap < 0.4) return best;
  const box = view.boxes().find((one) => inside(point, boxOutline(one)));
  if (box) return { kind: "furniture", id: box.id };
  const room = items.roomAt(book.doc, state.storeyId, point);
  return room ? { kind: "rooms", id: room.id } : null;
}

function removeChosen() {
  if (!view.chosen.size) return;
  const gone = new Set(view.chosen);
  book.edit((doc) => items.remove(doc, gone));
  notice(t("Taken out: {count}", { count: gone.size }), { action: t("Undo"), run: () => book.undo() });
}

document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.target.matches("input, textarea, select")) return;
  const key = event.key.toLowerCase();
  if (key === "z" && !event.shiftKey) { event.preventDefault(); book.undo(); }
  if (key === "y" || (key === "z" && event.shiftKey)) { event.preventDefault(); book.redo(); }
  if (key === "a" && document.activeElement === svg) { event.preventDefault(); choose(items.within(book.doc, state.storeyId, [-1e6, -1e6, 1e6, 1e6])); }
});
for (const button of document.querySelectorAll("[data-section]")) button.addEventListener("click", (event) => {
  const { section } = button.dataset;
  offer.close();
  view.chosen.clear();
  panel.section = panel.section === section ? "" : section;
  panel.by = event;
  refresh();
  document.querySelector("#panel input, #panel select, #panel button")?.focus({ preventScroll: true });
});
document.getElementById("leave").addEventListener("click", () => { setTool("choose"); svg.focus({ preventScroll: true }); });
document.getElementById("undo").addEventListener("click", () => book.undo());
document.getElementById("redo").addEventListener("click", () => book.redo());
document.getElementById("zoom-in").addEventListener("click", () => view.zoom(0.75));
document.getElementById("zoom-out").addEventListener("click", () => view.zoom(1.33));
document.getElementById("zoom-fit").addEventListener("click", () => view.fit());

state.tracing = null;
traceOver({ book, view, state, surveyId: start.survey_id, redraw: refresh });
setTool("choose");
refresh();
view.fit();
document.documentElement.dataset.ready = "plan";
