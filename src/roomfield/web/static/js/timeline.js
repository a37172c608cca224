// A long series on a canvas: the server sends only as many bins as there are pixels.

import { faultBox } from "./door.js";
import { number, place as language, t } from "./words.js";

const start = JSON.parse(document.getElementById("start").textContent);
const canvas = document.getElementById("timeline");
const said = document.getElementById("said");
const NIGHT = [22, 6];
const LINES = { aim: t("aim"), limit: t("limit") };
const sender = document.getElementById("sender");
const state = { lines: [], from: null, to: null, first: 0, last: 0, data: null, wanted: null, busy: false };

async function fetchWindow() {
  if (state.busy) { state.wanted = true; return; }
  state.busy = true;
  const query = new URLSearchParams({ bins: String(Math.min(2000, Math.max(200, canvas.clientWidth))) });
  if (start.of_night) query.set("sender", sender.value);
  if (state.from !== null) {
    query.set("start", new Date(state.from).toISOString());
    query.set("end", new Date(state.to).toISOString());
  }
  try {
    const answer = await fetch(`/surveys/${start.survey_id}/logs/${start.log_id}/window?${query}`);
    const told = await answer.json();
    if (!answer.ok) throw Object.assign(new Error(told.what), { body: told });
    state.data = told;
    state.first = Date.parse(told.first);
    state.last = Date.parse(told.last);
    if (state.from === null) [state.from, state.to] = [state.first, state.last];
    draw();
  } catch (error) {
    canvas.after(faultBox(error));
  } finally {
    state.busy = false;
    if (state.wanted) { state.wanted = null; fetchWindow(); }
  }
}

function draw() {
  const { data } = state;
  if (!data) return;
  const ratio = window.devicePixelRatio || 1;
  const [width, height] = [canvas.clientWidth, canvas.clientHeight];
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round(height * ratio);
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  const style = getComputedStyle(document.documentElement);
  const colour = (name) => style.getPropertyValue(name);
  const scale = data.unit === "W/m2" ? 1e6 : 1;
  const unit = data.unit === "W/m2" ? "µW/m²" : data.unit;
  const linear = /dB/.test(data.unit);
  const known = [...data.low, ...data.high, ...(data.surely_high ?? [])].filter((v) => v !== null && (linear || v > 0)).map((v) => v * scale);
  const put = linear ? (v) => v : (v) => Math.log10(v);
  known.push(...bounds().map(({ value }) => value * scale));
  let [low, high] = known.length ? [put(Math.min(...known)), put(Math.max(...known))] : [0, 1];
  const room = Math.max(0.1, (high - low) * 0.08);
  low -= room;
  high += room;
  const [left, bottom, top] = [64, 26, 8];
  const x = (ms) => left + ((ms - state.from) / (state.to - state.from)) * (width - left - 8);
  const y = (v) => top + (1 - (put(v * scale) - low) / (high - low)) * (height - top - bottom);
  pen.font = "12px system-ui, sans-serif";
  pen.fillStyle = colour("--ink-soft");
  pen.strokeStyle = colour("--rule");
  pen.textAlign = "right";
  for (const mark of marks(low, high, linear)) {
    const at = top + (1 - (put(mark) - low) / (high - low)) * (height - top - bottom);
    line(pen, left, at, width - 8, at);
    pen.fillText(number(mark, 3), left - 6, at + 4);
  }
  pen.textAlign = "center";
  const span = state.to - state.from;
  const step = [60e3, 300e3, 900e3, 3600e3, 3 * 3600e3, 6 * 3600e3, 12 * 3600e3, 86400e3, 2 * 86400e3, 7 * 86400e3].find((s) => span / s <= Math.max(3, width / 95)) ?? 30 * 86400e3;
  const zone = -offsetOf(state.from, data.zone);
  for (let at = Math.ceil((state.from - zone) / step) * step + zone; at < state.to; at += step) {
    line(pen, x(at), top, x(at), height - bottom);
    const when = new Date(at);
    const words = step >= 86400e3 ? when.toLocaleDateString(language, { day: "numeric", month: "short", timeZone: data.zone }) : when.toLocaleTimeString(language, { hour: "2-digit", minute: "2-digit", timeZone: data.zone });
    pen.fillText(words, x(at), height - 8);
  }
  // Nights stand darker, as far as single ones can be told.
  const day = 86400e3;
  pen.fillStyle = colour("--accent-wash");
  pen.globalAlpha = 0.6;
  for (let at = Math.floor((state.from - zone) / day) * day + zone - day; at < state.to && state.to - state.from < 60 * day; at += day) {
    const [a, b] = [at + NIGHT[0] * 3600e3, at + day + NIGHT[1] * 3600e3].map((ms) => Math.min(width - 8, Math.max(left, x(ms))));
    if (b > a) pen.fillRect(a, top, b - a, height - top - bottom);
  }
  pen.globalAlpha = 1;
  const begin = Date.parse(data.start);
  const bin = data.bin_s * 1000;
  pen.fillStyle = colour("--scale-3");
  data.low.forEach((v, i) => {
    if (v === null || (!linear && v <= 0)) return;
    const from = x(begin + i * bin);
    pen.fillRect(from, y(data.high[i]), Math.max(1, x(begin + (i + 1) * bin) - from), Math.max(1, y(v) - y(data.high[i])));
  });
  for (const { value, words } of bounds()) {
    pen.strokeStyle = pen.fillStyle = colour("--ink");
    pen.setLineDash([6, 4]);
    line(pen, left, y(value), width - 8, y(value));
    pen.setLineDash([]);
    pen.textAlign = "left";
    pen.fillText(words, left + 6, y(value) - 4);
  }
  const course = (values) => {
    pen.beginPath();
    let pending = false;
    values.forEach((v, i) => {
      if (v === null || (!linear && v <= 0)) { pending = false; return; }
      const at = x(begin + (i + 0.5) * bin);
      if (pending) pen.lineTo(at, y(v));
      else pen.moveTo(at, y(v));
      pending = true;
    });
    pen.stroke();
  };
  pen.strokeStyle = colour("--ink");
  for (const end of [data.surely_low, data.surely_high]) if (end) course(end);
  pen.lineWidth = 1.8;
  course(data.mean);
  pen.lineWidth = 1;
  const span_told = { from: moment(state.from), to: moment(state.to), unit };
  said.textContent = data.surely_low
    ? t("{from} to {to}, {unit}; band: lowest to highest, thick line: mean, thin lines: its 90 % interval", span_told)
    : t("{from} to {to}, {unit}; band: lowest to highest, line: mean", span_told);
}

