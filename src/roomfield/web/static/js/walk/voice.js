// "Bed 340": a reading said aloud, where the browser hears words on the device itself. Sound never leaves it: without a
// recogniser on the device there is no such button.

const LANGUAGES = { en: "en-GB", de: "de-DE", fr: "fr-FR" };
const MEANS = ["mean", "average", "mittel", "mittelwert", "moyenne"];

const plain = (text) => text.toLowerCase().normalize("NFKD").replace(/[\u0300-\u036f]/g, "");

// What was said as a place and figures; the place is the one whose words were said most, the present one if none was.
export function heard(said, places, present = "") {
  const text = plain(said.replace(/(\d)[\u00a0\u202f](?=\d{3}(?!\d))/g, "$1")).replace(/(\d)[.,](\d{3})(?!\d)/g, "$1$2");
  const figures = [...text.matchAll(/\d+(?:[.,]\d+)?/g)].map((m) => ({ value: m[0].replace(",", "."), at: m.index }));
  const words = new Set(text.match(/[a-z\u00e0-\u024f]+/g) ?? []);
  const score = (place) => plain(place.name).split(/[^a-z0-9]+/).filter((word) => word.length > 2 && [...words].some((one) => one === word || `${one}s` === word)).length;
  const best = [...places].sort((a, b) => score(b) - score(a) || (b.id === present) - (a.id === present))[0];
  const mean = MEANS.map((word) => text.indexOf(word)).find((at) => at >= 0) ?? -1;
  const high = figures.find((one) => mean < 0 || one.at < mean);
  const second = figures.find((one) => one !== high && (mean < 0 || one.at > mean));
  return { placeId: best && score(best) ? best.id : present, high: high?.value ?? "", mean: second?.value ?? "" };
}

// The recogniser of the device; null where there is none, or where it would send sound away.
export async function onDeviceVoice(language) {
  const Recognition = window.SpeechRecognition;
  if (!Recognition?.available) return null;
  const lang = LANGUAGES[language] ?? "en-GB";
  try {
    if ((await Recognition.available({ langs: [lang], processLocally: true })) !== "available") return null;
  } catch {
    return null;
  }
  const voice = new Recognition();
  if (!("processLocally" in voice)) return null;
  Object.assign(voice, { lang, processLocally: true, continuous: false, interimResults: false, maxAlternatives: 1 });
  return voice;
}
