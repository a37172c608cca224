// Page texts in the reader's language: the English sentence is the key.

const language = document.documentElement.lang || "en";
export const place = language === "en" ? "en-GB" : language;
let catalogue = {};
if (language !== "en") {
  const answer = await fetch(`/static/locale/${language}.json`);
  if (answer.ok) catalogue = await answer.json();
}

export function t(sentence, values = {}) {
  const wording = catalogue[sentence] ?? sentence;
  return wording.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}

// Groups of three digits stand apart by a narrow space from five digits on (ISO 80000-1, 7.3.1), as in the report.
export function number(value, digits = 3) {
  if (!Number.isFinite(value)) return "–";
  const form = new Intl.NumberFormat(place, { maximumSignificantDigits: digits, useGrouping: "min2" });
  return form.formatToParts(value).map((part) => (part.type === "group" ? "\u202f" : part.value)).join("");
}

// Power density as the trade writes it: always microwatts per square metre.
export function density(wattsPerSquareMetre, digits = 3) {
  return `${number(wattsPerSquareMetre * 1e6, digits)} µW/m²`;
}

// A length with so many decimals, as the reader writes it.
export function metres(value, digits = 2) {
  return new Intl.NumberFormat(place, { minimumFractionDigits: digits, maximumFractionDigits: digits }).format(value);
}
