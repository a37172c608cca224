// Plane geometry of the plan, in metres. No page, no state.

export const round = (value, step = 0.01) => Math.round(Math.round(value / step) * step * 1000) / 1000;
export const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
export const same = (a, b, within = 0.005) => Math.abs(a[0] - b[0]) < within && Math.abs(a[1] - b[1]) < within;

// Foot of the perpendicular from p on the segment a-b: position along it in metres, point, distance.
export function foot(p, a, b) {
  const length = distance(a, b) || 1e-9;
  const ux = (b[0] - a[0]) / length;
  const uy = (b[1] - a[1]) / length;
  const along = Math.min(length, Math.max(0, (p[0] - a[0]) * ux + (p[1] - a[1]) * uy));
  const point = [a[0] + ux * along, a[1] + uy * along];
  return { along, point, gap: distance(p, point), length };
}

export function along(a, b, metres) {
  const length = distance(a, b) || 1e-9;
  return [a[0] + ((b[0] - a[0]) * metres) / length, a[1] + ((b[1] - a[1]) * metres) / length];
}

export function area(outline) {
  let twice = 0;
  for (let i = 0; i < outline.length; i += 1) {
    const [x0, y0] = outline[i];
    const [x1, y1] = outline[(i + 1) % outline.length];
    twice += x0 * y1 - x1 * y0;
  }
  return Math.abs(twice) / 2;
}

export function centre(outline) {
  let twice = 0;
  let cx = 0;
  let cy = 0;
  for (let i = 0; i < outline.length; i += 1) {
    const [x0, y0] = outline[i];
    const [x1, y1] = outline[(i + 1) % outline.length];
    const cross = x0 * y1 - x1 * y0;
    twice += cross;
    cx += (x0 + x1) * cross;
    cy += (y0 + y1) * cross;
  }
  if (Math.abs(twice) < 1e-9) return outline[0] ?? [0, 0];
  return [cx / (3 * twice), cy / (3 * twice)];
}

export function inside(p, outline) {
  let within = false;
  for (let i = 0, j = outline.length - 1; i < outline.length; j = i, i += 1) {
    const [xi, yi] = outline[i];
    const [xj, yj] = outline[j];
    if (yi > p[1] !== yj > p[1] && p[0] < ((xj - xi) * (p[1] - yi)) / (yj - yi) + xi) within = !within;
  }
  return within;
}

export function extent(points) {
  if (!points.length) return [0, 0, 10, 8];
  const xs = points.map((p) => p[0]);
  const ys = points.map((p) => p[1]);
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

// Where a hand-drawn point belongs: on a corner, on a wall, in line with the last point, else on the grid.
export function snapped(p, { corners, lines, from, reach, grid }) {
  let best = null;
  for (const corner of corners) {
    const gap = distance(p, corner);
    if (gap < reach && (!best || gap < best.gap)) best = { point: corner, gap, what: "corner" };
  }
  if (best) return best;
  let [x, y] = [round(p[0], grid), round(p[1], grid)];
  if (from) {
    if (Math.abs(p[0] - from[0]) < reach) x = from[0];
    if (Math.abs(p[1] - from[1]) < reach) y = from[1];
  }
  for (const corner of corners) {
    if (Math.abs(p[0] - corner[0]) < reach / 2) x = corner[0];
    if (Math.abs(p[1] - corner[1]) < reach / 2) y = corner[1];
  }
  for (const [a, b] of lines) {
    const hit = foot([x, y], a, b);
    if (hit.gap < reach / 2) return { point: hit.point.map((v) => round(v, 0.001)), gap: hit.gap, what: "wall" };
  }
  return { point: [round(x, 0.001), round(y, 0.001)], gap: 0, what: "grid" };
}
