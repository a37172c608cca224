// Listening live: the meter's audio goes to this computer's own server, which answers what it hears.

import { faultBox, notice, send } from "../door.js";
import { metres, t } from "../words.js";

const start = JSON.parse(document.getElementById("start").textContent);
const $ = (id) => document.getElementById(id);
const LONGEST_S = 600;
const SHOWN_S = 12;
let running = null;

async function devices() {
  const all = await navigator.mediaDevices.enumerateDevices();
  const inputs = all.filter((d) => d.kind === "audioinput");
  const select = $("input-device");
  const before = select.value;
  select.replaceChildren(...inputs.map((d, n) => new Option(d.label || t("Input {n}", { n: n + 1 }), d.deviceId)));
  if (inputs.some((d) => d.deviceId === before)) select.value = before;
}

async function begin() {
  if (!navigator.mediaDevices) {
    $("live-fault").replaceChildren(faultBox({ message: t("The browser gives no microphone here. Open the page at http://127.0.0.1 or through TLS.") }));
    return;
  }
  $("live-fault").replaceChildren();
  const device = $("input-device").value;
  try {
    const stream = await navigator.mediaDevices.getUserMedia({
      audio: { deviceId: device ? { exact: device } : undefined, echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 },
    });
    await devices();
    await connect(stream);
  } catch (error) {
    $("live-fault").replaceChildren(faultBox({ message: t("No sound comes in: {why}", { why: error.message }) }));
    stop();
  }
}

async function connect(stream) {
  const context = new AudioContext({ latencyHint: "interactive" });
  await context.audioWorklet.addModule("/static/js/listen/capture.js");
  const source = context.createMediaStreamSource(stream);
  const capture = new AudioWorkletNode(context, "capture", { numberOfOutputs: 0 });
  source.connect(capture);
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  const line = new WebSocket(`${scheme}://${location.host}/surveys/${start.survey_id}/listen/live?rate=${context.sampleRate}`);
  line.binaryType = "arraybuffer";
  running = { stream, context, line, chunks: [], envelope: [], rate: context.sampleRate, seconds: 0, clipped: false };
  line.onmessage = (event) => show(JSON.parse(event.data));
  line.onclose = () => { if (running) stop(); };
  capture.port.onmessage = (event) => take(event.data);
  document.body.dataset.listening = "yes";
  $("live-start").hidden = true;
  $("envelope-hint").hidden = true;
  $("live-stop").hidden = false;
  $("rate").textContent = t("{rate} Hz, no processing by the browser", { rate: context.sampleRate });
  requestAnimationFrame(draw);
}

function take(samples) {
  if (!running) return;
  running.seconds += samples.length / running.rate;
  if (running.seconds <= LONGEST_S) running.chunks.push(samples.slice());
  const step = Math.ceil(samples.length / 20);
  for (let i = 0; i < samples.length; i += step) {
    let peak = 0;
    for (let k = i; k < Math.min(i + step, samples.length); k += 1) peak = Math.max(peak, Math.abs(samples[k]));
    running.envelope.push(peak);
  }
  const most = SHOWN_S * 200;
  if (running.envelope.length > most) running.envelope.splice(0, running.envelope.length - most);
  if (running.line.readyState === WebSocket.OPEN && running.line.bufferedAmount < 4 * 1024 * 1024) running.line.send(samples.buffer);
}

