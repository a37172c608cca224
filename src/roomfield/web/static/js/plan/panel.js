// What is chosen, as a form; and everything on the storey as a list, for hands without a mouse.

import { element } from "../element.js";
import { metres, t } from "../words.js";
import { BUILDS, GLAZING, addStorey, find, glazed, rebuild, setPlaceKind, split, storeyOf, usualBuild, wallOf } from "./items.js";
import { clearSize, rectangle, stretch } from "./measures.js";
import { beside } from "./offer.js";
import { farWords, outsiders } from "./ring.js";
import { area, distance, extent, round } from "./shapes.js";
import { boxForm, shieldForms, slabForm, slabName } from "./solidforms.js";
import { boxesOf, slabsOf } from "./solids.js";
import { turnPicture } from "./tracing.js";

export const PLACE_KINDS = { bed: "Bed", cot: "Cot", desk: "Desk", sofa: "Sofa", table: "Table", play: "Play corner", other: "Other place" };
export const BUILD_NAMES = { outer: "Outer wall, brick 30 cm", party: "Party wall, brick 24 cm", inner: "Inner wall, brick 11.5 cm", concrete: "Concrete 18 cm", light: "Plasterboard on studs", timber: "Timber 8 cm", aerated: "Aerated concrete 30 cm", foil: "Timber frame with foil-faced insulation" };
const GLAZING_NAMES = { plain: "Double pane", coated: "Double pane, one coated (low-e)", single: "Single pane" };
const NOUNS = { rooms: "Room", walls: "Wall", openings: "Opening", places: "Place", emitters: "Emitter", slabs: "Slab", furniture: "Furniture" };
const OPENING_KINDS = { window: "Window", door: "Door", gap: "Open gap" };
const STANDINGS = { known: "known", suspected: "suspected" };
const CONTROLS = { client: "client", neighbour: "neighbour", utility: "utility", operator: "network operator", unknown: "not known" };

export class Panel {
  constructor(holder, { book, view, state, materials, technologies, choose, refresh, removeChosen }) {
    Object.assign(this, { holder, book, view, state, materials, technologies, choose, refresh, removeChosen });
    this.section = "";
    this.placeKind = "bed";
    this.build = usualBuild(book.doc, false, "inner");
    this.outer = usualBuild(book.doc, true, "outer");
    holder.addEventListener("focusout", () => book.endMerge());
    // A figure is taken when the hand goes to the next field: that field must still be there when it arrives.
    holder.addEventListener("change", () => {
      this.later = true;
      setTimeout(() => {
        this.later = false;
        this.draw();
      }, 0);
    }, true);
  }

  nameOf(key) {
    const [kind, id] = split(key);
    const item = find(this.book.doc, kind, id);
    if (!item) return "";
    const own = item.name ?? (kind === "walls" ? t("{length} m long, {thick} cm thick", { length: metres(distance(item.start, item.end)), thick: metres(item.layers.reduce((sum, l) => sum + l.thickness_m, 0) * 100, 1) }) : "");
    return [t(NOUNS[kind]), own].filter(Boolean).join(" ");
  }

  get placeName() { return PLACE_KINDS[this.placeKind]; }

  focusName() { this.holder.querySelector("input[data-name]")?.select(); }

  draw() {
    if (this.later) return;
    const focused = document.activeElement;
    const within = this.holder.contains(focused);
    const kept = within ? focused.id : "";
    const chosen = [...this.view.chosen];
    const shown = `${chosen} ${this.section} ${this.state.storeyId}`;
    if (!chosen.length && this.section === "item") this.section = "";
    if (!this.section) { this.shown = ""; this.holder.hidden = true; this.holder.replaceChildren(); return; }
    if (within && focused.matches("input:not([type=checkbox])") && shown === this.shown) return; // being typed into
    const fresh = shown !== this.shown;
    if (fresh) this.holder.scrollTop = 0;
    this.shown = shown;
    const parts = [];
    if (this.section !== "item") parts.push(...this.sectionForm());
    else if (chosen.length === 1) parts.push(...this.oneItem(...split(chosen[0])));
    else parts.push(...this.manyItems(chosen));
    this.holder.replaceChildren(...parts);
    this.holder.hidden = false;
    const stands = JSON.stringify(this.standOf(chosen[0]));
    if ((fresh || stands !== this.stood) && !this.state.drag?.moved) { this.stood = stands; this.lay(chosen[0]); }
    if (kept) document.getElementById(kept)?.focus({ preventScroll: true });
  }