// The bound that was typed, else the aim or the limit that fits what one value of this log is.
function bounds() {
  if (sender?.value) return []; // a limit or an aim is meant for everything together
  if (start.bound !== null) return [{ value: start.bound, words: t("bound") }];
  return state.lines.map(({ role, value_w_m2: value }) => ({ value, words: `${LINES[role]} ${number(value * 1e6, 3)}` }));
}

const moment = (ms) => new Date(ms).toLocaleString(language, { dateStyle: "medium", timeStyle: "short", timeZone: state.data.zone });

// How far a zone's clock is ahead of UTC at a moment, in milliseconds.
function offsetOf(ms, zone) {
  const whole = Math.floor(ms / 60e3) * 60e3;
  const parts = new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit" }).formatToParts(whole);
  const of = Object.fromEntries(parts.map((part) => [part.type, Number(part.value)]));
  return Date.UTC(of.year, of.month - 1, of.day, of.hour, of.minute) - whole;
}
function line(pen, x0, y0, x1, y1) {
  pen.beginPath();
  pen.moveTo(x0, y0);
  pen.lineTo(x1, y1);
  pen.stroke();
}

function marks(low, high, linear) {
  const found = [];
  if (linear) for (let v = Math.ceil(low / 10) * 10; v <= high; v += 10) found.push(v);
  else {
    for (let p = Math.floor(low); p <= Math.ceil(high); p += 1) for (const m of high - low < 1.3 ? [1, 2, 5] : [1]) {
      const v = m * 10 ** p;
      if (Math.log10(v) >= low && Math.log10(v) <= high) found.push(v);
    }
  }
  return found;
}

