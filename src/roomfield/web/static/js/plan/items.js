// What can be done to the items of a plan, as plain changes of its document.

import { along, distance, extent, foot, inside, round, same } from "./shapes.js";
import { boxOutline, boxesOf, makeBox, makeSlab, moveBox, moveSlab, slabsOf } from "./solids.js";

let count = 0;
export function newId(noun) {
  count += 1;
  return `${noun}-${Date.now().toString(36)}${count.toString(36)}${Math.floor(Math.random() * 1296).toString(36)}`;
}

export const BUILDS = {
  outer: { layers: [{ material: "brick", thickness_m: 0.3 }], exterior: true },
  party: { layers: [{ material: "brick", thickness_m: 0.24 }], exterior: false },
  inner: { layers: [{ material: "brick", thickness_m: 0.115 }], exterior: false },
  concrete: { layers: [{ material: "concrete", thickness_m: 0.18 }], exterior: false },
  light: { layers: [{ material: "plasterboard", thickness_m: 0.0125 }, { material: "air", thickness_m: 0.075 }, { material: "plasterboard", thickness_m: 0.0125 }], exterior: false },
  aerated: { layers: [{ material: "aerated concrete", thickness_m: 0.3 }], exterior: true },
  foil: { layers: [{ material: "plasterboard", thickness_m: 0.0125 }, { material: "aluminium foil facing", thickness_m: 0.0001 }, { material: "air", thickness_m: 0.16 }, { material: "wood", thickness_m: 0.02 }], exterior: true },
  timber: { layers: [{ material: "wood", thickness_m: 0.08 }], exterior: false },
};
// How windows are glazed; the coating is reckoned by its published loss, whatever its thickness.
export const GLAZING = {
  plain: ["glass 0.004", "air 0.016", "glass 0.004"], coated: ["glass 0.004", "air 0.016", "low-e coating 0.0001", "glass 0.004"], single: ["glass 0.004"],
};
export const glazed = (key) => GLAZING[key].map((words) => { const at = words.lastIndexOf(" "); return { material: words.slice(0, at), thickness_m: Number(words.slice(at + 1)) }; });
const PANES = [{ material: "glass", thickness_m: 0.004 }, { material: "air", thickness_m: 0.016 }, { material: "glass", thickness_m: 0.004 }];
const LEAF = [{ material: "wood", thickness_m: 0.04 }];
export const OPENINGS = {
  window: { width: 1.2, sill: 0.9, head: 2.2, layers: PANES },
  door: { width: 0.9, sill: 0, head: 2.0, layers: LEAF },
  gap: { width: 1.0, sill: 0, head: 2.1, layers: [] },
};

export const find = (doc, kind, id) => {
  if (kind === "openings") {
    for (const wall of doc.dwelling.walls) {
      const hole = wall.openings.find((o) => o.id === id);
      if (hole) return hole;
    }
    return undefined;
  }
  return list(doc, kind).find((item) => item.id === id);
};
export const list = (doc, kind) => (kind === "places" || kind === "emitters" ? doc[kind] : doc.dwelling[kind]);
export const wallOf = (doc, openingId) => doc.dwelling.walls.find((w) => w.openings.some((o) => o.id === openingId));
export const storeyOf = (doc, id) => doc.dwelling.storeys.find((s) => s.id === id) ?? doc.dwelling.storeys[0];

export function addWall(doc, storeyId, a, b, build = "inner") {
  if (distance(a, b) < 0.1) return null;
  const storey = storeyOf(doc, storeyId);
  const wall = {
    id: newId("wall"), storey_id: storeyId, start: a, end: b, base_m: storey.floor_m, top_m: storey.ceiling_m,
    layers: structuredClone(BUILDS[build].layers), exterior: BUILDS[build].exterior, openings: [], shields: [],
  };
  doc.dwelling.walls.push(wall);
  return wall;
}

const BUILD_OF = (build) => JSON.stringify(BUILDS[build].layers);

