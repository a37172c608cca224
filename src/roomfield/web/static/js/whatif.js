// What if: one question on its way at a time; while it travels only the newest wish waits.

import { faultBox, notice, send } from "./door.js";
import { density, metres, number, t } from "./words.js";
import { element } from "./element.js";
import { distance, round } from "./plan/shapes.js";
import { hit, navigate } from "./plan/gestures.js";
import { shape } from "./svg.js";
import { toneOf } from "./tones.js";
import { PlanView, loadImages, storeyButtons } from "./plan/view.js";

const start = JSON.parse(document.getElementById("start").textContent);
const $ = (id) => document.getElementById(id);
const address = `/api/v1/surveys/${start.survey_id}/what-if`;
const original = structuredClone(start.plan);
const plan = start.plan;
const view = new PlanView($("try-plan"));
const state = { off: new Set(), moved: new Set(), screens: [], storeyId: plan.dwelling.storeys.at(-1)?.id, chosen: "", kind: "peak" };
const first = plan.places.find((p) => p.position);
if (first?.storey_id) state.storeyId = first.storey_id;

// The line to the server.
const asking = { busy: false, newest: null, latencies: [] };
window.roomfieldLatencies = asking.latencies;

function ask() {
  asking.newest = { wish: wish(), at: performance.now() };
  if (!asking.busy) sendNewest();
}

async function sendNewest() {
  const { wish: body, at } = asking.newest;
  asking.newest = null;
  asking.busy = true;
  try {
    showLevels(await send("POST", `${address}?visit=${encodeURIComponent(start.visit_id)}`, body));
    const took = performance.now() - at;
    asking.latencies.push(took);
  } catch (error) {
    $("after").replaceChildren(faultBox(error, ask));
  } finally {
    asking.busy = false;
    if (asking.newest) sendNewest();
  }
}

function wish() {
  const where = (kind) => plan[kind].filter((item) => state.moved.has(`${kind}:${item.id}`)).map(({ id, position }) => ({ id, position }));
  return { off: [...state.off], emitters: where("emitters"), places: where("places"), screens: state.screens, kind: state.kind, bound_w_m2: start.bound_w_m2 };
}

const NARROW = window.matchMedia("(max-width: 62rem)");
const LOW = 1e-3;
const HIGH = 1e7;
const x = (level) => (300 * (Math.log10(Math.min(HIGH, Math.max(LOW, level * 1e6))) - Math.log10(LOW))) / Math.log10(HIGH / LOW);
const share = (p) => (p > 0.99 ? t("over 99 %") : p < 0.01 ? t("under 1 %") : `${Math.round(p * 100)} %`);

// What changes stands at its place, in sight of the finger; what does not change steps back.
function showAtPlaces(rows) {
  $("figures").textContent = t("Figures: level after the change, µW/m² ({kind}); measured, corrected, times what the model says of the change.", { kind: $("kind").selectedOptions[0].textContent });
  view.numbers = new Map(rows.map((row) => {
    const change = row.change_db[1];
    const moved = Math.abs(change) >= 0.05;
    const after = row.after_w_m2[1];
    const more = moved ? `${change > 0 ? "+" : "−"}${number(Math.abs(change), 2)} dB` : "";
    return [row.place_id, { words: number(after * 1e6, 2), more, tone: toneOf(after), faded: !moved && rows.some((r) => Math.abs(r.change_db[1]) >= 0.05), title: row.name }];
  }));
  view.draw();
}