function look(from, to) {
  const shortest = 60e3;
  const span = Math.min(Math.max(to - from, shortest), state.last - state.first);
  const begin = Math.min(Math.max(from, state.first), state.last - span);
  [state.from, state.to] = [begin, begin + span];
  draw();
  fetchWindow();
}

function zoom(factor, at = (state.from + state.to) / 2) {
  look(at - (at - state.from) * factor, at + (state.to - at) * factor);
}
const shift = (share) => look(state.from + share * (state.to - state.from), state.to + share * (state.to - state.from));
const moves = { back: () => shift(-0.5), on: () => shift(0.5), in: () => zoom(0.5), out: () => zoom(2), all: () => look(state.first, state.last) };
for (const button of document.querySelectorAll("[data-move]")) button.addEventListener("click", () => moves[button.dataset.move]());
canvas.addEventListener("keydown", (event) => {
  const keys = { ArrowLeft: () => shift(-0.2), ArrowRight: () => shift(0.2), "+": moves.in, "-": moves.out, Home: moves.all };
  if (keys[event.key]) { event.preventDefault(); keys[event.key](); }
});
const time = (event) => {
  const frame = canvas.getBoundingClientRect();
  return state.from + ((event.clientX - frame.left - 64) / (frame.width - 72)) * (state.to - state.from);
};
canvas.addEventListener("wheel", (event) => { event.preventDefault(); zoom(Math.exp(event.deltaY * 0.0015), time(event)); }, { passive: false });
canvas.addEventListener("touchstart", (event) => event.preventDefault(), { passive: false });
// The values under the finger, in words below the drawing.
function tellAt(event) {
  const { data } = state;
  if (!data) return;
  const n = Math.floor((time(event) - Date.parse(data.start)) / (data.bin_s * 1000));
  const scale = data.unit === "W/m2" ? 1e6 : 1;
  const unit = data.unit === "W/m2" ? "µW/m²" : data.unit;
  if (!(data.high[n] > -Infinity) || data.high[n] === null) { said.textContent = t("{moment}: nothing was observed", { moment: moment(time(event)) }); return; }
  const [low, mean, high] = [data.low[n], data.mean[n], data.high[n]].map((v) => (v === null ? "–" : number(v * scale, 3)));
  said.textContent = t("{moment}: mean {mean}, lowest {low}, highest {high} {unit}", { moment: moment(Date.parse(data.start) + n * data.bin_s * 1000), mean, low, high, unit });
}
const fingers = new Map();
let before = null;
canvas.addEventListener("pointermove", (event) => { if (!fingers.size) tellAt(event); });
canvas.addEventListener("click", tellAt);
canvas.addEventListener("pointerdown", (event) => { canvas.setPointerCapture(event.pointerId); fingers.set(event.pointerId, event.clientX); before = spread(); });
canvas.addEventListener("pointermove", (event) => {
  if (!fingers.has(event.pointerId)) return;
  fingers.set(event.pointerId, event.clientX);
  const now = spread();
  const perPixel = (state.to - state.from) / (canvas.clientWidth - 72);
  if (now.gap && before.gap) zoom(before.gap / now.gap, time({ clientX: now.middle }));
  else look(state.from - (now.middle - before.middle) * perPixel, state.to - (now.middle - before.middle) * perPixel);
  before = now;
});
for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, (event) => { fingers.delete(event.pointerId); before = spread(); });
function spread() {
  const at = [...fingers.values()];
  return { middle: at.reduce((a, b) => a + b, 0) / (at.length || 1), gap: at.length === 2 ? Math.abs(at[0] - at[1]) : 0 };
}
document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-from]");
  if (!button) return;
  const [from, to] = [Date.parse(button.dataset.from), Date.parse(button.dataset.to)];
  const room = Math.max(to - from, 120e3);
  look(from - room, to + room);
  canvas.scrollIntoView({ block: "center" });
  canvas.focus({ preventScroll: true });
});
sender?.addEventListener("change", () => fetchWindow());
new ResizeObserver(() => draw()).observe(canvas);
await fetchWindow();
fetch(`/surveys/${start.survey_id}/logs/${start.log_id}/lines`).then((answer) => (answer.ok ? answer.json() : [])).then((lines) => { state.lines = lines; draw(); });
document.documentElement.dataset.ready = "log";
