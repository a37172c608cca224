// Hands on the sheet: pan, pinch, wheel, and what lies under a finger.

// One way of panning and zooming for mouse, touch and wheel.
export function navigate(view, { onStart, onMove, onEnd }) {
  const fingers = new Map();
  let pinch = null;
  const svg = view.svg;
  svg.addEventListener("touchstart", (event) => event.preventDefault(), { passive: false });
  svg.addEventListener("contextmenu", (event) => event.preventDefault());
  svg.addEventListener("wheel", (event) => {
    event.preventDefault();
    view.zoom(Math.exp(event.deltaY * 0.0015), view.toPlan(event));
  }, { passive: false });
  const spread = () => {
    const [a, b] = [...fingers.values()];
    return { gap: Math.hypot(a.x - b.x, a.y - b.y), x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 };
  };
  svg.addEventListener("pointerdown", (event) => {
    svg.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    svg.focus({ preventScroll: true });
    if (fingers.size === 2) {
      pinch = spread();
      onEnd?.(event, true);
    } else if (fingers.size === 1) onStart?.(event);
  });
  svg.addEventListener("pointermove", (event) => {
    if (fingers.has(event.pointerId)) fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (pinch && fingers.size === 2) {
      const next = spread();
      view.pan(next.x - pinch.x, next.y - pinch.y);
      view.zoom(pinch.gap / next.gap, view.toPlan({ clientX: next.x, clientY: next.y }));
      pinch = next;
    } else if (!pinch) onMove?.(event, fingers.has(event.pointerId));
  });
  const lift = (event) => {
    const known = fingers.delete(event.pointerId);
    if (pinch) {
      if (!fingers.size) pinch = null;
    } else if (known) onEnd?.(event, event.type === "pointercancel");
  };
  svg.addEventListener("pointerup", lift);
  svg.addEventListener("pointercancel", lift);
}

export function hit(event) {
  const node = event.target.closest?.("[data-kind]");
  return node ? { kind: node.dataset.kind, id: node.dataset.id, seat: node.dataset.seat } : null;
}

