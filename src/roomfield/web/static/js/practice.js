// The practice home: the pointer is the meter. Every tenth of a second the way goes to the server, which answers what the
// meter shows and how loud each 20 ms of it was; nothing of the truth is in this page.

import { send } from "./door.js";
import { metres, number, t } from "./words.js";

const home = document.getElementById("practice");
const seed = home.dataset.seed;
const at = (id) => document.getElementById(id);
const cube = at("cube");
const pen = cube.getContext("2d");
const STEP_S = 0.02;
const MARK_KEYS = { 1: "spot", 2: "again" };
const SEND_EVERY_MS = 100;
const EDGE_M = 0.25;
const TURN_RAD_S = 1.6;

let scan = "";
let pending = [];
let begins = null;
let place = [0, 0];
let turning = false;
let angle = 0;
let lean = 0;
let began = 0;
let counted = 0;
let busy = false;
let way = [];
let sound = null;

function direction() {
  return [Math.sin(angle) * Math.cos(lean), Math.sin(angle) * Math.sin(lean), Math.cos(angle)];
}

function draw() {
  const side = cube.width;
  pen.clearRect(0, 0, side, side);
  pen.strokeStyle = getComputedStyle(cube).color;
  pen.globalAlpha = 0.35;
  pen.beginPath();
  for (const [x, y] of way) pen.lineTo(((x + EDGE_M) / (2 * EDGE_M)) * side, ((EDGE_M - y) / (2 * EDGE_M)) * side);
  pen.stroke();
  pen.globalAlpha = 1;
  const [x, y] = [((place[0] + EDGE_M) / (2 * EDGE_M)) * side, ((EDGE_M - place[1]) / (2 * EDGE_M)) * side];
  const [u, v] = direction();
  pen.lineWidth = 3;
  pen.beginPath();
  pen.moveTo(x - 22 * u, y + 22 * v);
  pen.lineTo(x + 22 * u, y - 22 * v);
  pen.stroke();
  pen.lineWidth = 1;
  pen.beginPath();
  pen.arc(x, y, 5, 0, 2 * Math.PI);
  pen.stroke();
}

function beepSource() {
  const context = new AudioContext();
  const tone = context.createOscillator();
  const gain = context.createGain();
  tone.type = "sawtooth";
  tone.frequency.value = 100;
  gain.gain.value = 0;
  tone.connect(gain).connect(context.destination);
  tone.start();
  return { context, gain };
}

function play(loudness) {
  if (!sound || !at("sound").checked) return;
  const now = sound.context.currentTime;
  loudness.forEach((value, index) => sound.gain.gain.setTargetAtTime(0.25 * value ** 3, now + index * STEP_S, 0.008));
}

function tick() {
  if (!scan) return;
  const due = Math.floor((performance.now() - began) / 1000 / STEP_S);
  // A page that was hidden for a while does not claim that the meter moved meanwhile.
  if (due - counted > 100) counted = due - 100;
  for (; counted < due; counted += 1) {
    if (turning || at("turn").checked) {
      angle += TURN_RAD_S * STEP_S;
      lean += 0.37 * TURN_RAD_S * STEP_S;
    }
    pending.push([place[0], place[1], Number(at("height").value) / 100, ...direction()]);
  }
  draw();
}

async function tell() {
  if (!scan || busy || !pending.length) return;
  busy = true;
  const moves = { rows: pending.splice(0, 400), begins };
  begins = null;
  try {
    const shown = await send("POST", `/api/v1/practice/scans/${scan}/moves`, moves);
    for (const name of ["peak", "held", "average"]) at(name).textContent = number(shown[name]);
    at("said").textContent = shown.said;
    play(shown.loudness);
  } catch (error) {
    at("said").textContent = error.message;
    scan = "";
    allowMarks();
  } finally {
    busy = false;
  }
}

function scored(id, found, better, kept) {
  const best = found.best.length ? ` ${t("Best:")} ${found.best.join(", ")}.` : "";
  const truth = number(found.truth_w_m2 * 1e6);
  at(id).textContent = `${found.points} ${t("of 100 points")}. ${better} ${metres(found.missed_db, 1)} dB. ${kept} ${truth} µW/m².${best}`;
}

async function attempt(id, work) {
  try {
    await work();
  } catch (error) {
    at(id).textContent = error.message;
  }
}