  // One field of one item; typing merges into one undo step.
  field(label, value, change, { type = "text", unit = "", options = null, step = "any", min, hint = "", name = false } = {}) {
    const id = `field-${label.replace(/\W+/g, "-").toLowerCase()}`;
    const caption = element("label", { for: id }, t(label), unit ? element("span", { class: "soft" }, ` ${unit}`) : null);
    let input;
    const set = (event) => {
      const raw = event.target.value;
      const next = type === "number" ? (raw === "" ? null : Number(raw.replace(",", "."))) : raw;
      if (type === "number" && next !== null && !Number.isFinite(next)) return;
      this.book.edit((doc) => change(doc, next), { merge: `${id}${[...this.view.chosen]}` });
    };
    if (options) {
      input = element("select", { id, onchange: set }, ...Object.entries(options).map(([key, words]) => element("option", { value: key, selected: key === value }, t(words))));
    } else {
      const event = type === "number" ? "onchange" : "oninput";
      input = element("input", { id, type, value: value ?? "", step, min, inputmode: type === "number" ? "decimal" : undefined, [event]: set, "data-name": name });
    }
    return element("div", {}, caption, input, hint ? element("p", { class: "hint" }, t(hint)) : null);
  }

  tick(label, value, change) {
    const id = `tick-${label.replace(/\W+/g, "-").toLowerCase()}`;
    const input = element("input", { id, type: "checkbox", checked: value, onchange: (e) => this.book.edit((doc) => change(doc, e.target.checked)) });
    return element("label", { class: "check", for: id }, input, t(label));
  }

  // Where an item stands, for what lies beside it: its position, the middle of a wall, the right end of what has an outline.
  standOf(key) {
    const item = key ? find(this.book.doc, ...split(key)) : null;
    if (!item) return null;
    const middle = ({ start, end }) => [(start[0] + end[0]) / 2, (start[1] + end[1]) / 2];
    if (item.position) return item.position;
    if (item.start) return middle(item);
    if (key.startsWith("openings:")) return middle(wallOf(this.book.doc, item.id));
    const [, y0, x1, y1] = extent(item.outline ?? item.outlines?.flat() ?? [item.low, item.high]);
    return [x1, (y0 + y1) / 2];
  }

  // The slip lies beside what it speaks of: beside the item, or over the word of the title strip that was pressed.
  lay(key) {
    if (getComputedStyle(this.holder).position !== "absolute") return;
    const sheet = this.holder.parentElement;
    const point = this.standOf(key);
    const seat = key ? sheet.querySelector(`.seat[data-id="${CSS.escape(split(key)[1])}"]`)?.getBoundingClientRect() : null;
    const strip = this.by?.currentTarget?.getBoundingClientRect?.() ?? this.by?.target?.getBoundingClientRect?.();
    if (seat) beside(this.holder, sheet, { clientX: seat.x + seat.width / 2, clientY: seat.y });
    else if (point) { const on = this.view.toScreen(point); beside(this.holder, sheet, { clientX: on.clientX + 26, clientY: on.clientY }); }
    else beside(this.holder, sheet, { clientX: strip?.left ?? 0, clientY: sheet.getBoundingClientRect().bottom });
  }

  heading(words, extra) {
    return element("div", { class: "row spread panel-head" }, element("h2", {}, words), extra ?? null);
  }

  back() {
    return element("button", { type: "button", class: "act", onclick: () => this.choose([]) }, t("Done"));
  }

  // What can be done with everything that is chosen.
  chosenActs() {
    const several = element("button", { type: "button", class: "act", id: "several", "aria-pressed": String(this.state.several), onclick: (event) => {
      this.state.several = !this.state.several;
      event.currentTarget.setAttribute("aria-pressed", String(this.state.several));
    } }, t("Choose more"));
    return element("div", { class: "row slip-acts" }, element("button", { type: "button", class: "act", id: "remove", onclick: () => this.removeChosen() }, t("Take out")), several);
  }

  oneItem(kind, id) {
    const item = find(this.book.doc, kind, id);
    if (!item) return [];
    const edit = (name) => (doc, value) => { find(doc, kind, id)[name] = value; };
    const solid = { slabs: slabForm, furniture: boxForm }[kind];
    const body = solid ? solid(this, item, edit, id) : { rooms: this.roomForm, walls: this.wallForm, openings: this.openingForm, places: this.placeForm, emitters: this.emitterForm }[kind].call(this, item, edit, id);
    return [this.heading(t(NOUNS[kind]), this.back()), element("div", { class: "stack" }, ...body), this.chosenActs()];
  }

