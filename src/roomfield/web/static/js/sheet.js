// The small sheet that stands on every page: the plan with its numbers, to touch and to hover.

import { faultBox, send } from "./door.js";
import { hit } from "./plan/gestures.js";
import { PlanView, loadImages, storeyButtons } from "./plan/view.js";
import { element } from "./element.js";
import { t } from "./words.js";

const SLEEPING = new Set(["bed", "cot"]);
const sentence = (number) => (number ? [number.title, number.cause && t("Most of it from {cause}.", { cause: number.cause })].filter(Boolean).join(" ") : null);

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

  const take = (numbers) => {
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
  const tell = (target) => {
    const title = target?.kind === "places" ? sentence(view.numbers.get(target.id)) ?? t("{place}: not measured", { place: plan.places.find((p) => p.id === target.id).name }) : plan.emitters.find((e) => target?.kind === "emitters" && e.id === target.id)?.name;
    if (title) said.textContent = title;
    view.chosen.clear();
    if (title) view.chosen.add(`${target.kind}:${target.id}`);
    view.draw();
  };
  take({});
  draw();
  loadImages(view, (hash) => `/surveys/${figure.dataset.survey}/media/${hash}`);
  view.svg.addEventListener("click", (event) => tell(hit(event)));
  view.svg.addEventListener("pointermove", (event) => { if (event.pointerType === "mouse" && hit(event)?.kind === "places") tell(hit(event)); });
  return { view, take, draw };
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
    for (const slot of document.querySelectorAll("[data-cause]")) slot.textContent = known[slot.dataset.cause]?.cause || t("nobody that stands out");
  } catch (error) {
    figure.querySelector("[data-said]").textContent = error.message;
  }
}

for (const figure of document.querySelectorAll("figure[data-sheet]")) await bring(figure);
document.documentElement.dataset.sheet = "drawn";
