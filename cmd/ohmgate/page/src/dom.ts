// Small helpers to make elements.

export function make<K extends keyof HTMLElementTagNameMap>(tag: K, attributes: Record<string, string> = {}, ...children: (Node | string)[]): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "class") element.className = value;
    else element.setAttribute(name, value);
  }
  element.append(...children);
  return element;
}

export function button(text: string, title: string, on: () => void): HTMLButtonElement {
  const b = make("button", { type: "button", title }, text);
  b.addEventListener("click", on);
  return b;
}

export function select(label: string, options: [value: string, text: string][], on: (value: string) => void): HTMLSelectElement {
  const s = make("select", { "aria-label": label });
  fill(s, options);
  s.addEventListener("change", () => on(s.value));
  return s;
}

// fill replaces the options and keeps the choice where it still exists.
export function fill(s: HTMLSelectElement, options: [value: string, text: string][]): void {
  const text = JSON.stringify(options);
  if (s.dataset["options"] === text) return;
  const chosen = s.value;
  s.dataset["options"] = text;
  s.replaceChildren(...options.map(([value, text]) => make("option", { value }, text)));
  if (options.some(([value]) => value === chosen)) s.value = chosen;
}
