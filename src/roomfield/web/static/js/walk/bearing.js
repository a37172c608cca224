// Bearings by hand: a line is turned about the chosen point, to the peak or to the null, or follows the phone's compass.

import { shape } from "../svg.js";
import { t } from "../words.js";
import { followCompass, hasCompass } from "./compass.js";

const $ = (id) => document.getElementById(id);
const FULL = 180;

export class BearingLine {
  constructor({ view, start, point, onKept, onOpen }) {
    Object.assign(this, { view, start, point, onKept, onOpen });
    this.open = false;
    this.axis = "strongest";
    this.angles = { strongest: null, null: null };
    this.fromNorth = false;
    for (const axis of ["strongest", "null"]) {
      const field = $(`bearing-${axis}`);
      field.addEventListener("focus", () => { this.axis = axis; this.told(); });
      field.addEventListener("input", () => { this.angles[axis] = field.value === "" ? null : Number(field.value.replace(",", ".")); this.view.draw(); });
    }
    $("bearing-keep").addEventListener("click", () => this.keep());
    $("bearing-leave").addEventListener("click", () => this.toggle(false));
    $("bearing-compass").hidden = !hasCompass();
    $("bearing-compass").addEventListener("click", () => this.followCompass());
  }

  toggle(open = !this.open) {
    this.letCompassGo();
    this.open = open;
    this.angles = { strongest: null, null: null };
    this.fromNorth = false;
    this.axis = "strongest";
    $("bearing-strongest").value = "";
    $("bearing-null").value = "";
    this.onOpen(open);
    this.told();
    this.view.draw();
  }

  told() {
    for (const axis of ["strongest", "null"]) $(`bearing-${axis}`).classList.toggle("now", axis === this.axis);
    $("bearing-words").textContent = this.point() ? t("Turn the line about the point: draw on the plan, or type degrees clockwise from up.") : t("Choose a place first.");
  }

  // The hand draws from anywhere: the line goes through the point and the finger.
  turnTo([x, y]) {
    this.letCompassGo();
    const at = this.point();
    if (!at) return;
    const degrees = (Math.atan2(x - at[0], y - at[1]) * FULL) / Math.PI;
    this.set(((Math.round(degrees) % FULL) + FULL) % FULL);
    this.fromNorth = false;
  }

  set(degrees) {
    this.angles[this.axis] = degrees;
    $(`bearing-${this.axis}`).value = String(degrees);
    this.view.draw();
  }

  // A first line drawn is kept as it is when the hand goes on to the other axis.
  drawn() {
    if (this.axis === "strongest" && this.angles.null === null) { this.axis = "null"; this.told(); }
  }

  // The line turns with the phone until it is pressed again, drawn by hand or kept.
  async followCompass() {
    if (this.letCompassGo()) return;
    const at = this.axis;
    $("bearing-words").textContent = t("Point the phone along the antenna's axis; press Hold when the line lies right.");
    this.stop = await followCompass((heading) => {
      this.fromNorth = true;
      this.axis = at;
      this.set(Math.round(heading) % FULL);
    }, () => { this.letCompassGo(); $("bearing-words").textContent = t("This phone tells no direction. Draw the line or type it."); });
    $("bearing-compass").textContent = t("Hold");
    $("bearing-compass").setAttribute("aria-pressed", "true");
  }

  // True if the compass was being followed.
  letCompassGo() {
    const followed = Boolean(this.stop);
    this.stop?.();
    this.stop = null;
    $("bearing-compass").textContent = t("Compass");
    $("bearing-compass").setAttribute("aria-pressed", "false");
    if (followed) { this.drawn(); this.told(); }
    return followed;
  }

  // Said here what the server would refuse: a bearing that waits cannot ask back.
  refusal() {
    if (!this.point()) return t("Choose a place first.");
    if (this.angles.strongest === null && this.angles.null === null) return t("Turn the line about the point: draw on the plan, or type degrees clockwise from up.");
    if (this.fromNorth && this.view.doc.dwelling.north_deg === null) return t("The plan has no north arrow, so a compass angle cannot be laid on it.");
    return "";
  }

  keep() {
    const refusal = this.refusal();
    if (refusal) { $("bearing-words").textContent = refusal; return; }
    const entry = { ...this.start(), strongest_deg: this.angles.strongest, null_deg: this.angles.null, std_deg: Number($("bearing-std").value.replace(",", ".")) || 12, from_true_north: this.fromNorth };
    this.toggle(false);
    this.onKept(entry);
  }

  draw(layer) {
    const at = this.open ? this.point() : null;
    if (!at) return;
    const { pixel } = this.view;
    const reach = Math.max(this.view.box.width, this.view.box.height);
    layer.append(shape("circle", { class: "target-ring", cx: at[0], cy: -at[1], r: 22 * pixel }));
    for (const [axis, kind] of [["strongest", "strongest"], ["null", "weakest"]]) {
      const degrees = this.angles[axis];
      if (degrees === null || !Number.isFinite(degrees)) continue;
      const turned = ((degrees + (this.fromNorth ? this.view.doc.dwelling.north_deg ?? 0 : 0)) * Math.PI) / FULL;
      const [dx, dy] = [Math.sin(turned) * reach, Math.cos(turned) * reach];
      layer.append(shape("path", { class: `bearing ${kind} drawing`, d: `M${at[0] - dx} ${-(at[1] - dy)}L${at[0] + dx} ${-(at[1] + dy)}` }));
    }
  }
}
