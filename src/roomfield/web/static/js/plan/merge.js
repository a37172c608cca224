// A plan as items: what differs between two states of it, and a state with such differences made on it.

const IN_DWELLING = ["storeys", "rooms", "walls", "slabs", "furniture"];
const BESIDE = ["places", "emitters"];
const WHOLE = ["plan_images", "north_deg"];

const alike = (one, other) => JSON.stringify(one) === JSON.stringify(other);
const listOf = (doc, kind) => (IN_DWELLING.includes(kind) ? doc.dwelling : doc)[kind];

export function changesBetween(before, after) {
  const changes = [];
  for (const kind of [...IN_DWELLING, ...BESIDE]) {
    const were = new Map(listOf(before, kind).map((item) => [item.id, item]));
    const are = new Map(listOf(after, kind).map((item) => [item.id, item]));
    for (const id of new Set([...were.keys(), ...are.keys()])) {
      const [was, is] = [were.get(id) ?? null, are.get(id) ?? null];
      if (!alike(was, is)) changes.push({ kind, id, before: was, after: is });
    }
  }
  for (const kind of WHOLE) {
    const [was, is] = [before.dwelling[kind] ?? null, after.dwelling[kind] ?? null];
    if (!alike(was, is)) changes.push({ kind, id: "", before: was, after: is });
  }
  return changes;
}

export function changed(doc, changes) {
  const next = structuredClone(doc);
  for (const { kind, id, after } of changes) {
    if (WHOLE.includes(kind)) { next.dwelling[kind] = after; continue; }
    const list = listOf(next, kind);
    const at = list.findIndex((item) => item.id === id);
    if (after === null) { if (at >= 0) list.splice(at, 1); } else if (at >= 0) list[at] = structuredClone(after);
    else list.push(structuredClone(after));
  }
  return next;
}

export const sameItem = (one, other) => one.kind === other.kind && one.id === other.id;
