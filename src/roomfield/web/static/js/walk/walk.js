// The walk: a place, one line filled in, and on to the next place. Everything typed is kept before it is sent.

import { notice, send } from "../door.js";
import { bars } from "../axis.js";
import { element } from "../element.js";
import { hit, navigate } from "../plan/gestures.js";
import { distance, round } from "../plan/shapes.js";
import { PlanView, loadImages, storeyButtons } from "../plan/view.js";
import { density, metres, number, t } from "../words.js";
import { BearingLine } from "./bearing.js";
import { drawPoints, platesOf } from "./marks.js";
import { HIGH_KINDS, ORIENTATIONS, Pad, UNITS } from "./pad.js";
import { HotSpots } from "./hotspots.js";
import { keepWalk } from "./kept.js";
import { Outbox } from "./outbox.js";
import { photoField } from "./photo.js";
import { heard, onDeviceVoice } from "./voice.js";
import { drawRefused, keepingWords } from "./waiting.js";

const start = JSON.parse(document.getElementById("start").textContent);
const KIND_WORDS = { peak: t("peak held still"), highest_held: t("highest seen"), average: t("second's mean") };
const BOUNDS = { below_floor: t("below floor"), overload: t("overload") };
// A visit begins with a clean line: what was set on another visit does not reach into it.
const keptKey = `walk-draft:${start.survey_id}:${start.visit.id}`;
const kept = JSON.parse(localStorage.getItem(keptKey) ?? "{}");
const asked = new URLSearchParams(location.search);
const known = (list, ...ids) => ids.find((id) => id && list.some((item) => item.id === id)) ?? "";
const pad = new Pad(kept.pad);
const state = {
  placeId: known(start.plan.places, asked.get("place"), kept.placeId),
  position: kept.position ?? null,
  storeyId: known(start.plan.dwelling.storeys, kept.storeyId) || start.plan.dwelling.storeys[0]?.id,
  stateId: known(start.states, asked.get("state"), kept.stateId) || start.states[0].id,
  meterId: known(start.meters, kept.meterId) || start.meters[0].id,
  scan: kept.scan ?? "hand_scan",
  readings: start.readings,
  last: [],
};
const $ = (id) => document.getElementById(id);
const placeOf = (id) => start.plan.places.find((p) => p.id === id);
if (!state.placeId && !state.position && start.plan.places.length) state.placeId = start.plan.places[0].id;
if (placeOf(state.placeId)?.storey_id) state.storeyId = placeOf(state.placeId).storey_id;

const view = new PlanView($("walk-plan"));
view.quiet = true;
view.bearings = start.bearings;

function keep() {
  const { placeId, position, storeyId, stateId, meterId, scan } = state;
  localStorage.setItem(keptKey, JSON.stringify({ pad: pad.kept(), placeId, position, storeyId, stateId, meterId, scan }));
}

const outbox = new Outbox(start.survey_id, {
  onTaken(item, told, wasAway) {
    if (item.kind === "readings" && item.body.visit_id === start.visit.id) {
      state.readings = [...state.readings.filter((r) => !told.readings.some((one) => one.id === r.id)), ...told.readings];
      state.last = told.readings.map((r) => r.id);
      showRemarks(told);
    }
    if (item.kind === "radio-states") { start.states = withOwnStates(told.states); fillStates(); }
    if (wasAway) refresh();
    draw();
    document.dispatchEvent(new Event("readings-changed"));
  },
  onRefused: () => drawRefused($("refused"), outbox, { placeOf, point, setting }),
  onChange(waiting, trouble) {
    $("keeping").replaceChildren(...keepingWords(waiting, trouble, { page: start, kept: keptHere }));
    $("keeping").classList.toggle("waiting", waiting > 0);
    drawList();
  },
});

