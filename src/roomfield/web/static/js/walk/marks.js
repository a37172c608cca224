// What stands on the plan during the walk: at each place the highest value read there in this radio state, as typed.

import { shape } from "../svg.js";
import { toneOf } from "../tones.js";
import { number } from "../words.js";

const order = (reading) => (reading.censoring === "below_floor" ? -1 : reading.value_w_m2);

export function platesOf(places, readings, stateId) {
  const plates = new Map();
  for (const place of places) {
    const here = readings.filter((r) => r.place_id === place.id && r.state_id === stateId).sort((a, b) => order(b) - order(a));
    if (!here.length) continue;
    const [top] = here;
    const sign = { below_floor: "< ", overload: "> " }[top.censoring] ?? "";
    plates.set(place.id, { words: `${sign}${number(top.value_w_m2 * 1e6, 3)}`, tone: toneOf(top.value_w_m2), title: place.name });
  }
  return plates;
}

export function drawPoints(view, state) {
  const marks = view.layers.marks;
  marks.replaceChildren();
  const { storey } = view.onStorey();
  for (const reading of state.readings.filter((r) => r.position && !r.place_id)) {
    if (reading.position[2] >= storey.floor_m - 0.2 && reading.position[2] < storey.ceiling_m + 0.3) marks.append(dot(view, reading));
  }
  if (state.position && !state.placeId) marks.append(shape("circle", { class: "target-ring", cx: state.position[0], cy: -state.position[1], r: 11 * view.pixel }));
}

// A point measured between the places, with what was read there: a hot spot keeps its number in sight.
function dot(view, reading) {
  const [x, y] = reading.position;
  const words = shape("text", { x: 9, y: 4, "font-size": 11 });
  words.textContent = `${{ below_floor: "< ", overload: "> " }[reading.censoring] ?? ""}${number(reading.value_w_m2 * 1e6, 3)}`;
  return shape("g", { transform: `translate(${x} ${-y}) scale(${view.pixel})` }, shape("circle", { class: "reading-dot", r: 5 }), words);
}
