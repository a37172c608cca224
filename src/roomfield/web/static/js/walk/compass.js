// The phone's compass: the direction its upper edge points to, smoothed over the last turns, in degrees from magnetic north.

const WINDOW = 8;

export const hasCompass = () => "DeviceOrientationEvent" in window && matchMedia("(any-pointer: coarse)").matches && window.isSecureContext;

// Heading of one event; null if the sensor does not know where north is.
export function headingOf(event, screenTurn = 0) {
  const heading = event.webkitCompassHeading ?? (event.absolute && event.alpha !== null ? 360 - event.alpha : null);
  return heading === null || Number.isNaN(heading) ? null : (heading + screenTurn + 360) % 360;
}

// Mean of directions: of their unit vectors, so that 359 and 1 make 0.
export function meanDirection(degrees) {
  const [x, y] = degrees.reduce(([a, b], d) => [a + Math.cos((d * Math.PI) / 180), b + Math.sin((d * Math.PI) / 180)], [0, 0]);
  return ((Math.atan2(y, x) * 180) / Math.PI + 360) % 360;
}

// Follows the compass until `stop` is called; `onHeading` gets degrees, `onNone` is called if nothing comes.
export async function followCompass(onHeading, onNone) {
  const ask = window.DeviceOrientationEvent?.requestPermission;
  if (ask && (await ask.call(window.DeviceOrientationEvent)) !== "granted") { onNone(); return () => {}; }
  const last = [];
  const listen = (event) => {
    const heading = headingOf(event, screen.orientation?.angle ?? 0);
    if (heading === null) return;
    clearTimeout(waiting);
    last.push(heading);
    if (last.length > WINDOW) last.shift();
    onHeading(meanDirection(last));
  };
  const kinds = ["deviceorientationabsolute", "deviceorientation"];
  for (const kind of kinds) window.addEventListener(kind, listen);
  const stop = () => { clearTimeout(waiting); for (const kind of kinds) window.removeEventListener(kind, listen); };
  const waiting = setTimeout(() => { stop(); onNone(); }, 2500);
  return stop;
}