// One sentence that stays in sight under the plan: what changes most, or what the worst sleeping place has now.
function sayAnswer(places) {
  const sleeping = new Set(plan.places.filter((p) => p.kind === "bed" || p.kind === "cot").map((p) => p.id));
  const first = (row) => (sleeping.has(row.place_id) ? 0 : 1);
  const moved = places.filter((row) => Math.abs(row.change_db[1]) >= 0.05);
  const held = state.chosen.startsWith("places:") ? places.find((row) => `places:${row.place_id}` === state.chosen) : null;
  const top = held ?? [...(moved.length ? moved : places)].sort((a, b) => first(a) - first(b) || (moved.length ? Math.abs(b.change_db[1]) - Math.abs(a.change_db[1]) : b.after_w_m2[1] - a.after_w_m2[1]))[0];
  if (!top) return;
  const aim = start.bound_w_m2 && state.kind !== "average" ? t("; aim of {aim} met: {chance}", { aim: density(start.bound_w_m2, 2), chance: share(top.probability_after) }) : "";
  const change = top.change_db[1];
  const words = Math.abs(change) < 0.05 ? t("{place}: {after} ({low} to {high}), as it is", { place: top.name, after: density(top.after_w_m2[1], 2), low: number(top.after_w_m2[0] * 1e6, 2), high: number(top.after_w_m2[2] * 1e6, 2) })
    : t("{place}: {before} becomes {after}, {change} dB", { place: top.name, before: number(top.before_w_m2[1] * 1e6, 2), after: density(top.after_w_m2[1], 2), change: `${change > 0 ? "+" : "−"}${number(Math.abs(change), 2)}` });
  $("try-answer").textContent = words + aim;
}

function showLevels({ places, worse }) {
  showAtPlaces(places);
  sayAnswer(places);
  const changed = (row) => Math.abs(row.change_db[1]) >= 0.05;
  const same = places.filter((row) => !changed(row));
  const row = (row) => {
    const bar = shape("svg", { viewBox: "0 0 300 26", preserveAspectRatio: "none", role: "img", "aria-label": t("before {before}, after {after}", { before: density(row.before_w_m2[1], 2), after: density(row.after_w_m2[1], 2) }) },
      shape("path", { class: "try-before", d: `M${x(row.before_w_m2[0])} 7H${x(row.before_w_m2[2])}` }),
      shape("path", { class: "try-after", d: `M${x(row.after_w_m2[0])} 18H${x(row.after_w_m2[2])}` }),
      shape("path", { class: "try-mid", d: `M${x(row.before_w_m2[1])} 3V11M${x(row.after_w_m2[1])} 13V23` }));
    if (start.bound_w_m2 && state.kind === "peak") bar.append(shape("path", { class: "try-bound", d: `M${x(start.bound_w_m2)} 0V26` }));
    const change = row.change_db[1];
    const words = Math.abs(change) < 0.05 ? t("no change") : `${change > 0 ? "+" : "−"}${number(Math.abs(change), 2)} dB`;
    const chance = start.bound_w_m2 && state.kind === "peak" ? element("p", { class: "soft small" }, t("at or below {bound}: {before} before, {after} after", { bound: density(start.bound_w_m2, 2), before: share(row.probability_before), after: share(row.probability_after) })) : null;
    return element("div", { class: "try-place", "data-place": row.place_id },
      element("div", { class: "row spread" }, element("span", {}, row.name), element("strong", { class: "num" }, words)),
      bar,
      element("p", { class: "small num" }, `${density(row.before_w_m2[1], 2)} → ${density(row.after_w_m2[1], 2)}`), chance,
      row.limiting && Math.abs(change) >= 0.05 ? element("p", { class: "soft small" }, row.limiting) : null);
  };
  const open = $("after").querySelector("details")?.open ?? (!places.some(changed) && !NARROW.matches);
  $("after").replaceChildren(
    ...worse.map((text) => element("p", { class: "small worse" }, text)),
    ...places.filter(changed).map(row),
    ...(same.length ? [element("details", { class: "try-same", open }, element("summary", {}, t("No change at {count} places", { count: same.length })), ...same.map(row))] : []),
  );
}

