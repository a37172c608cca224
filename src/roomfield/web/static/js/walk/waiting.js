// What is said of entries on their way, and those that the record did not take, with what can be done about each.

import { element } from "../element.js";
import { number, place as tongue, t } from "../words.js";
import { isBeside } from "./kept.js";

const STRANGER = 401;

function count(waiting) {
  const here = isBeside ? t("on this phone") : t("in this browser");
  return waiting === 1 ? t("1 entry waits {here}", { here }) : t("{count} entries wait {here}", { count: waiting, here });
}

// A line of nodes: all kept; or how many wait, and for what.
export function keepingWords(waiting, trouble, { page, kept }) {
  if (trouble?.status === STRANGER || trouble?.status === 403) {
    return [`${count(waiting)} · `, element("a", { href: "/unlock" }, t("Let this device in again"))];
  }
  if (trouble) {
    const open = kept === false && isBeside ? ` · ${t("leave this page open")}` : "";
    return [`${waiting ? count(waiting) : t("The computer does not answer")}${open} · ${t("plan as of {time}", { time: page.as_of.slice(11, 16) })}`];
  }
  return [waiting ? count(waiting) : t("All kept")];
}

function wordsOf(item, placeOf) {
  const { body } = item;
  const place = placeOf(body.place_id)?.name ?? body.name ?? body.caption ?? t("Point on the plan");
  const values = (body.values ?? []).map((v) => (v.number === null ? t(v.censoring === "overload" ? "overload" : "below floor") : `${number(v.number, 6)} ${body.unit}`));
  return [place, ...values, new Date(item.at).toLocaleTimeString(tongue, { hour: "2-digit", minute: "2-digit" })].filter(Boolean).join(", ");
}

// Refused entries stay until a hand sends them to the place chosen now, or lets them go.
export function drawRefused(holder, outbox, { placeOf, point, setting }) {
  const { refused } = outbox;
  holder.hidden = !refused.length;
  holder.replaceChildren(...refused.map((item) => element("div", { class: "remark", role: "alert" },
    element("p", {}, element("strong", {}, t("Not taken: {entry}", { entry: wordsOf(item, placeOf) })), " ", item.reason),
    element("div", { class: "row" },
      item.kind === "readings" || item.kind === "bearings" ? element("button", { type: "button", class: "button slim", onclick: () => {
        const { visit_id, meter_id, radio_state_id, place_id, position } = setting();
        outbox.sendElsewhere(item, { ...item.body, visit_id, meter_id, radio_state_id, place_id, position });
      } }, t("Keep it at {place}", { place: point() })) : null,
      element("button", { type: "button", class: "button slim", onclick: () => outbox.letGo(item) }, t("Let it go"))))));
}
