// Levels as bars on one logarithmic axis, in µW/m².

import { t } from "./words.js";
import { shape } from "./svg.js";

export function bars(rows, { width = 320, low = 1e-3, high = 1e7, line = 22, ticks = true, label = "" } = {}) {
  const left = 4;
  const right = width - 4;
  const decades = Math.log10(high / low);
  const x = (value) => left + ((Math.log10(Math.min(high, Math.max(low, value))) - Math.log10(low)) / decades) * (right - left);
  const height = rows.length * line + (ticks ? 20 : 4);
  const svg = shape("svg", { viewBox: `0 0 ${width} ${height}`, class: "bars", role: "img", "aria-label": label });
  if (ticks) {
    for (let power = Math.ceil(Math.log10(low)); power <= Math.log10(high); power += 1) {
      svg.append(shape("path", { class: "tick", d: `M${x(10 ** power)} 0V${height - 16}` }));
      if (power % 2 === 0) {
        const text = shape("text", { class: "tick-label", x: x(10 ** power), y: height - 4, "font-size": 10, "text-anchor": "middle" });
        text.textContent = power < 0 ? String(10 ** power) : power < 4 ? String(10 ** power) : `10${[..."⁰¹²³⁴⁵⁶⁷⁸⁹"][power]}`;
        svg.append(text);
      }
    }
  }
  rows.forEach((row, n) => {
    const y = n * line + line / 2;
    const from = row.low > 0 ? x(row.low) : left;
    const to = row.high === null || !Number.isFinite(row.high) ? right : x(row.high);
    svg.append(shape("path", { class: `bar ${row.class ?? ""}`, d: `M${from} ${y}H${to}` }));
    if (row.middle !== undefined) svg.append(shape("path", { class: "bar-middle", d: `M${x(row.middle)} ${y - 6}V${y + 6}` }));
    if (!(row.low > 0)) svg.append(shape("path", { class: "bar-open", d: `M${left + 6} ${y - 4}L${left} ${y}L${left + 6} ${y + 4}` }));
    if (to === right && (row.high === null || !Number.isFinite(row.high))) svg.append(shape("path", { class: "bar-open", d: `M${right - 6} ${y - 4}L${right} ${y}L${right - 6} ${y + 4}` }));
  });
  if (!label) svg.setAttribute("aria-label", t("Intervals on a logarithmic axis"));
  return svg;
}