// Lists: everything can be done here without the plan.
function lists() {
  $("emitters").replaceChildren(...plan.emitters.map((emitter) => element("div", { class: "move-row" },
    element("label", { class: "check" }, element("input", { type: "checkbox", "data-emitter": emitter.id, checked: !state.off.has(emitter.id), onchange: (e) => { e.target.checked ? state.off.delete(emitter.id) : state.off.add(emitter.id); changed(); } }), emitter.name),
    emitter.position && !emitter.outdoor ? moveButton("emitters", emitter) : null)));
  $("places").replaceChildren(...plan.places.filter((p) => p.position).map((place) => element("div", { class: "move-row" }, element("span", {}, place.name), moveButton("places", place))));
  $("screens").replaceChildren(...state.screens.map((screen, n) => element("div", { class: "row spread" }, element("span", {}, `${wallName(screen.surface_id)}, ${screen.attenuation_db} dB`),
    element("button", { type: "button", class: "button slim", "aria-label": t("Take the shield away from {wall}", { wall: wallName(screen.surface_id) }), onclick: () => { state.screens.splice(n, 1); changed(); } }, "×"))));
  const any = state.off.size + state.moved.size + state.screens.length > 0;
  $("keep").disabled = !any;
  $("reset").disabled = !any;
}

function moveButton(kind, item) {
  const key = `${kind}:${item.id}`;
  return element("button", { type: "button", class: "button slim", "aria-pressed": String(state.chosen === key), "aria-label": t("Move {name} with the arrow keys", { name: item.name }), onclick: () => choose(key) }, state.moved.has(key) ? t("moved") : t("Move"));
}

function choose(key) {
  state.chosen = key;
  const [kind, id] = key.split(/:(.*)/s);
  const item = plan[kind].find((i) => i.id === id);
  const storey = plan.dwelling.storeys.find((s) => item.position[2] >= s.floor_m - 0.2 && item.position[2] < s.ceiling_m + 0.2);
  if (storey) state.storeyId = storey.id;
  draw();
  $("try-plan").focus();
}

const wallName = (id) => {
  const wall = plan.dwelling.walls.find((w) => w.id === id);
  if (!wall) return id;
  const storey = plan.dwelling.storeys.find((s) => s.id === wall.storey_id);
  const n = plan.dwelling.walls.filter((w) => w.storey_id === wall.storey_id).indexOf(wall) + 1;
  return t("{storey}: wall {n}, {length} m", { storey: storey?.name ?? "", n, length: metres(distance(wall.start, wall.end), 1) });
};
$("wall").replaceChildren(...plan.dwelling.walls.map((w) => element("option", { value: w.id }, wallName(w.id))));

function draw() {
  view.chosen.clear();
  if (state.chosen) view.chosen.add(state.chosen);
  view.hidden = state.off;
  for (const wall of plan.dwelling.walls) wall.shields = state.screens.some((s) => s.surface_id === wall.id) ? [{}] : [];
  view.show(plan, state.storeyId);
  storeyButtons($("storeys"), plan, state.storeyId, (id) => { state.storeyId = id; draw(); view.fit(); });
  lists();
}

view.onDraw = () => {
  const marks = view.layers.marks;
  marks.replaceChildren();
  for (const key of state.moved) {
    const [kind, id] = key.split(/:(.*)/s);
    const before = original[kind].find((i) => i.id === id).position;
    const now = plan[kind].find((i) => i.id === id).position;
    marks.append(shape("path", { class: "ghost", d: `M${before[0]} ${-before[1]}L${now[0]} ${-now[1]}` }), shape("circle", { class: "ghost", cx: before[0], cy: -before[1], r: 9 * view.pixel }));
  }
};

function changed() {
  draw();
  ask();
}

function move(key, [px, py]) {
  const [kind, id] = key.split(/:(.*)/s);
  const item = plan[kind].find((i) => i.id === id);
  item.position = [round(px), round(py), item.position[2]];
  state.moved.add(key);
  changed();
}