// What others entered meanwhile, on the computer or on another phone.
let keptHere = null;
async function refresh() {
  let now;
  try {
    now = await send("GET", `/api/v1/surveys/${start.survey_id}/walk?visit=${encodeURIComponent(start.visit.id)}&since=${start.stamp}`, undefined, { patienceMs: 8000 });
  } catch (error) {
    if (error.status === 401) location.assign("/unlock");
    return;
  }
  if (!now) return;
  Object.assign(start, now, { states: withOwnStates(now.states) });
  state.readings = now.readings;
  view.bearings = [...now.bearings, ...waitingBearings()];
  fillStates();
  draw();
  keepHere();
}

// States of the record, and those made here that are still on their way.
function withOwnStates(states) {
  const own = start.states.filter((one) => !states.some((other) => other.id === one.id) && outbox.items.some((item) => item.id === one.id));
  return [...states, ...own];
}

async function keepHere() {
  const hashes = start.plan.dwelling.plan_images.map((one) => one.media_sha256);
  keptHere = await keepWalk(hashes, start.survey_id).catch(() => false);
}

function waitingBearings() {
  return outbox.items.filter((item) => item.kind === "bearings" && item.body.visit_id === start.visit.id)
    .map((item) => ({ id: item.id, position: placeOf(item.body.place_id)?.position ?? item.body.position, strongest_deg: item.body.strongest_deg, null_deg: item.body.null_deg }));
}

function fillStates() {
  $("state").replaceChildren(...start.states.map((s) => element("option", { value: s.id }, s.name)), element("option", { value: "+" }, t("New radio state ...")));
  if (!start.states.some((s) => s.id === state.stateId)) state.stateId = start.states[0].id;
  $("state").value = state.stateId;
}

function point() {
  const place = placeOf(state.placeId);
  if (place) return place.name;
  if (state.position) return t("Point {x} · {y} m", { x: number(state.position[0]), y: number(state.position[1]) });
  return t("no point chosen");
}

const newId = (noun) => `${noun}-${Date.now().toString(36)}-${crypto.getRandomValues(new Uint32Array(1))[0].toString(36)}`;
// A photo taken before the line is kept belongs to the entry that comes.
const nextEntry = () => { state.entryId ??= newId("entry"); return state.entryId; };
const typedNumber = (id) => ($(id).value === "" ? null : Number($(id).value.replace(",", ".")));

function setting() {
  return { visit_id: start.visit.id, meter_id: state.meterId, radio_state_id: state.stateId, place_id: state.placeId, position: state.placeId ? null : state.position, unit: pad.unit, taken_at: moment(), note: $("note").value };
}

// Enter: to the next blank of the line, and from its end the line is kept and the next empty place comes up.
function enter(censoring = "none") {
  if (!state.placeId && !state.position) {
    notice(t("Press a place or a point on the plan first."));
    return;
  }
  if (censoring === "none" && pad.next()) {
    changed();
    return;
  }
  const values = pad.take(censoring);
  if (!values.length) {
    notice(t("Type a number, or press the key for below the floor or overload."));
    return;
  }
  const id = nextEntry();
  state.entryId = null;
  outbox.add("readings", id, { entry_id: id, ...setting(), values, scan: state.scan, height_m: typedNumber("height"), body_distance_m: typedNumber("body") });
  for (const id of ["note", "height", "body"]) $(id).value = "";
  $("remarks").replaceChildren();
  $("echo").textContent = `${t("{name}:", { name: point() })} ${typedWords(values, pad.unit)}`;
  goOn();
  changed();
}

// The next stop of this radio state that has nothing yet, loud spots and what is beside them first; if there is none, the
// place stays.
function goOn() {
  const stops = hotSpots.stops();
  const at = stops.findIndex(({ place }) => place && place.id === state.placeId);
  if (at < 0 && !start.spots.length) return;
  const waiting = (id) => outbox.entries.some((e) => e.place_id === id && e.radio_state_id === state.stateId);
  const read = (id) => waiting(id) || state.readings.some((r) => r.place_id === id && r.state_id === state.stateId);
  const isOpen = ({ place, spot }) => (place ? !read(place.id) : !hotSpots.isMeasured(spot, state.stateId));
  // With loud spots marked, the first of all that is open; without, round from where one stands.
  const next = (start.spots.length ? stops : [...stops.slice(at + 1), ...stops.slice(0, at)]).find(isOpen);
  if (!next) { $("echo").append(` · ${t("all places have a reading in this radio state")}`); return; }
  state.placeId = next.place?.id ?? "";
  state.position = next.spot?.position ?? null;
  if (next.spot) $("echo").append($("echo").textContent ? " · " : "", t("next: the loud spot"));
  if (next.place?.storey_id && next.place.storey_id !== state.storeyId) { state.storeyId = next.place.storey_id; refit = true; }
}

