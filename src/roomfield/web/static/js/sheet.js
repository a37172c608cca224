// The small sheet that stands on every page: the plan with its numbers, to touch and to hover.

import { faultBox, send } from "./door.js";
import { hit } from "./plan/gestures.js";
import { PlanView, loadImages, storeyButtons } from "./plan/view.js";
import { element } from "./element.js";
import { t } from "./words.js";

const SLEEPING = new Set(["bed", "cot"]);

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
  view.bearings = told.bearings ?? [];
  view.quiet = !figure.matches(".large");

  const take = (numbers) => {
    view.numbers = new Map(Object.entries(numbers));
    figure.querySelector("[data-list]").replaceChildren(...plan.places.map((place) => element("li", {}, numbers[place.id]?.title ?? t("{place}: not measured", { place: place.name }))));
    if (view.doc) view.draw();
  };
  const draw = () => {
    view.show(plan, storeyId);
    view.fit();
    storeyButtons(figure.querySelector(".storeys"), plan, storeyId, (id) => { storeyId = id; draw(); });
    figure.querySelector(".storeys").hidden = plan.dwelling.storeys.length < 2;
  };
  const tell = (target) => {
    const title = target?.kind === "places" ? view.numbers.get(target.id)?.title ?? t("{place}: not measured", { place: plan.places.find((p) => p.id === target.id).name }) : plan.emitters.find((e) => target?.kind === "emitters" && e.id === target.id)?.name;
    if (title) said.textContent = title;
    view.chosen.clear();
    if (title) view.chosen.add(`${target.kind}:${target.id}`);
    view.draw();
  };
  take(told.numbers);
  draw();
  loadImages(view, (hash) => `/surveys/${figure.dataset.survey}/media/${hash}`);
  view.svg.addEventListener("click", (event) => tell(hit(event)));
  view.svg.addEventListener("pointermove", (event) => { if (event.pointerType === "mouse" && hit(event)?.kind === "places") tell(hit(event)); });
  return { view, take, draw };
}

for (const figure of document.querySelectorAll("figure[data-sheet]")) {
  const opened = await openSheet(figure);
  if (opened && figure.dataset.more) {
    send("GET", figure.dataset.more).then((more) => opened.take(more.numbers)).catch(() => {});
  }
}
document.documentElement.dataset.sheet = "drawn";