function draw() {
  if (!running) return;
  const canvas = $("envelope");
  const ratio = window.devicePixelRatio || 1;
  const [width, height] = [canvas.clientWidth, canvas.clientHeight];
  if (canvas.width !== Math.round(width * ratio)) {
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  const style = getComputedStyle(document.documentElement);
  pen.strokeStyle = style.getPropertyValue("--rule");
  for (let s = 0; s <= SHOWN_S; s += 1) {
    pen.beginPath();
    pen.moveTo((s / SHOWN_S) * width, 0);
    pen.lineTo((s / SHOWN_S) * width, height);
    pen.stroke();
  }
  pen.fillStyle = style.getPropertyValue("--accent");
  const most = SHOWN_S * 200;
  const data = running.envelope;
  const offset = most - data.length;
  for (let i = 0; i < data.length; i += 1) {
    const x = ((offset + i) / most) * width;
    const h = Math.max(1, data[i] * (height / 2 - 2));
    pen.fillRect(x, height / 2 - h, Math.max(1, width / most), 2 * h);
  }
  $("live-time").textContent = t("{seconds} s", { seconds: running.seconds.toFixed(0) });
  setTimeout(() => requestAnimationFrame(draw), matchMedia("(prefers-reduced-motion: reduce)").matches ? 500 : 60);
}

function show(answer) {
  if (answer.fault) {
    $("live-fault").replaceChildren(faultBox({ message: answer.fault.what, body: answer.fault }));
    stop();
    return;
  }
  $("live-clipped").hidden = !answer.clipped;
  if (!answer.fresh) return;
  const rows = Object.entries(answer.probabilities).sort((a, b) => b[1] - a[1]).slice(0, 8);
  $("live-heard").replaceChildren(...rows.map(([name, chance]) => {
    const item = document.createElement("li");
    const claimed = answer.claimed.includes(name);
    item.className = claimed ? "claimed" : "";
    const label = document.createElement("span");
    label.textContent = t(start.technologies[name] ?? name);
    const value = document.createElement("span");
    value.className = "num";
    value.textContent = chance < 0.01 ? "< 1 %" : chance > 0.99 ? "> 99 %" : `${Math.round(chance * 100)} %`;
    const bar = document.createElement("meter");
    bar.min = 0;
    bar.max = 1;
    bar.value = chance;
    bar.setAttribute("aria-label", label.textContent);
    item.append(label, value, bar);
    return item;
  }));
  $("live-state").textContent = [said(answer), loudness(answer)].join(" ");
}

function said(answer) {
  if (answer.claimed.length) return answer.stable ? t("steady for a second") : t("settling ...");
  if (answer.transmitter >= 0.5) return t("a transmitter is heard, its kind cannot be told yet");
  return t("nothing recognised in the last {seconds} s", { seconds: answer.window_s.toFixed(0) });
}

// Full scale less 40 dB hides short bursts in the sound card's own noise; less 3 dB is about to clip.
function loudness(answer) {
  const level = 20 * Math.log10(Math.max(answer.peak, 1e-6));
  if (level < -40) return t("Too quiet ({level} dB): turn the meter up.", { level: level.toFixed(0) });
  if (level > -3) return t("Nearly too loud ({level} dB): turn the meter down a little.", { level: level.toFixed(0) });
  return t("Loud enough ({level} dB).", { level: level.toFixed(0) });
}

function stop() {
  if (!running) return;
  const done = running;
  running = null;
  done.stream.getTracks().forEach((track) => track.stop());
  done.context.close();
  if (done.line.readyState <= WebSocket.OPEN) done.line.close();
  delete document.body.dataset.listening;
  $("live-start").hidden = false;
  $("live-stop").hidden = true;
  if (done.chunks.length) {
    $("keep-box").hidden = false;
    $("keep-box").recorded = done;
    $("keep-words").textContent = t("{seconds} s of sound wait to be kept.", { seconds: metres(Math.min(LONGEST_S, done.seconds), 1) });
  }
}

// 16-bit WAV with the rate the sound came at.
function wave({ chunks, rate }) {
  const count = chunks.reduce((sum, c) => sum + c.length, 0);
  const view = new DataView(new ArrayBuffer(44 + 2 * count));
  const word = (at, text) => [...text].forEach((c, i) => view.setUint8(at + i, c.charCodeAt(0)));
  word(0, "RIFF");
  view.setUint32(4, 36 + 2 * count, true);
  word(8, "WAVEfmt ");
  view.setUint32(16, 16, true);
  view.setUint16(20, 1, true);
  view.setUint16(22, 1, true);
  view.setUint32(24, rate, true);
  view.setUint32(28, 2 * rate, true);
  view.setUint16(32, 2, true);
  view.setUint16(34, 16, true);
  word(36, "data");
  view.setUint32(40, 2 * count, true);
  let at = 44;
  for (const chunk of chunks) for (const value of chunk) { view.setInt16(at, Math.max(-1, Math.min(1, value)) * 32767, true); at += 2; }
  return new File([view.buffer], "live.wav", { type: "audio/wav" });
}

async function keep(form, file) {
  const data = new FormData(form);
  if (file) data.set("sound", file);
  form.querySelector(".fault")?.remove();
  const button = form.querySelector("button");
  button.disabled = true;
  button.dataset.words = button.textContent;
  button.textContent = t("Listening to it ...");
  try {
    const told = await send("POST", `/surveys/${start.survey_id}/listen`, data);
    location.assign(told.next); // the same page with another mark: it must be fetched again to show what was kept
    location.reload();
  } catch (error) {
    form.append(faultBox(error));
    button.disabled = false;
    button.textContent = button.dataset.words;
  }
}

$("live-start").addEventListener("click", begin);
$("live-stop").addEventListener("click", stop);
$("keep-form").addEventListener("submit", (event) => { event.preventDefault(); keep(event.currentTarget, wave($("keep-box").recorded)); });
$("upload-form").addEventListener("submit", (event) => { event.preventDefault(); keep(event.currentTarget); });
navigator.mediaDevices?.addEventListener?.("devicechange", () => devices().catch(() => notice(t("The list of inputs cannot be read."))));
document.documentElement.dataset.ready = "listen";