let drag = null;
navigate(view, {
  onStart(event) {
    const target = hit(event);
    const movable = target && (target.kind === "places" || target.kind === "emitters");
    drag = { x: event.clientX, y: event.clientY, moved: false, target, key: movable ? `${target.kind}:${target.id}` : "" };
  },
  onMove(event, down) {
    if (!down || !drag) return;
    if (!drag.moved && Math.hypot(event.clientX - drag.x, event.clientY - drag.y) < 5) return;
    drag.moved = true;
    if (drag.key) {
      state.chosen = drag.key;
      view.lifted = event.pointerType === "mouse" ? "" : drag.key; // its number stands clear of the finger
      move(drag.key, view.toPlan(event));
    }
    else view.pan(event.movementX, event.movementY);
  },
  onEnd(event, cancelled) {
    if (drag && !drag.moved && !cancelled) {
      if (drag.key) choose(drag.key);
      else if (drag.target?.kind === "walls" || drag.target?.kind === "openings") pickWall(drag.target);
    }
    drag = null;
    if (view.lifted) { view.lifted = ""; view.draw(); }
  },
});

function pickWall(target) {
  const wall = target.kind === "walls" ? target.id : plan.dwelling.walls.find((w) => w.openings.some((o) => o.id === target.id)).id;
  $("wall").value = wall;
  $("add-screen").focus({ preventScroll: true });
  notice(t("Chosen: {wall}", { wall: wallName(wall) }), { action: t("Put up a sheet of {db} dB", { db: $("sheet-db").value }), run: addScreen });
}

function addScreen() {
  const attenuation = Number($("sheet-db").value.replace(",", "."));
  if (!(attenuation > 0)) return;
  const id = $("wall").value;
  state.screens = state.screens.filter((s) => s.surface_id !== id);
  state.screens.push({ surface_id: id, attenuation_db: attenuation, part: $("sheet-part").value, coverage: 0.98 });
  changed();
}
$("add-screen").addEventListener("click", addScreen);

$("try-plan").addEventListener("keydown", (event) => {
  const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  if (!arrows[event.key] || !state.chosen) return;
  event.preventDefault();
  const [kind, id] = state.chosen.split(/:(.*)/s);
  const [px, py] = plan[kind].find((i) => i.id === id).position;
  const step = event.shiftKey ? 0.5 : 0.1;
  move(state.chosen, [px + arrows[event.key][0] * step, py + arrows[event.key][1] * step]);
});

$("kind").addEventListener("change", (event) => { state.kind = event.target.value; ask(); });
$("reset").addEventListener("click", () => {
  state.off.clear();
  state.screens = [];
  for (const kind of ["emitters", "places"]) for (const item of plan[kind]) item.position = structuredClone(original[kind].find((i) => i.id === item.id).position);
  state.moved.clear();
  changed();
});
$("keep").addEventListener("click", async () => {
  try {
    await send("POST", `${address}/actions`, wish());
    window.location.assign(`/surveys/${start.survey_id}/what-if#plans`);
    window.location.reload();
  } catch (error) {
    notice(error.message);
  }
});

const form = $("plan-form");
form?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const offer = $("offer");
  const words = element("p", {}, t("Trying every set of actions ..."));
  offer.replaceChildren(element("div", { class: "loading" }, words));
  try {
    offer.innerHTML = await send("GET", `/surveys/${start.survey_id}/what-if/plans?${new URLSearchParams(new FormData(form))}`);
  } catch (error) {
    offer.replaceChildren(faultBox(error));
  }
});

// On a phone the answer comes first; what to change and which plan to take unfold when they are wanted.
if (NARROW.matches) for (const fold of document.querySelectorAll(".try-lists, #plans")) fold.open = location.hash === `#${fold.id}` && fold.id !== "";

draw();
loadImages(view, (hash) => `/surveys/${start.survey_id}/media/${hash}`);
view.fit();
ask();
document.documentElement.dataset.ready = "what-if";
