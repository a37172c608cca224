// A night on a sound cable: a recording is sent in pieces that survive a broken line; a night that goes on is sent second by second.

import { faultBox, send } from "../door.js";
import { element } from "../element.js";
import { followed } from "../longwork.js";
import { number, t } from "../words.js";

const start = JSON.parse(document.getElementById("start").textContent);
const home = `/surveys/${start.survey_id}/night`;
const $ = (id) => document.getElementById(id);
const TRIES = 8;
const WAIT_MS = 3000;
const KEPT_S = 600; // so much sound waits for a line that broke
let running = null;

const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });

// A local moment with its offset from UTC, as it was on that day.
function withOffset(local) {
  const at = new Date(local);
  if (Number.isNaN(at.getTime())) return "";
  const minutes = -at.getTimezoneOffset();
  const two = (n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
  return `${local.length === 16 ? `${local}:00` : local}${minutes < 0 ? "-" : "+"}${two(minutes / 60)}:${two(minutes % 60)}`;
}

async function bring(file, form) {
  const about = new FormData();
  about.set("name", file.name);
  about.set("size", String(file.size));
  const { night } = await send("POST", `${home}/sound`, about);
  const bar = element("progress", { max: "1", value: "0", "aria-label": t("How far it is") });
  const words = element("span", { class: "small soft", role: "status" });
  const stop = element("button", { type: "button", class: "button slim" }, t("Stop"));
  let unwanted = false;
  stop.addEventListener("click", () => { unwanted = true; });
  const box = element("div", { class: "long-work row" }, bar, words, stop);
  form.append(box);
  try {
    let have = 0;
    for (let failed = 0; have < file.size;) {
      if (unwanted) {
        await send("POST", `${home}/${night}/throw-away`).catch(() => {});
        return null;
      }
      try {
        ({ have } = await send("POST", `${home}/sound/${night}?at=${have}`, file.slice(have, have + start.piece_bytes)));
        failed = 0;
      } catch (error) {
        failed += 1;
        if (error.status || failed > TRIES) throw error;
        words.textContent = t("The line is broken; it goes on by itself.");
        await pause(WAIT_MS);
        continue;
      }
      bar.value = have / file.size;
      words.textContent = t("{done} of {all} MB are here", { done: number(Math.round(have / 1e6), 6), all: number(Math.round(file.size / 1e6), 6) });
    }
    return night;
  } finally {
    box.remove();
  }
}

const chosen = () => $("night-id")?.value ?? "";
$("night-id")?.addEventListener("change", () => { $("sound-field").hidden = chosen() !== ""; });

$("night-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.currentTarget;
  form.querySelector(":scope > .fault")?.remove();
  const buttons = [...form.querySelectorAll("button:not(:disabled)")];
  const content = new FormData(form);
  content.set("began", withOffset($("began-here").value));
  buttons.forEach((button) => { button.disabled = true; });
  try {
    let night = form.dataset.night || chosen();
    if (!night) {
      const [file] = $("sound").files;
      if (!file) throw Object.assign(new Error(t("No file was chosen.")), {});
      night = await bring(file, form);
      if (!night) return;
      form.dataset.night = night; // numbers that are refused are mended without bringing it again
    }
    content.set("night_id", night);
    const made = await followed(await send("POST", `${home}/keep`, content), form);
    if (made) location.assign(made.next);
  } catch (error) {
    const box = faultBox(error);
    form.append(box);
    box.scrollIntoView({ block: "nearest" });
  } finally {
    buttons.forEach((button) => { button.disabled = false; });
  }
});
$("sound").addEventListener("change", () => { delete $("night-form").dataset.night; });

async function devices() {
  const all = await navigator.mediaDevices.enumerateDevices();
  const select = $("input-device");
  const before = select.value;
  const inputs = all.filter((d) => d.kind === "audioinput");
  select.replaceChildren(...inputs.map((d, n) => new Option(d.label || t("Input {n}", { n: n + 1 }), d.deviceId)));
  if (inputs.some((d) => d.deviceId === before)) select.value = before;
}

async function begin(form) {
  if (!navigator.mediaDevices) {
    fault({ message: t("The browser gives no microphone here. Open the page at http://127.0.0.1 or through TLS.") });
    return;
  }
  $("live-fault").replaceChildren();
  const device = $("input-device").value;
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      audio: { deviceId: device ? { exact: device } : undefined, echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 },
    });
    await devices();
    const context = new AudioContext({ latencyHint: "playback" });
    await context.audioWorklet.addModule("/static/js/listen/capture.js");
    const capture = new AudioWorkletNode(context, "capture", { numberOfOutputs: 0 });
    const content = new FormData(form);
    content.set("rate", String(context.sampleRate));
    const { night } = await send("POST", `${home}/live`, content);
    running = { night, stream, context, rate: context.sampleRate, waiting: [], first: 0, next: 0, sent: 0, part: [], line: null, ended: false };
    context.createMediaStreamSource(stream).connect(capture);
    capture.port.onmessage = (event) => take(event.data);
    running.awake = await navigator.wakeLock?.request("screen").catch(() => null);
    document.body.dataset.listening = "yes";
    form.hidden = true;
    $("live-going").hidden = false;
    $("live-state").textContent = t("The first second is on its way ...");
    connect();
  } catch (error) {
    stream?.getTracks().forEach((track) => track.stop());
    fault({ message: t("No sound comes in: {why}", { why: error.message }), body: error.body });
  }
}