// A room brings the walls that are not there yet: outer ones where it borders on nothing. A wall that came as an outer
// one and now has rooms on both sides becomes an inner one.
export function addRoom(doc, storeyId, outline, name, { inner = "inner", outer = "outer" } = {}) {
  const room = { id: newId("room"), name, storey_id: storeyId, outline };
  const walls = doc.dwelling.walls.filter((w) => w.storey_id === storeyId);
  const others = doc.dwelling.rooms.filter((r) => r.storey_id === storeyId);
  outline.forEach((a, i) => {
    const b = outline[(i + 1) % outline.length];
    const standing = walls.find((w) => foot(a, w.start, w.end).gap < 0.02 && foot(b, w.start, w.end).gap < 0.02);
    const between = others.some((other) => sides(a, b).some((point) => inside(point, other.outline)));
    if (!standing) addWall(doc, storeyId, a, b, between ? inner : outer);
    else if (between && standing.exterior && JSON.stringify(standing.layers) === BUILD_OF(outer) && distance(standing.start, standing.end) < distance(a, b) + 0.05) {
      standing.layers = structuredClone(BUILDS[inner].layers);
      standing.exterior = false;
    }
  });
  doc.dwelling.rooms.push(room);
  return room;
}

// Two points a little to either side of the middle of an edge.
function sides(a, b) {
  const length = distance(a, b) || 1e-9;
  const [nx, ny] = [-(b[1] - a[1]) / length, (b[0] - a[0]) / length];
  const middle = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
  return [1, -1].map((way) => [middle[0] + way * nx * 0.1, middle[1] + way * ny * 0.1]);
}

export function addSlab(doc, storeyId, outline) {
  const slab = makeSlab(storeyOf(doc, storeyId), outline, doc.dwelling.slabs, newId("slab"));
  doc.dwelling.slabs.push(slab);
  return slab;
}

// The outline that holds every wall of a storey.
export function wholeStorey(doc, storeyId) {
  const [x0, y0, x1, y1] = extent(doc.dwelling.walls.filter((w) => w.storey_id === storeyId).flatMap((w) => [w.start, w.end]));
  return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]];
}

// Another choice of build-up for new walls reaches the walls that still have the choice before.
export function rebuild(doc, exterior, before, now) {
  const old = JSON.stringify(BUILDS[before].layers);
  for (const wall of doc.dwelling.walls) {
    if (wall.exterior === exterior && JSON.stringify(wall.layers) === old) wall.layers = structuredClone(BUILDS[now].layers);
  }
}

// The build-up that most outer or inner walls have already.
export function usualBuild(doc, exterior, otherwise) {
  const count = (key) => doc.dwelling.walls.filter((w) => w.exterior === exterior && JSON.stringify(w.layers) === JSON.stringify(BUILDS[key].layers)).length;
  const best = Object.keys(BUILDS).sort((a, b) => count(b) - count(a))[0];
  return count(best) ? best : otherwise;
}

export function addBox(doc, storeyId, corners, name) {
  const box = makeBox(storeyOf(doc, storeyId), corners, name, newId("furniture"));
  doc.dwelling.furniture.push(box);
  return box;
}

export function addOpening(doc, wallId, at, kind) {
  const wall = find(doc, "walls", wallId);
  const usual = OPENINGS[kind];
  const length = distance(wall.start, wall.end);
  const width = Math.min(usual.width, length * 0.9);
  const start = round(Math.min(length - width, Math.max(0, at - width / 2)), 0.05);
  const height = wall.top_m - wall.base_m;
  const hole = {
    id: newId(kind), kind, start_m: start, end_m: round(Math.min(length, start + width), 0.001),
    sill_m: round(wall.base_m + Math.min(usual.sill, height * 0.4), 0.001), head_m: round(wall.base_m + Math.min(usual.head, height), 0.001),
    layers: structuredClone(usual.layers),
  };
  wall.openings.push(hole);
  return hole;
}

export function roomAt(doc, storeyId, point) {
  return doc.dwelling.rooms.find((r) => r.storey_id === storeyId && inside(point, r.outline));
}

// What a kind of place usually is: height above the floor [m], hours by night and by day.
const USUAL = {
  bed: { height: 0.5, night: 8, day: 0 }, cot: { height: 0.5, night: 8, day: 0 }, desk: { height: 1.1, night: 0, day: 4 }, table: { height: 1.1, night: 0, day: 0 },
  sofa: { height: 0.9, night: 0, day: 0 }, play: { height: 0.5, night: 0, day: 0 }, other: { height: 1, night: 0, day: 0 },
};
export function addPlace(doc, storeyId, point, kind, name) {
  const floor = storeyOf(doc, storeyId).floor_m;
  const { height, night, day } = USUAL[kind];
  const place = {
    id: newId("place"), name, kind, room_id: roomAt(doc, storeyId, point)?.id ?? "", storey_id: storeyId,
    position: [point[0], point[1], round(floor + height)], night_hours: night, day_hours: day, note: "",
  };
  doc.places.push(place);
  return place;
}