  roomForm(room, edit, id) {
    const box = rectangle(room.outline);
    const [wide, deep] = box ? clearSize(this.book.doc, room.storey_id, box) : [0, 0];
    const resize = (axis, now) => (doc, v) => {
      if (v > 0.2) stretch(doc, room.storey_id, axis, rectangle(find(doc, "rooms", id).outline)[axis + 2], v - now);
    };
    return [
      this.field("Name", room.name, edit("name"), { name: true }),
      box ? element("div", { class: "fields" },
        this.field("Clear width", round(wide), resize(0, wide), { type: "number", unit: "m" }),
        this.field("Clear depth", round(deep), resize(1, deep), { type: "number", unit: "m" })) : null,
      element("p", { class: "soft" }, box ? t("{area} m² between the walls", { area: metres(wide * deep, 1) }) : t("{area} m² on wall centre lines", { area: metres(area(room.outline), 1) })),
    ].filter(Boolean);
  }

  wallForm(wall, edit, id) {
    const total = wall.layers.reduce((sum, layer) => sum + layer.thickness_m, 0);
    const known = Object.keys(BUILDS).find((key) => JSON.stringify(BUILDS[key].layers) === JSON.stringify(wall.layers)) ?? "";
    const builds = known ? BUILD_NAMES : { "": t("own build-up"), ...BUILD_NAMES };
    return [
      this.field("Build-up", known, (doc, key) => {
        if (!key) return;
        const target = find(doc, "walls", id);
        target.layers = structuredClone(BUILDS[key].layers);
      }, { options: builds }),
      this.layerTable(wall, "walls", id),
      element("p", { class: "soft" }, t("{length} m long, {thick} cm thick", { length: metres(distance(wall.start, wall.end), 2), thick: metres(total * 100, 1) })),
      this.tick("One side is outdoors", wall.exterior, edit("exterior")),
      element("div", { class: "fields" },
        this.field("Lower edge", wall.base_m, edit("base_m"), { type: "number", unit: "m" }),
        this.field("Upper edge", wall.top_m, edit("top_m"), { type: "number", unit: "m" })),
      wall.openings.length ? element("div", {}, element("p", { class: "label" }, t("Openings")), ...wall.openings.map((hole) => this.pick(`openings:${hole.id}`, `${t(OPENING_KINDS[hole.kind])} ${metres(hole.end_m - hole.start_m, 2)} m`))) : null,
      shieldForms(this, wall, "walls", id),
    ];
  }

  layerTable(item, kind, id, title = "Layers, left to right") {
    const rows = item.layers.map((layer, n) => element("div", { class: "layer-row" },
      element("select", { "aria-label": t("Material of layer {n}", { n: n + 1 }), onchange: (e) => this.book.edit((doc) => { find(doc, kind, id).layers[n].material = e.target.value; }) },
        ...this.materials.map((m) => element("option", { value: m.key, selected: m.key === layer.material }, t(m.name)))),
      element("input", { type: "number", inputmode: "decimal", step: "any", min: "0.001", value: round(layer.thickness_m * 100, 0.001), "aria-label": t("Thickness of layer {n} in centimetres", { n: n + 1 }),
        onchange: (e) => Number(e.target.value) > 0 && this.book.edit((doc) => { find(doc, kind, id).layers[n].thickness_m = Number(e.target.value) / 100; }) }),
      element("span", { class: "soft" }, "cm"),
      element("button", { type: "button", class: "plain-button", "aria-label": t("Take out layer {n}", { n: n + 1 }), onclick: () => this.book.edit((doc) => { find(doc, kind, id).layers.splice(n, 1); }) }, "×")));
    const add = element("button", { type: "button", class: "button slim", onclick: () => this.book.edit((doc) => { find(doc, kind, id).layers.push({ material: "plasterboard", thickness_m: 0.0125 }); }) }, t("Add a layer"));
    return element("div", { class: "layers" }, element("p", { class: "label" }, t(title)), ...rows, add);
  }