const fault = (error) => $("live-fault").replaceChildren(faultBox(error));

// Chunks of a tenth of a second are joined to a second; each waits here until the server says that it has it.
function take(samples) {
  if (!running || running.ended) return;
  running.part.push(samples);
  if (running.part.length < 10) return;
  const joined = new Float32Array(running.part.reduce((sum, one) => sum + one.length, 0));
  let at = 0;
  for (const one of running.part) { joined.set(one, at); at += one.length; }
  running.part = [];
  running.waiting.push({ first: running.next, samples: joined });
  running.next += joined.length;
  const most = KEPT_S * running.rate;
  if (running.next - running.waiting[0].first > most) {
    fault({ message: t("The line was broken for more than ten minutes: the night ends here.") });
    end(false);
    return;
  }
  pump();
}

function pump() {
  const { line } = running ?? {};
  if (!line || line.readyState !== WebSocket.OPEN || !line.greeted) return;
  for (const chunk of running.waiting) {
    if (chunk.first !== running.sent || line.bufferedAmount > 4 * 1024 * 1024) continue;
    line.send(chunk.samples.buffer.slice(0));
    running.sent += chunk.samples.length;
  }
}

function connect() {
  if (!running || running.ended) return;
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  const line = new WebSocket(`${scheme}://${location.host}${home}/live/${running.night}`);
  line.binaryType = "arraybuffer";
  running.line = line;
  line.onmessage = (event) => hear(line, JSON.parse(event.data));
  line.onclose = async () => {
    if (!running || running.ended || running.line !== line) return;
    $("live-state").textContent = t("The line is broken; the sound waits here.");
    await pause(WAIT_MS);
    connect();
  };
}

function hear(line, answer) {
  if (!running) return;
  if (answer.fault) {
    fault({ message: answer.fault.what, body: answer.fault });
    end(false);
    return;
  }
  running.waiting = running.waiting.filter((chunk) => chunk.first >= answer.have);
  if (!line.greeted) {
    line.greeted = true;
    running.sent = answer.have;
  }
  if (answer.seconds !== undefined) tell(answer);
  pump();
}

function tell(answer) {
  const level = 20 * Math.log10(Math.max(answer.peak, 1e-6));
  const hms = (s) => [Math.floor(s / 3600), Math.floor(s / 60) % 60, s % 60].map((n, i) => (i ? String(n).padStart(2, "0") : String(n))).join(":");
  $("live-time").textContent = hms(answer.seconds);
  const loud = level > -3 ? t("Nearly too loud ({level} dB): turn the meter down a little.", { level: level.toFixed(0) })
    : level < -50 ? t("Too quiet ({level} dB): turn the meter up.", { level: level.toFixed(0) })
      : t("Loud enough ({level} dB).", { level: level.toFixed(0) });
  const read = answer.readings ? t("Readings of the display that count: {n}.", { n: answer.readings }) : t("Nothing was read off the display yet: levels have no scale.");
  const who = answer.heard.length ? t("Heard: {names}.", { names: answer.heard.map((name) => t(start.technologies[name] ?? name)).join(", ") }) : "";
  const refused = answer.refused.length ? t("A number could not be used: {why}", { why: answer.refused.at(-1) }) : "";
  $("live-state").textContent = [t("{time} safe on the disk.", { time: hms(answer.saved_s) }), loud, read, who, refused].filter(Boolean).join(" ");
}

async function end(leave = true) {
  if (!running || running.ended) return;
  const done = running;
  done.ended = true;
  done.stream.getTracks().forEach((track) => track.stop());
  done.context.close();
  done.awake?.release();
  delete document.body.dataset.listening;
  done.line?.close();
  await send("POST", `${home}/live/${done.night}/end`).catch(() => {});
  if (leave) {
    location.hash = "waiting";
    location.reload();
  }
}

$("live-form").addEventListener("submit", (event) => { event.preventDefault(); begin(event.currentTarget); });
$("live-stop").addEventListener("click", () => end());
$("shown-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.currentTarget;
  form.querySelector(":scope > .fault")?.remove();
  try {
    await send("POST", `${home}/live/${running.night}/shown`, new FormData(form));
    form.reset();
    $("noted").textContent = t("Noted at {time}.", { time: new Date().toLocaleTimeString(document.documentElement.lang) });
  } catch (error) {
    form.append(faultBox(error));
  }
});
window.addEventListener("beforeunload", (event) => { if (running && !running.ended) event.preventDefault(); });
document.documentElement.dataset.ready = "night";