// Another kind brings its own hours, height and name, as far as these still are those of the kind before.
export function setPlaceKind(doc, id, kind, names) {
  const place = find(doc, "places", id);
  const [before, now] = [USUAL[place.kind], USUAL[kind]];
  if (place.night_hours === before.night) place.night_hours = now.night;
  if (place.day_hours === before.day) place.day_hours = now.day;
  const floor = storeyOf(doc, place.storey_id).floor_m;
  if (place.position && Math.abs(place.position[2] - floor - before.height) < 0.01) place.position[2] = round(floor + now.height);
  const old = names[place.kind];
  if (place.name === old || (place.name.startsWith(`${old} `) && /^\d+$/.test(place.name.slice(old.length + 1)))) {
    place.name = unusedName(names[kind], doc.places.filter((p) => p.id !== id));
  }
  place.kind = kind;
}

export function unusedName(noun, others) {
  const taken = new Set(others.map((o) => o.name));
  let name = noun;
  for (let n = 2; taken.has(name); n += 1) name = `${noun} ${n}`;
  return name;
}

export function addEmitter(doc, storeyId, point, name) {
  const floor = storeyOf(doc, storeyId).floor_m;
  const emitter = {
    id: newId("emitter"), name, technology: "", frequency_hz: null, position: [point[0], point[1], round(floor + 1)], bearing_deg: null,
    outdoor: false, eirp_w: null, eirp_std_db: 6, duty: null, duty_std_db: 3, pattern: "isotropic", polarisation: "vertical",
    switch_group: "", switchable: false, standing: "known", control: "client", note: "",
  };
  doc.emitters.push(emitter);
  return emitter;
}

export function remove(doc, chosen) {
  for (const key of chosen) {
    const [kind, id] = split(key);
    if (kind === "openings") {
      const wall = wallOf(doc, id);
      if (wall) wall.openings = wall.openings.filter((o) => o.id !== id);
    } else if (kind === "places" || kind === "emitters") doc[kind] = doc[kind].filter((item) => item.id !== id);
    else doc.dwelling[kind] = doc.dwelling[kind].filter((item) => item.id !== id);
  }
}

export const split = (key) => [key.slice(0, key.indexOf(":")), key.slice(key.indexOf(":") + 1)];

// Corners that a choice holds; walls and rooms that share a corner are drawn along with it.
export function cornersOf(doc, chosen) {
  const corners = [];
  for (const key of chosen) {
    const [kind, id] = split(key);
    const item = find(doc, kind, id);
    if (!item) continue;
    if (kind === "walls") corners.push(item.start, item.end);
    if (kind === "rooms") corners.push(...item.outline);
  }
  return corners.map((c) => [...c]);
}

export function moveCorners(doc, storeyId, corners, [dx, dy]) {
  const shift = (p) => (corners.some((c) => same(c, p)) ? [round(p[0] + dx, 0.001), round(p[1] + dy, 0.001)] : p);
  for (const wall of doc.dwelling.walls) {
    if (wall.storey_id !== storeyId) continue;
    const before = distance(wall.start, wall.end);
    wall.start = shift(wall.start);
    wall.end = shift(wall.end);
    refit(wall, before);
  }
  for (const room of doc.dwelling.rooms) if (room.storey_id === storeyId) room.outline = room.outline.map(shift);
}

// Openings stay inside a wall that became shorter.
export function refit(wall, before) {
  const length = distance(wall.start, wall.end);
  if (length >= before) return;
  wall.openings = wall.openings.filter((hole) => {
    const width = Math.min(hole.end_m - hole.start_m, length);
    hole.start_m = Math.max(0, Math.min(hole.start_m, length - width));
    hole.end_m = hole.start_m + width;
    return width > 0.05;
  });
}

