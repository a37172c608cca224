// The walk: a point, a number, enter. Everything typed is kept before it is sent.

import { faultBox, notice, send } from "../door.js";
import { bars } from "../axis.js";
import { density, number, t } from "../words.js";
import { hit, navigate } from "../plan/gestures.js";
import { shape } from "../svg.js";
import { PlanView, loadImages, storeyButtons } from "../plan/view.js";
import { distance, round } from "../plan/shapes.js";
import { element } from "../element.js";
import { KINDS, ORIENTATIONS, Pad, UNITS } from "./pad.js";
import { Queue } from "./queue.js";

const start = JSON.parse(document.getElementById("start").textContent);
const KIND_NAMES = { peak: "Peak", highest_held: "Highest held", average: "Average" };
const AXIS_NAMES = { best_axis: "Best axis", x: "X", y: "Y", z: "Z", three_axis_sum: "Sum of three axes" };
const keptKey = `walk-draft:${start.survey_id}`;
const kept = JSON.parse(localStorage.getItem(keptKey) ?? "{}");
const pad = new Pad(kept.pad);
const known = (list, id) => list.some((item) => item.id === id);
const state = {
  placeId: known(start.plan.places, kept.placeId) ? kept.placeId : "",
  position: kept.position ?? null,
  storeyId: kept.storeyId ?? start.plan.dwelling.storeys[0]?.id,
  stateId: known(start.states, kept.stateId) ? kept.stateId : start.states[0].id,
  meterId: known(start.meters, kept.meterId) ? kept.meterId : start.meters[0].id,
  readings: start.readings,
  last: [],
};
if (!state.placeId && !state.position && start.plan.places.length) {
  state.placeId = start.plan.places[0].id;
  state.storeyId = start.plan.places[0].storey_id || state.storeyId;
}
const $ = (id) => document.getElementById(id);
const view = new PlanView($("walk-plan"));

function keep() {
  const { placeId, position, storeyId, stateId, meterId } = state;
  localStorage.setItem(keptKey, JSON.stringify({ pad: pad.kept(), placeId, position, storeyId, stateId, meterId }));
}

const queue = new Queue(start.survey_id, {
  onTaken(entry, told) {
    state.readings.push(...told.readings);
    state.last = told.readings.map((r) => r.id);
    showRemarks(told);
    draw();
  },
  onRefused(entry, error) {
    $("remarks").replaceChildren(faultBox(error));
  },
  onChange(waiting, error) {
    $("keeping").textContent = waiting ? t("{count} waiting, kept in this browser", { count: waiting }) : t("All kept");
    $("keeping").classList.toggle("waiting", waiting > 0);
    if (error && error.status === 403) $("keeping").textContent = t("Load the page again to go on; your entries are kept.");
  },
});

function point() {
  const place = start.plan.places.find((p) => p.id === state.placeId);
  if (place) return place.name;
  if (state.position) return t("Point {x} · {y} m", { x: state.position[0].toFixed(1), y: state.position[1].toFixed(1) });
  return t("no point chosen");
}

function enter(censoring = "none") {
  if (!state.placeId && !state.position) {
    notice(t("Press a place or a point on the plan first."));
    return;
  }
  const values = pad.take(censoring);
  if (!values.length) {
    notice(t("Type a number, or press the key for below the floor or overload."));
    return;
  }
  queue.add({
    entry_id: `entry-${Date.now().toString(36)}-${crypto.getRandomValues(new Uint32Array(1))[0].toString(36)}`,
    visit_id: start.visit.id, meter_id: state.meterId, radio_state_id: state.stateId, values, unit: pad.unit,
    place_id: state.placeId, position: state.placeId ? null : state.position, scan: pad.orientation === "best_axis" ? "hand_scan" : "fixed",
    taken_at: moment(), note: "",
  });
  $("remarks").replaceChildren();
  keep();
  draw();
}