  openingForm(hole, edit, id) {
    const base = wallOf(this.book.doc, id).base_m;
    const up = (name) => (doc, value) => { find(doc, "openings", id)[name] = round(base + value, 0.001); };
    return [
      this.field("Kind", hole.kind, edit("kind"), { options: OPENING_KINDS }),
      hole.kind === "window" ? this.glazingField(hole, id) : null,
      element("div", { class: "fields" },
        this.field("From", round(hole.start_m), edit("start_m"), { type: "number", unit: "m" }),
        this.field("To", round(hole.end_m), edit("end_m"), { type: "number", unit: "m" }),
        this.field("Sill", round(hole.sill_m - base), up("sill_m"), { type: "number", unit: t("m above the wall's foot") }),
        this.field("Head", round(hole.head_m - base), up("head_m"), { type: "number", unit: t("m above the wall's foot") })),
      this.layerTable(hole, "openings", id),
    ].filter(Boolean);
  }

  // Glazing chosen by name; "all windows" takes it to every window of the home.
  glazingField(hole, id) {
    const known = Object.keys(GLAZING).find((key) => JSON.stringify(glazed(key)) === JSON.stringify(hole.layers)) ?? "";
    const options = known ? GLAZING_NAMES : { "": t("own build-up"), ...GLAZING_NAMES };
    const everywhere = element("button", { type: "button", class: "act", onclick: () => this.book.edit((doc) => {
      for (const wall of doc.dwelling.walls) for (const one of wall.openings) if (one.kind === "window") one.layers = structuredClone(hole.layers);
    }) }, t("All windows like this"));
    return element("div", {}, this.field("Glazing", known, (doc, key) => { if (key) find(doc, "openings", id).layers = glazed(key); }, { options }), everywhere);
  }

  placeForm(place, edit, id) {
    return [
      this.field("Name", place.name, edit("name"), { name: true }),
      this.field("Kind of place", place.kind, (doc, kind) => setPlaceKind(doc, id, kind, Object.fromEntries(Object.entries(PLACE_KINDS).map(([key, words]) => [key, t(words)]))), { options: PLACE_KINDS }),
      element("div", { class: "fields" },
        this.field("Night", place.night_hours, (doc, v) => { find(doc, "places", id).night_hours = v ?? 0; }, { type: "number", unit: "h", min: "0" }),
        this.field("Day", place.day_hours, (doc, v) => { find(doc, "places", id).day_hours = v ?? 0; }, { type: "number", unit: "h", min: "0" })),
      this.position("places", id, place),
    ];
  }

  emitterForm(emitter, edit, id) {
    const technologies = { "": t("not known"), ...Object.fromEntries(this.technologies.map((x) => [x.key, x.name])) };
    const scaled = (name, factor) => (doc, v) => { find(doc, "emitters", id)[name] = v === null ? null : v * factor; };
    return [
      this.field("Name", emitter.name, edit("name"), { name: true }),
      this.field("Technology", emitter.technology, edit("technology"), { options: technologies }),
      this.field("How sure it is there", emitter.standing, edit("standing"), { options: STANDINGS }),
      this.field("Whose it is", emitter.control, edit("control"), { options: CONTROLS }),
      this.tick("Can be switched off during the visit", emitter.switchable, edit("switchable")),
      this.field("Switch shared with", emitter.switch_group, edit("switch_group"), { hint: "Emitters with the same word here hang on one switch." }),
      element("div", { class: "fields" },
        this.field("Frequency", emitter.frequency_hz === null ? null : round(emitter.frequency_hz / 1e6, 0.001), scaled("frequency_hz", 1e6), { type: "number", unit: "MHz" }),
        this.field("Radiated power (EIRP)", emitter.eirp_w === null ? null : round(emitter.eirp_w * 1e3, 0.001), scaled("eirp_w", 1e-3), { type: "number", unit: "mW" }),
        this.field("Share of time on air", emitter.duty === null ? null : round(emitter.duty * 100, 0.001), scaled("duty", 0.01), { type: "number", unit: "%" })),
      this.tick("Outdoors", emitter.outdoor, edit("outdoor")),
      emitter.outdoor ? this.farPosition(id, emitter) : null,
      this.position("emitters", id, emitter),
    ].filter(Boolean);
  }

