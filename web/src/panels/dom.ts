/** Small helpers for plain DOM. Text goes in as text, never as markup. */
export function make<K extends keyof HTMLElementTagNameMap>(tag: K, text = "", attributes: Readonly<Record<string, string>> = {}): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  if (text !== "") element.textContent = text;
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return element;
}

export function byId(id: string): HTMLElement {
  const element = document.getElementById(id);
  if (element === null) throw new Error(`the page has no #${id}`);
  return element;
}

export function svg(tag: string, attributes: Readonly<Record<string, string | number>>): SVGElement {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  return element;
}

/** Set text only when it changed, so that a screen reader is not told twice. */
export function setText(element: Element, text: string): void {
  if (element.textContent !== text) element.textContent = text;
}