function moment() {
  const now = new Date();
  const offset = -now.getTimezoneOffset();
  const two = (n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  const local = new Date(now.getTime() + offset * 60000).toISOString().slice(0, 19);
  return `${local}${offset < 0 ? "-" : "+"}${two(offset / 60)}:${two(offset % 60)}`;
}

function undo() {
  const last = outbox.takeBack();
  if (last) {
    if (last.kind === "radio-states") { start.states = start.states.filter((one) => one.id !== last.id); fillStates(); }
    view.bearings = view.bearings.filter((one) => one.id !== last.id);
    notice(t("Taken back before it was sent."));
    draw();
    return;
  }
  const ids = state.last.length ? state.last : state.readings.slice(-1).map((r) => r.id);
  if (!ids.length) return;
  outbox.add("readings/undo", newId("undo"), { reading_ids: ids });
  const gone = state.readings.find((r) => ids.includes(r.id));
  state.readings = state.readings.filter((r) => !ids.includes(r.id));
  state.last = [];
  $("remarks").replaceChildren();
  $("echo").textContent = t("Taken back. It stays in the record, marked as undone at entry.");
  if (gone?.place_id) pickPlace(gone.place_id);
  else changed();
}

function showRemarks(told) {
  const boxes = told.remarks.map((remark) => {
    const values = { ...remark.values };
    if (values.direction) values.direction = t(values.direction);
    if (values.gap) values.gap = metres(values.gap, 1);
    return element("div", { class: "remark", role: "status" },
      element("p", {}, t(remark.words, values)),
      element("div", { class: "row" },
        element("button", { type: "button", class: "button slim", onclick: undo }, t("Take it back")),
        element("button", { type: "button", class: "button slim", onclick: (e) => e.target.closest(".remark").remove() }, t("It is right"))));
  });
  $("remarks").replaceChildren(...boxes);
}

function valueWords(reading) {
  if (reading.censoring === "below_floor") return t("below {level}", { level: density(reading.value_w_m2) });
  if (reading.censoring === "overload") return t("above {level}", { level: density(reading.value_w_m2) });
  return density(reading.value_w_m2);
}

function intervalWords(reading) {
  if (!(reading.low_w_m2 > 0)) return t("true level below {high}", { high: density(reading.high_w_m2, 2) });
  if (reading.high_w_m2 === null) return t("true level above {low}", { low: density(reading.low_w_m2, 2) });
  return t("true level {low} to {high}", { low: number(reading.low_w_m2 * 1e6, 2), high: density(reading.high_w_m2, 2) });
}

// A blank shows what is typed; behind an empty one stands what was read here on the visit before.
function drawLine() {
  const factor = { "µW/m²": 1e6, "mW/m²": 1e3, "nW/m²": 1e9 }[pad.unit];
  const before = (kinds) => start.earlier.find((r) => r.place_id === state.placeId && r.state_id === state.stateId && r.censoring === "none" && kinds.includes(r.kind));
  const behind = { high: before([pad.kind]) ?? before(HIGH_KINDS), mean: before(["average"]) };
  const decimal = number(1.5).slice(1, 2);
  for (const button of document.querySelectorAll("[data-blank]")) {
    const blank = button.dataset.blank;
    const typed = (blank === "seconds" ? pad.seconds : pad.blanks[blank]).replace(".", decimal);
    const earlier = behind[blank] ? t("before {value}", { value: number(behind[blank].value_w_m2 * factor) }) : "";
    button.textContent = typed || earlier || "…";
    button.classList.toggle("empty", !typed);
    button.classList.toggle("now", pad.at === blank);
    const words = { high: KIND_WORDS[pad.kind], mean: KIND_WORDS.average, seconds: t("seconds") }[blank];
    button.setAttribute("aria-label", [words, typed || t("empty"), typed ? "" : earlier].filter(Boolean).join(": "));
    button.setAttribute("aria-pressed", String(pad.at === blank));
  }
  $("kind-words").textContent = KIND_WORDS[pad.kind];
  for (const unit of document.querySelectorAll("[data-unit]")) unit.textContent = pad.unit;
  $("waiting-values").replaceChildren(...pad.waiting.map((v, n) => element("button", { type: "button", class: "chip", "aria-label": t("Take {value} out of this entry", { value: v.number ?? v.censoring }), onclick: () => { pad.waiting.splice(n, 1); changed(); } }, `${v.orientation.toUpperCase()} ${number(v.number)} ×`)),
    ORIENTATIONS.indexOf(pad.orientation) in { 1: 0, 2: 0, 3: 0 } ? element("span", { class: "soft" }, t("axis {axis}", { axis: pad.orientation.toUpperCase() })) : "");
  $("enter").textContent = pad.at === "seconds" || pad.leadsToMean ? t("Next") : t("Keep");
  $("undo").hidden = !outbox.items.length && !state.readings.length;
}

const LOOK_MS = 20000;
let refit = false;
function draw() {
  drawLine();
  $("orientation").value = ["y", "z"].includes(pad.orientation) ? "x" : pad.orientation;
  $("scan").value = state.scan;
  $("state").value = state.stateId;
  $("meter").value = state.meterId;
  $("place").value = state.placeId;
  drawList();
  view.chosen.clear();
  if (state.placeId) view.chosen.add(`places:${state.placeId}`);
  view.numbers = platesOf(start.plan.places, state.readings, state.stateId);
  view.show(start.plan, state.storeyId);
  storeyButtons($("storeys"), start.plan, state.storeyId, (id) => { state.storeyId = id; keep(); draw(); view.fit(); });
  if (refit) { refit = false; view.fit(); }
}

// The line under the title keeps pace with what is entered.
function drawProgress() {
  const read = new Set([...state.readings.map((r) => `${r.place_id} ${r.state_id}`), ...outbox.entries.map((e) => `${e.place_id} ${e.radio_state_id}`)]);
  const cells = start.states.flatMap((one) => start.plan.places.map((place) => ({ place, one })));
  const open = cells.filter(({ place, one }) => !read.has(`${place.id} ${one.id}`));
  const count = document.querySelector(".visit-count");
  if (count) count.textContent = t("{measured} of {cells}", { measured: cells.length - open.length, cells: cells.length });
  const next = document.querySelector(".visit-next");
  if (!next) return;
  next.hidden = !open.length;
  if (open.length) next.textContent = t("next: {place}, {state}", { place: open[0].place.name, state: open[0].one.name });
}

function drawList() {
  drawProgress();
  const recent = state.readings.slice(-6).reverse();
  const waiting = outbox.entries.filter((entry) => entry.visit_id === start.visit.id).slice(-6).reverse();
  $("recent-empty").hidden = state.readings.length + waiting.length > 0;
  $("recent").replaceChildren(...waiting.map(waitingLine), ...recent.map((reading) => {
    const place = placeOf(reading.place_id)?.name ?? t("Point on the plan");
    return element("li", {},
      element("a", { class: "row spread", href: `/surveys/${start.survey_id}/readings/entry/${reading.id}` }, element("span", {}, place, element("span", { class: "soft" }, ` · ${KIND_WORDS[reading.kind]}`)), element("strong", { class: "num" }, valueWords(reading))),
      bars([{ low: reading.low_w_m2 * 1e6, high: reading.high_w_m2 === null ? null : reading.high_w_m2 * 1e6, middle: reading.censoring === "none" ? reading.value_w_m2 * 1e6 : undefined }], { width: 320, line: 14, ticks: false, label: intervalWords(reading) }),
      element("p", { class: "soft small" }, intervalWords(reading)));
  }));
  $("count").textContent = String(state.readings.length);
}

// An entry that has not reached the record stands on top of the list, as it was typed.
function waitingLine(entry) {
  const place = placeOf(entry.place_id)?.name ?? t("Point on the plan");
  return element("li", { class: "waits" },
    element("p", { class: "row spread" }, element("span", {}, place, element("span", { class: "soft" }, ` · ${t("waits")}`)), element("strong", { class: "num" }, typedWords(entry.values, entry.unit))));
}

function typedWords(values, unit) {
  return values.map((v) => `${KIND_WORDS[v.kind]} ${v.number === null ? BOUNDS[v.censoring] : `${number(v.number, 6)} ${unit}`}`).join(", ");
}

const bearing = new BearingLine({
  view,
  point: () => placeOf(state.placeId)?.position ?? state.position,
  start: () => ({ entry_id: newId("bearing"), ...setting() }),
  onKept(entry) {
    outbox.add("bearings", entry.entry_id, entry);
    view.bearings = [...start.bearings, ...waitingBearings()];
    $("echo").textContent = t("{place}: bearing kept", { place: point() });
    view.draw();
  },
  onOpen(open) {
    if (open && hotSpots.open) hotSpots.toggle(false);
    $("bearing-line").hidden = !open;
    $("entry-line").hidden = open;
    $("keys").hidden = open;
    $("bearing-open").setAttribute("aria-pressed", String(open));
    view.svg.classList.toggle("drawing", open);
    document.querySelector(".walk-grid").classList.toggle("turning", open);
  },
});

const hotSpots = new HotSpots({
  view, start, state, outbox, newId, moment,
  onChange: () => draw(),
  onOpen(open) {
    if (open && bearing.open) bearing.toggle(false);
    $("spots-line").hidden = !open;
    $("entry-line").hidden = open;
    $("keys").hidden = open;
    $("spots-open").setAttribute("aria-pressed", String(open));
    view.svg.classList.toggle("drawing", open);
    document.querySelector(".walk-grid").classList.toggle("turning", open);
    if (open) document.querySelector(".walk-sheet").scrollIntoView({ block: "start" });
    else if (start.spots.length) { goOn(); changed(); refresh(); }
  },
});

view.onDraw = () => {
  drawPoints(view, state);
  hotSpots.draw(view.layers.marks);
  bearing.draw(view.layers.marks);
};

function changed() {
  keep();
  draw();
}

function pickPlace(id) {
  const place = placeOf(id);
  state.placeId = id;
  state.position = null;
  if (place?.storey_id && place.storey_id !== state.storeyId) { state.storeyId = place.storey_id; refit = true; }
  changed();
}

function pickNext(step) {
  const places = start.plan.places;
  if (!places.length) return;
  const at = places.findIndex((p) => p.id === state.placeId);
  pickPlace(places[(at + step + places.length) % places.length].id);
}

// A long press on the line opens what else belongs to the entry: note, photo, height, antenna.
const LONG_PRESS_MS = 550;
let pressing = 0;
$("entry-line").addEventListener("pointerdown", () => { pressing = setTimeout(() => $("more").showModal(), LONG_PRESS_MS); });
for (const name of ["pointerup", "pointercancel", "pointerleave"]) $("entry-line").addEventListener(name, () => clearTimeout(pressing));
$("entry-line").addEventListener("contextmenu", (event) => event.preventDefault());

photoField({
  field: $("photo"), said: $("photo-words"), newId, outbox,
  caption: () => ({
    caption: [point(), start.states.find((s) => s.id === state.stateId)?.name, $("note").value].filter(Boolean).join(", "),
    subject: $("photo-subject").value, place_id: $("photo-subject").value === "house_front" ? "" : state.placeId, visit_id: start.visit.id, radio_state_id: state.stateId,
    entry_id: nextEntry(), taken_at: moment(), keeps_camera_data: $("photo-data").checked ? "yes" : "no",
  }),
  onKept(id) { $("note").value = [$("note").value, t("photo {mark}", { mark: id.split("-").at(-1) })].filter(Boolean).join(", "); },
});

let drag = null;
navigate(view, {
  onStart(event) { drag = { x: event.clientX, y: event.clientY, moved: false, target: hit(event) }; },
  onMove(event, down) {
    if (!down || !drag) return;
    if (!drag.moved && Math.hypot(event.clientX - drag.x, event.clientY - drag.y) < 6) return;
    drag.moved = true;
    if (bearing.open) bearing.turnTo(view.toPlan(event));
    else view.pan(event.movementX, event.movementY);
  },
  onEnd(event, cancelled) {
    if (drag && !cancelled && bearing.open) {
      if (!drag.moved && drag.target?.kind === "places") pickPlace(drag.target.id);
      else { bearing.turnTo(view.toPlan(event)); bearing.drawn(); }
      bearing.told();
    } else if (drag && !drag.moved && !cancelled) pick(view.toPlan(event), drag.target);
    drag = null;
  },
});

function pick(at, target) {
  if (hotSpots.open) {
    hotSpots.add([round(at[0]), round(at[1]), round(view.onStorey().storey.floor_m + 1)]);
    return;
  }
  const near = view.onStorey().places.map((p) => ({ id: p.id, gap: distance(at, p.position) })).sort((a, b) => a.gap - b.gap)[0];
  if (target?.kind === "places") pickPlace(target.id);
  else if (near && near.gap < 24 * view.metresPerPixel) pickPlace(near.id);
  else {
    state.placeId = "";
    const floor = view.onStorey().storey.floor_m;
    state.position = [round(at[0]), round(at[1]), round(floor + 1)];
    changed();
  }
}

const cycle = (list, now) => list[(list.indexOf(now) + 1) % list.length];
const actions = {
  back: () => { pad.type("back"); changed(); },
  enter: () => enter(),
  floor: () => enter("below_floor"),
  overload: () => enter("overload"),
  undo,
  unit: () => { pad.unit = cycle(UNITS, pad.unit); changed(); },
  kind: () => { pad.kind = cycle(HIGH_KINDS, pad.kind); changed(); },
  bearing: () => bearing.toggle(),
};
for (const button of document.querySelectorAll("[data-key]")) {
  button.addEventListener("click", () => {
    const key = button.dataset.key;
    if (actions[key]) actions[key]();
    else { pad.type(key); changed(); }
  });
}
for (const button of document.querySelectorAll("[data-blank]")) button.addEventListener("click", () => { pad.go(button.dataset.blank); changed(); });
$("orientation").addEventListener("change", (e) => { pad.orientation = e.target.value; changed(); });
$("scan").addEventListener("change", (e) => { state.scan = e.target.value; changed(); });
$("state").addEventListener("change", (e) => {
  if (e.target.value === "+") { e.target.value = state.stateId; $("new-state").showModal(); return; }
  state.stateId = e.target.value;
  changed();
});
$("meter").addEventListener("change", (e) => { state.meterId = e.target.value; changed(); });
$("place").addEventListener("change", (e) => pickPlace(e.target.value));

// "Bed 340", where the device itself understands it; what was heard stands in the line and is kept with Enter as ever.
onDeviceVoice(document.documentElement.lang).then((voice) => {
  if (!voice) return;
  const button = $("speak");
  button.hidden = false;
  button.addEventListener("click", () => { button.setAttribute("aria-pressed", "true"); voice.start(); });
  voice.addEventListener("end", () => button.setAttribute("aria-pressed", "false"));
  voice.addEventListener("result", (event) => {
    const said = event.results[0][0].transcript;
    const { placeId, high, mean } = heard(said, start.plan.places, state.placeId);
    if (!high) { notice(t("Heard “{said}”: no figure in it.", { said })); return; }
    if (placeId && placeId !== state.placeId) pickPlace(placeId);
    Object.assign(pad.blanks, { high, mean });
    pad.go(mean ? "mean" : "high");
    changed();
    $("echo").textContent = t("Heard “{said}”. Keep it, or type over it.", { said });
  });
});

const LETTERS = {
  p: () => { pad.kind = "peak"; pad.go("high"); },
  m: () => { pad.kind = "highest_held"; pad.go("high"); },
  a: () => pad.go("mean"),
  t: () => pad.go("seconds"),
  o: () => { pad.orientation = cycle(ORIENTATIONS, pad.orientation); },
  s: () => { state.stateId = cycle(start.states.map((x) => x.id), state.stateId); },
  u: () => { pad.unit = cycle(UNITS, pad.unit); },
  b: () => bearing.toggle(),
};
document.addEventListener("keydown", (event) => {
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") {
    event.preventDefault();
    undo();
    return;
  }
  if (event.ctrlKey || event.metaKey || event.altKey || event.target.matches("input:not([type=radio]), textarea") || event.target.closest("dialog")) return;
  const key = event.key;
  // A figure typed while a list has the focus belongs to the line; letters still look through the list.
  if (event.target.matches("select")) {
    if (!/^[\d.,<>]$/.test(key)) return;
    event.preventDefault();
    event.target.blur();
  }
  const onButton = event.target.matches("button:not(.blank), a, summary");
  if (/^\d$/.test(key)) pad.type(key);
  else if (key === "." || key === ",") pad.type(".");
  else if (key === "Backspace") { event.preventDefault(); pad.type("back"); }
  else if (key === "Enter" && !onButton) { event.preventDefault(); enter(); return; }
  else if (key === "<") { enter("below_floor"); return; }
  else if (key === ">") { enter("overload"); return; }
  else if (key === "PageDown" || key === "]") { event.preventDefault(); pickNext(1); return; }
  else if (key === "PageUp" || key === "[") { event.preventDefault(); pickNext(-1); return; }
  else if (LETTERS[key.toLowerCase()]) LETTERS[key.toLowerCase()]();
  else return;
  if (onButton && /^[\d.,]$/.test(key)) event.target.blur();
  changed();
});