  // Where something outside stands as seen from the middle of the dwelling: direction, distance, height.
  farPosition(id, emitter) {
    const { middle, degrees, distance: away } = this.seen(emitter);
    const put = (doc, turned, metresAway) => {
      const target = find(doc, "emitters", id);
      const angle = (turned * Math.PI) / 180;
      target.position = [round(middle[0] + Math.sin(angle) * metresAway, 0.01), round(middle[1] + Math.cos(angle) * metresAway, 0.01), target.position?.[2] ?? 10];
    };
    return element("div", { class: "fields" },
      this.field("Direction", degrees === null ? null : round(degrees, 0.1), (doc, v) => { if (v !== null) put(doc, v, away ?? 100); }, { type: "number", unit: t("° clockwise from up") }),
      this.field("Distance", away === null ? null : round(away, 0.1), (doc, v) => { if (v > 0) put(doc, degrees ?? 0, v); }, { type: "number", unit: "m" }));
  }

  seen(emitter) {
    const points = this.book.doc.dwelling.walls.flatMap((w) => [w.start, w.end]);
    const [x0, y0, x1, y1] = extent(points);
    const middle = [(x0 + x1) / 2, (y0 + y1) / 2];
    if (!emitter.position) return { middle, degrees: emitter.bearing_deg ?? null, distance: null };
    const [dx, dy] = [emitter.position[0] - middle[0], emitter.position[1] - middle[1]];
    return { middle, degrees: ((Math.atan2(dx, dy) * 180) / Math.PI + 360) % 360, distance: Math.hypot(dx, dy) };
  }

  position(kind, id, item) {
    if (!item.position) return this.unplaced(kind, id);
    const set = (axis) => (doc, v) => { if (v !== null) find(doc, kind, id).position[axis] = v; };
    const floor = storeyOf(this.book.doc, this.state.storeyId)?.floor_m ?? 0;
    return element("details", { class: "position" }, element("summary", {}, t("Position in figures")),
      element("div", { class: "fields" },
        this.field("East", item.position[0], set(0), { type: "number", unit: "m" }),
        this.field("North on the plan", item.position[1], set(1), { type: "number", unit: "m" }),
        this.field("Height above this floor", round(item.position[2] - floor), (doc, v) => { if (v !== null) find(doc, kind, id).position[2] = round(v + floor, 0.001); }, { type: "number", unit: "m" })));
  }

  // Something whose place is not known yet, put into the middle of the sheet to be dragged where it is.
  unplaced(kind, id) {
    const { x, y, width, height } = this.view.box;
    const floor = storeyOf(this.book.doc, this.state.storeyId)?.floor_m ?? 0;
    const put = () => this.book.edit((doc) => { find(doc, kind, id).position = [round(x + width / 2), round(-(y + height / 2)), round(floor + 1)]; });
    return element("div", {}, element("p", { class: "soft" }, t("Its place is not known: it is looked for among the readings.")), element("button", { type: "button", class: "button slim", onclick: put }, t("Put it on the sheet")));
  }

  manyItems(chosen) {
    const walls = chosen.map(split).filter(([kind]) => kind === "walls").map(([, id]) => id);
    return [
      this.heading(t("{count} chosen", { count: chosen.length }), this.back()),
      element("div", { class: "stack" },
        element("p", { class: "soft" }, t("Drag them, move them with the arrow keys, or take them out.")),
        walls.length ? this.field("Build-up of the chosen walls", "", (doc, key) => { for (const id of walls) if (key) find(doc, "walls", id).layers = structuredClone(BUILDS[key].layers); }, { options: { "": t("leave as it is"), ...BUILD_NAMES } }) : null),
      this.chosenActs(),
    ];
  }

  // What a word of the title strip opens.
  sectionForm() {
    const close = element("button", { type: "button", class: "act", onclick: () => { this.section = ""; this.refresh(); } }, t("Done"));
    const forms = { storey: () => this.storeyForm(), walls: () => [this.wallsForm()], north: () => [this.northForm()], list: () => [this.itemList()] };
    const titles = { storey: "Storey", walls: "New walls", north: "True north", list: "On this storey" };
    return [this.heading(t(titles[this.section]), close), ...forms[this.section]()];
  }

  // Chosen once: walls drawn from now on, and those that still have the choice before.
  wallsForm() {
    const pick = (name, exterior) => (doc, key) => { rebuild(doc, exterior, this[name], key); this[name] = key; };
    return element("div", { class: "stack" },
      this.field("Outer walls are", this.outer, pick("outer", true), { options: BUILD_NAMES, hint: "A wall is an outer one as long as only one room borders on it." }),
      this.field("New walls are", this.build, pick("build", false), { options: BUILD_NAMES }),
      element("p", { class: "soft small" }, t("Walls that still have the choice before change along; those with a build-up of their own stay.")));
  }