at("begin").addEventListener("click", () => attempt("said", async () => {
  const start = { seed: Number(seed), place: at("place").value, off: [] };
  pending = [];
  begins = null;
  way = [];
  counted = 0;
  sound ??= beepSource();
  scan = (await send("POST", "/api/v1/practice/scans", start)).id;
  began = performance.now();
  at("end").disabled = false;
  allowMarks();
  at("scan-score").textContent = "";
  cube.focus();
}));
at("end").addEventListener("click", () => attempt("scan-score", async () => {
  const ended = scan;
  scan = "";
  at("end").disabled = true;
  allowMarks();
  if (sound) sound.gain.gain.cancelScheduledValues(0).value = 0;
  scored("scan-score", await send("GET", `/api/v1/practice/scans/${ended}/score`), t("Missed:"), t("The largest there is:"));
}));

const marks = [...home.querySelectorAll("button[data-begins]")];

function allowMarks() {
  for (const button of marks) button.disabled = !scan;
}

// What was moved before the mark is told first, so that the part begins where it was marked.
async function mark(part) {
  if (!scan) return;
  await tell();
  begins = part;
}
for (const button of marks) {
  button.addEventListener("click", () => { mark(button.dataset.begins); cube.focus(); });
}

function moved(event) {
  const box = cube.getBoundingClientRect();
  const part = (value, low, size) => Math.min(1, Math.max(0, (value - low) / size));
  place = [
    (2 * part(event.clientX, box.left, box.width) - 1) * EDGE_M,
    (1 - 2 * part(event.clientY, box.top, box.height)) * EDGE_M,
  ];
  if (scan) way.push([...place]);
  if (way.length > 1500) way.shift();
}
cube.addEventListener("pointermove", moved);
cube.addEventListener("pointerdown", (event) => { moved(event); turning = event.pointerType === "mouse"; cube.setPointerCapture(event.pointerId); });
cube.addEventListener("pointerup", () => { turning = false; });
cube.addEventListener("wheel", (event) => { event.preventDefault(); lift(event.deltaY < 0 ? 1 : -1); }, { passive: false });
cube.addEventListener("keydown", (event) => {
  const steps = { ArrowLeft: [-0.01, 0], ArrowRight: [0.01, 0], ArrowUp: [0, 0.01], ArrowDown: [0, -0.01] }[event.key];
  if (event.key === " ") turning = true;
  else if (event.key === "w" || event.key === "s") lift(event.key === "w" ? 1 : -1);
  else if (event.key in MARK_KEYS) {
    if (!event.repeat) mark(MARK_KEYS[event.key]);
  } else if (steps) place = place.map((value, k) => Math.min(EDGE_M, Math.max(-EDGE_M, value + steps[k])));
  else return;
  event.preventDefault();
});
cube.addEventListener("keyup", (event) => { if (event.key === " ") turning = false; });

function lift(by) {
  at("height").value = Number(at("height").value) + by;
}

const order = [];
for (const button of at("order").querySelectorAll("button")) {
  button.addEventListener("click", () => {
    if (order.includes(button.dataset.name)) order.splice(order.indexOf(button.dataset.name), 1);
    else order.push(button.dataset.name);
    for (const each of at("order").querySelectorAll("button")) {
      const rank = order.indexOf(each.dataset.name) + 1;
      each.textContent = rank ? `${rank}. ${each.dataset.name}` : each.dataset.name;
    }
    at("score-order").disabled = order.length !== at("order").querySelectorAll("button").length;
  });
}
const named = (names) => names.map((name) => `name=${encodeURIComponent(name)}`).join("&");
at("score-order").addEventListener("click", () => attempt("order-score", async () => {
  const address = `/api/v1/practice/${seed}/order?place=${encodeURIComponent(at("place").value)}&${named(order)}`;
  scored("order-score", await send("GET", address), t("More than in the best order:"), t("Left there in the end:"));
}));
at("score-plan").addEventListener("click", () => attempt("plan-score", async () => {
  const chosen = [...home.querySelectorAll("input[name=plan]:checked")].map((box) => box.value);
  if (!chosen.length) {
    at("plan-score").textContent = t("Choose at least one.");
    return;
  }
  scored("plan-score", await send("GET", `/api/v1/practice/${seed}/plan?${named(chosen)}`), t("More than with the best choice:"), t("Left at the worst place:"));
}));

setInterval(tick, 40);
setInterval(tell, SEND_EVERY_MS);
draw();