$("state-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const form = event.currentTarget;
  const off = [...form.querySelectorAll("[name=off]:checked")].map((box) => box.value);
  const [id, name] = [newId("state"), form.elements.name.value.trim()];
  if (!name) return;
  start.states = [...start.states, { id, name, off_groups: off }];
  outbox.add("radio-states", id, { state_id: id, visit_id: start.visit.id, name, off_groups: off, activities: doing(form) });
  state.stateId = id;
  fillStates();
  $("new-state").close();
  changed();
});
// What others do, as far as it was seen to; what is off does nothing.
function doing(form) {
  return [...form.querySelectorAll("[name=doing]")].filter((field) => field.value && !field.disabled).map((field) => ({ name: field.dataset.group, activity: field.value }));
}
for (const chip of document.querySelectorAll("[data-adds]")) chip.addEventListener("click", () => { $("note").value = [$("note").value, chip.textContent].filter(Boolean).join(", "); });
const nameField = $("state-form").elements.name;
$("state-form").addEventListener("change", (event) => {
  if (!event.target.matches("[name=off], [name=doing]")) return;
  const form = event.currentTarget;
  const names = [...form.querySelectorAll("[name=off]:checked")].map((b) => b.dataset.names);
  for (const field of form.querySelectorAll("[name=doing]")) field.disabled = Boolean(form.querySelector(`[name=off][value="${CSS.escape(field.dataset.group)}"]:checked`));
  const busy = [...form.querySelectorAll("[name=doing]")].filter((f) => f.value && !f.disabled).map((f) => `${f.dataset.names} ${f.selectedOptions[0].textContent}`);
  nameField.value = [names.length ? t("{names} off", { names: names.join(", ") }) : "", ...busy].filter(Boolean).join(", ");
});

draw();
loadImages(view, (hash) => `/surveys/${start.survey_id}/media/${hash}`);
view.fit();
outbox.onChange(outbox.items.length);
outbox.onRefused();
outbox.drain();
keepHere();
document.addEventListener("visibilitychange", () => { if (!document.hidden) refresh(); });
setInterval(() => { if (!document.hidden) refresh(); }, LOOK_MS);
document.documentElement.dataset.ready = "walk";