function moment() {
  const now = new Date();
  const offset = -now.getTimezoneOffset();
  const two = (n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  const local = new Date(now.getTime() + offset * 60000).toISOString().slice(0, 19);
  return `${local}${offset < 0 ? "-" : "+"}${two(offset / 60)}:${two(offset % 60)}`;
}

async function undo() {
  if (queue.entries.length) {
    queue.entries.pop();
    queue.keep();
    notice(t("Taken back before it was sent."));
    return;
  }
  const ids = state.last.length ? state.last : state.readings.slice(-1).map((r) => r.id);
  if (!ids.length) return;
  try {
    await send("POST", `/api/v1/surveys/${start.survey_id}/readings/undo`, { reading_ids: ids });
    state.readings = state.readings.filter((r) => !ids.includes(r.id));
    state.last = [];
    $("remarks").replaceChildren();
    notice(t("Taken back. It stays in the record, marked as undone at entry."));
    draw();
  } catch (error) {
    notice(error.message);
  }
}

function showRemarks(told) {
  const boxes = told.remarks.map((remark) => {
    const values = { ...remark.values };
    if (values.direction) values.direction = t(values.direction);
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

function draw() {
  $("point-name").textContent = point();
  $("point-context").textContent = `${t(KIND_NAMES[pad.kind])} · ${t(AXIS_NAMES[pad.orientation])} · ${start.states.find((s) => s.id === state.stateId)?.name}`;
  $("display-number").textContent = pad.digits || "0";
  $("display-number").classList.toggle("faint", !pad.digits);
  $("display-unit").textContent = pad.unit;
  $("waiting-values").replaceChildren(...pad.waiting.map((v, n) => element("button", { type: "button", class: "chip", "aria-label": t("Take {value} out of this entry", { value: v.number ?? v.censoring }), onclick: () => { pad.waiting.splice(n, 1); changed(); } },
    `${t(KIND_NAMES[v.kind])}${v.orientation.length === 1 ? ` ${v.orientation.toUpperCase()}` : ""} ${v.censoring === "none" ? v.number : t(v.censoring === "overload" ? "overload" : "below floor")} ×`)));
  for (const input of document.querySelectorAll("[name=kind]")) input.checked = input.value === pad.kind;
  $("orientation").value = pad.orientation;
  $("state").value = state.stateId;
  $("meter").value = state.meterId;
  $("place").value = state.placeId;
  drawList();
  view.chosen.clear();
  if (state.placeId) view.chosen.add(`places:${state.placeId}`);
  view.show(start.plan, state.storeyId);
  storeyButtons($("storeys"), start.plan, state.storeyId, (id) => { state.storeyId = id; keep(); draw(); view.fit(); });
}

function drawList() {
  const recent = state.readings.slice(-6).reverse();
  $("recent-empty").hidden = state.readings.length > 0;
  $("recent").replaceChildren(...recent.map((reading) => {
    const place = start.plan.places.find((p) => p.id === reading.place_id)?.name ?? t("Point on the plan");
    return element("li", {},
      element("div", { class: "row spread" }, element("span", {}, place, element("span", { class: "soft" }, ` · ${t(KIND_NAMES[reading.kind])}`)), element("strong", { class: "num" }, valueWords(reading))),
      bars([{ low: reading.low_w_m2 * 1e6, high: reading.high_w_m2 === null ? null : reading.high_w_m2 * 1e6, middle: reading.censoring === "none" ? reading.value_w_m2 * 1e6 : undefined }], { width: 320, line: 14, ticks: false, label: intervalWords(reading) }),
      element("p", { class: "soft small" }, intervalWords(reading)));
  }));
  $("count").textContent = String(state.readings.length);
}

view.onDraw = () => {
  const marks = view.layers.marks;
  marks.replaceChildren();
  const { storey, places } = view.onStorey();
  for (const reading of state.readings.filter((r) => r.position && !r.place_id)) {
    if (reading.position[2] >= storey.floor_m - 0.2 && reading.position[2] < storey.ceiling_m + 0.3) marks.append(shape("circle", { class: "reading-dot", cx: reading.position[0], cy: -reading.position[1], r: 5 * view.pixel }));
  }
  for (const place of places) {
    const here = state.readings.filter((r) => r.place_id === place.id && r.state_id === state.stateId).length;
    if (here) {
      const badge = shape("g", { class: "badge", transform: `translate(${place.position[0]} ${-place.position[1]}) scale(${view.pixel})` });
      const words = shape("text", { x: 15, y: -9, "font-size": 11, "text-anchor": "middle", class: "badge-number" });
      words.textContent = String(here);
      badge.append(shape("circle", { cx: 15, cy: -13, r: 9 }), words);
      marks.append(badge);
    }
  }
  if (state.position && !state.placeId) marks.append(shape("circle", { class: "target-ring", cx: state.position[0], cy: -state.position[1], r: 11 * view.pixel }));
};

function changed() {
  keep();
  draw();
}

function pickPlace(id) {
  const place = start.plan.places.find((p) => p.id === id);
  state.placeId = id;
  state.position = null;
  if (place?.storey_id && place.storey_id !== state.storeyId) state.storeyId = place.storey_id;
  changed();
}

function pickNext(step) {
  const places = start.plan.places;
  if (!places.length) return;
  const at = places.findIndex((p) => p.id === state.placeId);
  pickPlace(places[(at + step + places.length) % places.length].id);
}

let drag = null;
navigate(view, {
  onStart(event) { drag = { x: event.clientX, y: event.clientY, moved: false, target: hit(event) }; },
  onMove(event, down) {
    if (!down || !drag) return;
    if (!drag.moved && Math.hypot(event.clientX - drag.x, event.clientY - drag.y) < 6) return;
    drag.moved = true;
    view.pan(event.movementX, event.movementY);
  },
  onEnd(event, cancelled) {
    if (drag && !drag.moved && !cancelled) pick(view.toPlan(event), drag.target);
    drag = null;
  },
});

function pick(at, target) {
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

const actions = {
  back: () => { pad.type("back"); changed(); },
  and: () => { if (pad.aside()) changed(); },
  enter: () => enter(),
  floor: () => enter("below_floor"),
  overload: () => enter("overload"),
  undo,
  unit: () => { pad.unit = UNITS[(UNITS.indexOf(pad.unit) + 1) % UNITS.length]; changed(); },
  before: () => pickNext(-1),
  after: () => pickNext(1),
};
for (const button of document.querySelectorAll("[data-key]")) {
  button.addEventListener("click", () => {
    const key = button.dataset.key;
    if (actions[key]) actions[key]();
    else { pad.type(key); changed(); }
  });
}
for (const input of document.querySelectorAll("[name=kind]")) input.addEventListener("change", () => { pad.kind = input.value; changed(); });
$("orientation").addEventListener("change", (e) => { pad.orientation = e.target.value; changed(); });
$("state").addEventListener("change", (e) => { state.stateId = e.target.value; changed(); });
$("meter").addEventListener("change", (e) => { state.meterId = e.target.value; changed(); });
$("place").addEventListener("change", (e) => pickPlace(e.target.value));

const LETTERS = {
  p: () => { pad.kind = KINDS[0]; }, m: () => { pad.kind = KINDS[1]; }, a: () => { pad.kind = KINDS[2]; },
  o: () => { pad.orientation = ORIENTATIONS[(ORIENTATIONS.indexOf(pad.orientation) + 1) % ORIENTATIONS.length]; },
  s: () => { const at = start.states.findIndex((x) => x.id === state.stateId); state.stateId = start.states[(at + 1) % start.states.length].id; },
  u: () => { pad.unit = UNITS[(UNITS.indexOf(pad.unit) + 1) % UNITS.length]; },
};
document.addEventListener("keydown", (event) => {
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") {
    event.preventDefault();
    undo();
    return;
  }
  if (event.ctrlKey || event.metaKey || event.altKey || event.target.matches("input:not([type=radio]), select, textarea") || event.target.closest("dialog")) return;
  const key = event.key;
  const onButton = event.target.matches("button, a, summary");
  if (/^\d$/.test(key)) pad.type(key);
  else if (key === "." || key === ",") pad.type(".");
  else if (key === "Backspace") pad.type("back");
  else if (key === "Enter" && !onButton) { event.preventDefault(); enter(); return; }
  else if (key === "+" || (key === " " && !onButton)) pad.aside();
  else if (key === "<") { enter("below_floor"); return; }
  else if (key === ">") { enter("overload"); return; }
  else if (key === "PageDown" || key === "]") { event.preventDefault(); pickNext(1); return; }
  else if (key === "PageUp" || key === "[") { event.preventDefault(); pickNext(-1); return; }
  else if (LETTERS[key.toLowerCase()]) LETTERS[key.toLowerCase()]();
  else return;
  if (key === " " || key === "Backspace") event.preventDefault();
  if (onButton && /^[\d.,+]$/.test(key)) event.target.blur();
  changed();
});

$("state-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.currentTarget;
  const off = [...form.querySelectorAll("[name=off]:checked")].map((box) => box.value);
  form.querySelector(".fault")?.remove();
  try {
    const told = await send("POST", `/api/v1/surveys/${start.survey_id}/radio-states`, { visit_id: start.visit.id, name: form.elements.name.value, off_groups: off });
    start.states = told.states;
    $("state").replaceChildren(...start.states.map((s) => element("option", { value: s.id }, s.name)));
    state.stateId = start.states.at(-1).id;
    $("new-state").close();
    changed();
  } catch (error) {
    form.append(faultBox(error));
  }
});
const nameField = $("state-form").elements.name;
for (const box of document.querySelectorAll("#state-form [name=off]")) {
  box.addEventListener("change", () => {
    const names = [...document.querySelectorAll("#state-form [name=off]:checked")].map((b) => b.dataset.names);
    nameField.value = names.length ? t("{names} off", { names: names.join(", ") }) : "";
  });
}

draw();
loadImages(view, (hash) => `/surveys/${start.survey_id}/media/${hash}`);
view.fit();
queue.onChange(queue.entries.length);
queue.drain();
document.documentElement.dataset.ready = "walk";