export function moveChosen(doc, storeyId, chosen, [dx, dy]) {
  const corners = cornersOf(doc, chosen);
  if (corners.length) moveCorners(doc, storeyId, corners, [dx, dy]);
  const rooms = [...chosen].map(split).filter(([kind]) => kind === "rooms").map(([, id]) => id);
  for (const key of chosen) {
    const [kind, id] = split(key);
    if (kind === "places" || kind === "emitters") moveMark(doc, storeyId, find(doc, kind, id), [dx, dy]);
    if (kind === "openings") slideOpening(doc, id, [dx, dy]);
    if (kind === "furniture") moveBox(find(doc, kind, id), [dx, dy]);
    if (kind === "slabs") moveSlab(find(doc, kind, id), [dx, dy]);
  }
  for (const place of doc.places) {
    if (rooms.includes(place.room_id) && place.position && !chosen.has(`places:${place.id}`)) moveMark(doc, storeyId, place, [dx, dy]);
  }
}

function moveMark(doc, storeyId, item, [dx, dy]) {
  if (!item?.position) return;
  item.position = [round(item.position[0] + dx, 0.001), round(item.position[1] + dy, 0.001), item.position[2]];
  if ("room_id" in item) item.room_id = roomAt(doc, storeyId, item.position)?.id ?? item.room_id;
}

function slideOpening(doc, id, [dx, dy]) {
  const wall = wallOf(doc, id);
  const hole = find(doc, "openings", id);
  const length = distance(wall.start, wall.end);
  const step = (dx * (wall.end[0] - wall.start[0]) + dy * (wall.end[1] - wall.start[1])) / length;
  const width = hole.end_m - hole.start_m;
  hole.start_m = round(Math.min(length - width, Math.max(0, hole.start_m + step)), 0.001);
  hole.end_m = round(Math.min(length, hole.start_m + width), 0.001);
}

export function cornerList(doc, storeyId, except = []) {
  const all = [
    ...doc.dwelling.walls.filter((w) => w.storey_id === storeyId).flatMap((w) => [w.start, w.end]),
    ...doc.dwelling.rooms.filter((r) => r.storey_id === storeyId).flatMap((r) => r.outline),
  ];
  return all.filter((p) => !except.some((e) => same(e, p)));
}

export const lineList = (doc, storeyId) => doc.dwelling.walls.filter((w) => w.storey_id === storeyId).map((w) => [w.start, w.end]);

export function within(doc, storeyId, [x0, y0, x1, y1]) {
  const inBox = (p) => p[0] >= x0 && p[0] <= x1 && p[1] >= y0 && p[1] <= y1;
  const keys = [];
  for (const wall of doc.dwelling.walls) if (wall.storey_id === storeyId && inBox(wall.start) && inBox(wall.end)) keys.push(`walls:${wall.id}`);
  for (const room of doc.dwelling.rooms) if (room.storey_id === storeyId && room.outline.every(inBox)) keys.push(`rooms:${room.id}`);
  const storey = storeyOf(doc, storeyId);
  for (const box of boxesOf(doc, storey)) if (boxOutline(box).every(inBox)) keys.push(`furniture:${box.id}`);
  for (const slab of slabsOf(doc, storey)) if (slab.outlines.flat().every(inBox)) keys.push(`slabs:${slab.id}`);
  for (const place of doc.places) if (place.storey_id === storeyId && place.position && inBox(place.position)) keys.push(`places:${place.id}`);
  for (const emitter of doc.emitters) if (emitter.position && inBox(emitter.position)) keys.push(`emitters:${emitter.id}`);
  return keys;
}

export function addStorey(doc, name) {
  const top = [...doc.dwelling.storeys].sort((a, b) => b.floor_m - a.floor_m)[0];
  const floor = top ? round(top.ceiling_m + 0.25) : 0;
  const storey = { id: newId("storey"), name, floor_m: floor, ceiling_m: round(floor + 2.5), outline: [] };
  doc.dwelling.storeys.push(storey);
  if (top) {
    const points = doc.dwelling.walls.filter((w) => w.storey_id === top.id).flatMap((w) => [w.start, w.end]);
    if (points.length > 2) {
      const [x0, y0, x1, y1] = extent(points);
      doc.dwelling.slabs.push({
        id: newId("slab"), height_m: round(top.ceiling_m + 0.125, 0.001), layers: [{ material: "concrete", thickness_m: 0.2 }],
        outlines: [[[x0, y0], [x1, y0], [x1, y1], [x0, y1]]], shields: [],
      });
    }
  }
  return storey;
}

export { along };
