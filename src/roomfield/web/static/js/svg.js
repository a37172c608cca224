// One element of a drawing with its attributes and children.

const SPACE = "http://www.w3.org/2000/svg";

export function shape(name, attributes = {}, ...children) {
  const node = document.createElementNS(SPACE, name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value !== undefined && value !== null && value !== false) node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children);
  return node;
}