  storeyForm() {
    const storey = storeyOf(this.book.doc, this.state.storeyId);
    const mine = (doc) => doc.dwelling.storeys.find((s) => s.id === storey.id);
    const edit = (name) => (doc, value) => { if (value !== null) mine(doc)[name] = value; };
    const more = element("button", { type: "button", class: "button slim", onclick: () => {
      let made;
      this.book.edit((doc) => { made = addStorey(doc, t("New storey")); });
      this.state.storeyId = made.id;
      this.refresh();
    } }, t("Add a storey above"));
    return [
      element("div", { class: "stack" },
        this.field("Name of the storey", storey.name, edit("name")),
        element("div", { class: "fields" },
          this.field("Floor at", storey.floor_m, edit("floor_m"), { type: "number", unit: "m" }),
          this.field("Ceiling at", storey.ceiling_m, edit("ceiling_m"), { type: "number", unit: "m" })),
        this.pictureForm(storey),
        element("div", { class: "row" }, more)),
    ];
  }

  northForm() {
    const north = this.book.doc.dwelling.north_deg;
    const set = (doc, v) => { doc.dwelling.north_deg = v === null ? null : ((v % 360) + 360) % 360; };
    const turn = element("input", { type: "range", id: "north-turn", min: "0", max: "359", step: "1", value: north ?? 0, "aria-label": t("Turn the north arrow"), oninput: (e) => {
      this.book.edit((doc) => set(doc, Number(e.target.value)), { merge: "north" });
      this.holder.querySelector("#field-true-north").value = e.target.value;
    } });
    return element("div", {}, this.field("True north", north, set, { type: "number", unit: t("degrees clockwise from up; empty if not known") }), turn);
  }

  // The picture under the sheet, if this storey has one.
  pictureForm(storey) {
    const image = this.book.doc.dwelling.plan_images.find((i) => i.storey_id === storey.id);
    if (!image) return null;
    const size = this.view.imageSizes?.get(image.media_sha256) ?? [0, 0];
    const turn = (by) => this.book.edit((doc) => turnPicture(doc.dwelling.plan_images.find((i) => i.storey_id === storey.id), size, by), { merge: "turn" });
    const step = (by, words, sign) => element("button", { type: "button", class: "button slim", "aria-label": t(words), onclick: () => { turn(by); this.book.endMerge(); } }, sign);
    return element("div", {}, this.field("Picture turned by", round(image.rotation_deg, 0.01), (doc, v) => { if (v !== null) turnPicture(doc.dwelling.plan_images.find((i) => i.storey_id === storey.id), size, v - image.rotation_deg); }, { type: "number", unit: t("degrees to the left") }),
      element("div", { class: "row gap-small" }, step(90, "A quarter turn to the left", "↺ 90°"), step(1, "One degree to the left", "↺ 1°"), step(-1, "One degree to the right", "↻ 1°"), step(-90, "A quarter turn to the right", "↻ 90°")));
  }

  pick(key, words) {
    return element("button", { type: "button", class: "pick", onclick: () => this.choose([key]) }, words);
  }

  itemList() {
    const { rooms, walls, places, emitters } = this.view.onStorey();
    const storey = storeyOf(this.book.doc, this.state.storeyId);
    const outside = outsiders(this.book.doc).flatMap((seat) => seat.emitters.map((e) => [e, farWords(seat)]));
    const group = (title, kind, list, words) => (list.length ? element("div", {}, element("p", { class: "label" }, t(title)), ...list.map((item) => this.pick(`${kind}:${item.id}`, words(item)))) : null);
    return element("div", { class: "item-list" },
      group("Places", "places", places, (p) => p.name),
      group("Emitters", "emitters", emitters, (e) => e.name),
      group("Rooms", "rooms", rooms, (r) => r.name),
      group("Furniture", "furniture", boxesOf(this.book.doc, storey), (b) => b.name),
      group("Ceilings and floors", "slabs", slabsOf(this.book.doc, storey), (s) => slabName(s, storey)),
      walls.length ? element("details", {}, element("summary", {}, t("{count} walls", { count: walls.length })), ...walls.map((w, n) => this.pick(`walls:${w.id}`, t("Wall {n}, {length} m", { n: n + 1, length: metres(distance(w.start, w.end), 1) })))) : null,
      outside.length ? element("div", {}, element("p", { class: "label" }, t("Outside, above, below or not found yet")), ...outside.map(([e, words]) => this.pick(`emitters:${e.id}`, `${e.name} · ${words}`))) : null);
  }
}
