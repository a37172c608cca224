// The one scale of shades, as the server draws it too: 1 below 1 µW/m², one more for each factor of ten.

const TONES = 6;

export function toneOf(wattsPerSquareMetre) {
  if (!(wattsPerSquareMetre > 0)) return 1;
  return Math.min(TONES, Math.max(1, Math.floor(Math.log10(wattsPerSquareMetre * 1e6)) + 2));
}
