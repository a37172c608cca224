// The small sheet that stands on every page: the plan with its numbers, to touch and to hover.

import { faultBox, send } from "./door.js";
import { hit } from "./plan/gestures.js";
import { farWords, outsiders } from "./plan/ring.js";
import { PlanView, loadImages, storeyButtons } from "./plan/view.js";
import { element } from "./element.js";
import { shape } from "./svg.js";
import { density, number, t } from "./words.js";

const SLEEPING = new Set(["bed", "cot"]);
const sentence = (number) => (number ? [number.title, number.cause && t("Most of it from {cause}.", { cause: number.cause })].filter(Boolean).join(" ") : null);

// The grid point next to where the plan was touched; null outside the dwelling or before the model is there.
function levelAt(maps, storeyId, [x, y]) {
  const map = maps?.find((one) => one.storey_id === storeyId);
  if (!map) return null;
  const near = (values, v) => values.reduce((best, at, n) => (Math.abs(at - v) < Math.abs(values[best] - v) ? n : best), 0);
  const [column, row] = [near(map.x_m, x), near(map.y_m, y)];
  if (Math.abs(map.x_m[column] - x) > 1 || Math.abs(map.y_m[row] - y) > 1) return null;
  const level = map.level_w_m2[row][column];
  return level ? { at: [map.x_m[column], map.y_m[row]], level } : null;
}

// A transmitter by its name; what sits on the ring also says how far off it is.
function emitterWords(plan, target) {
  if (target?.kind !== "emitters") return "";
  const seat = outsiders(plan).find((one) => one.emitters.some((e) => e.id === target.id));
  return seat ? `${t("{name}:", { name: seat.emitters.map((e) => e.name).join(", ") })} ${farWords(seat)}` : plan.emitters.find((e) => e.id === target.id)?.name ?? "";
}

export async function openSheet(figure) {
  const view = new PlanView(figure.querySelector("svg"));
  const said = figure.querySelector("[data-said]");
  let told;
  try {
    told = await send("GET", figure.dataset.sheet);
  } catch (error) {
    said.replaceChildren(faultBox(error, () => openSheet(figure)));
    return null;
  }
  const { plan } = told;
  const beds = (storey) => plan.places.filter((p) => p.storey_id === storey.id && SLEEPING.has(p.kind)).length;
  let storeyId = [...plan.dwelling.storeys].sort((a, b) => beds(b) - beds(a))[0]?.id;
  if (figure.dataset.bearings !== undefined) view.bearings = told.bearings;
  view.quiet = !figure.matches(".large");

  const take = ({ numbers, figures }) => {
    figure.querySelector("[data-figures]").textContent = figures;
    view.numbers = new Map(Object.entries(numbers));
    figure.querySelector("[data-list]").replaceChildren(...plan.places.map((place) => element("li", {}, sentence(numbers[place.id]) ?? t("{place}: not measured", { place: place.name }))));
    if (view.doc) view.draw();
  };
  const draw = () => {
    view.show(plan, storeyId);
    view.fit();
    storeyButtons(figure.querySelector(".storeys"), plan, storeyId, (id) => { storeyId = id; draw(); });
    figure.querySelector(".storeys").hidden = plan.dwelling.storeys.length < 2;
  };
  let shown = "";
  const tell = (target) => {
    const key = target ? `${target.kind}:${target.id}` : "";
    if (key === shown) return; // a sheet that is drawn anew under the pointer would lose its press
    shown = key;
    const title = target?.kind === "places" ? sentence(view.numbers.get(target.id)) ?? t("{place}: not measured", { place: plan.places.find((p) => p.id === target.id).name }) : emitterWords(plan, target);
    if (title) said.textContent = title;
    view.chosen.clear();
    if (title) view.chosen.add(`${target.kind}:${target.id}`);
    view.draw();
  };
  take({ numbers: {}, figures: "" });
  draw();
  loadImages(view, (hash) => `/surveys/${figure.dataset.survey}/media/${hash}`);
  const between = (event) => {
    const found = levelAt(told.maps, storeyId, view.toPlan(event));
    view.layers.draft.replaceChildren();
    if (!found) return;
    const { at: [x, y], level: [low, middle, high] } = found;
    const arm = 7 * view.pixel;
    view.layers.draft.append(shape("path", { class: "cross", d: `M${x - arm} ${-y}h${2 * arm}M${x} ${-y - arm}v${2 * arm}` }));
    said.textContent = t("Here, by the model: about {level} ({low} to {high}), everything on.", { level: density(middle, 2), low: number(low * 1e6, 2), high: density(high, 2) });
  };
  view.svg.addEventListener("click", (event) => {
    const target = hit(event);
    tell(target);
    if (target?.kind !== "places" && target?.kind !== "emitters") between(event);
  });
  view.svg.addEventListener("pointermove", (event) => { if (event.pointerType === "mouse" && hit(event)?.kind === "places") tell(hit(event)); });
  return { view, take, draw, told };
}

// The plan at once, then the numbers, then who makes them, which takes the model of the dwelling.
async function bring(figure) {
  const opened = await openSheet(figure);
  if (!opened) return;
  const address = figure.dataset.numbers;
  try {
    opened.take(await send("GET", address));
    if (figure.dataset.sources === undefined) return;
    const known = await send("GET", `${address}&sources=1`);
    opened.take(known);
    const asked = document.querySelector("[data-question]");
    if (asked && known.question) { asked.querySelector("span").textContent = known.question; asked.hidden = false; }
    for (const slot of document.querySelectorAll("[data-cause]")) slot.textContent = known.numbers[slot.dataset.cause]?.cause || t("nobody that stands out");
    opened.told.maps = await send("GET", address.replace("/numbers?", "/between?"));
  } catch (error) {
    figure.querySelector("[data-said]").textContent = error.message;
  }
}

for (const figure of document.querySelectorAll("figure[data-sheet]")) await bring(figure);
document.documentElement.dataset.sheet = "drawn";
