// The orienting walk: what sounds loud is tapped on the plan before anything is measured, and is measured first.

import { shape } from "../svg.js";
import { t } from "../words.js";

const $ = (id) => document.getElementById(id);
const MEASURED_M = 0.8;
const SIZE = 8;

export class HotSpots {
  constructor({ view, start, state, outbox, newId, moment, onOpen, onChange }) {
    Object.assign(this, { view, start, state, outbox, newId, moment, onOpen, onChange });
    this.open = false;
    $("spots-open").addEventListener("click", () => this.toggle());
    $("spots-done").addEventListener("click", () => this.toggle(false));
    $("spots-back").addEventListener("click", () => this.takeBack());
  }

  toggle(open = !this.open) {
    this.open = open;
    this.said();
    this.onOpen(open);
  }

  said() {
    const count = this.start.spots.length;
    $("spots-words").textContent = count ? t("Loud spots marked: {count}. They are measured first.", { count }) : t("Walk through all rooms by ear and tap the plan where it is loud.");
    $("spots-back").disabled = !count;
  }

  add([x, y, z]) {
    const id = this.newId("spot");
    const mark = { spot_id: id, visit_id: this.start.visit.id, position: [x, y, z], heard: $("heard").value && $("heard").selectedOptions[0].textContent, noted_at: this.moment() };
    this.start.spots.push({ ...mark, id });
    this.start.order.unshift({ place_id: "", spot_id: id });
    this.outbox.add("hot-spots", id, mark);
    this.changed();
  }

  takeBack() {
    const last = this.start.spots.pop();
    if (!last) return;
    this.start.order = this.start.order.filter((stop) => stop.spot_id !== last.id);
    const waiting = this.outbox.items.find((item) => item.id === last.id);
    if (waiting) this.outbox.drop(waiting);
    else this.outbox.add("hot-spots/away", this.newId("away"), { spot_id: last.id });
    this.changed();
  }

  changed() {
    this.said();
    this.onChange();
  }

  // A spot whose surroundings were read in this radio state is done with.
  isMeasured(spot, stateId) {
    const near = (position) => position && Math.hypot(position[0] - spot.position[0], position[1] - spot.position[1], position[2] - spot.position[2]) <= MEASURED_M;
    return this.state.readings.some((r) => r.state_id === stateId && near(r.position)) || this.outbox.entries.some((e) => e.radio_state_id === stateId && near(e.position));
  }

  // Stops in the order in which they are to be measured: places, and spots by their position.
  stops() {
    const { places } = this.start.plan;
    const spots = new Map(this.start.spots.map((one) => [one.id, one]));
    const listed = this.start.order.map((stop) => ({ place: places.find((p) => p.id === stop.place_id), spot: spots.get(stop.spot_id) })).filter((stop) => stop.place || stop.spot);
    const missing = places.filter((p) => !listed.some((stop) => stop.place?.id === p.id)).map((place) => ({ place }));
    return [...listed, ...missing];
  }

  draw(layer) {
    const { storey } = this.view.onStorey();
    for (const spot of this.start.spots) {
      const [x, y, z] = spot.position;
      if (z < storey.floor_m - 0.2 || z > storey.ceiling_m + 0.3) continue;
      const words = shape("text", { x: SIZE + 3, y: 4, "font-size": 11 });
      words.textContent = spot.heard || t("loud");
      layer.append(shape("g", { class: "hot-spot", transform: `translate(${x} ${-y}) scale(${this.view.pixel})` }, shape("path", { d: `M0 ${-SIZE}L${SIZE} 0L0 ${SIZE}L${-SIZE} 0Z` }), words));
    }
  }
}
