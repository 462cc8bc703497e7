// A scale whose middle third is where the value may be. All scales of the page have this form.

import { write } from "./words.js";

function part(name, parent) {
  const made = document.createElement("span");
  made.className = name;
  parent.append(made);
  return made;
}

/**
 * @param {HTMLElement} element an empty box
 * @param {string} name what it shows, for those who cannot see it
 */
export function makeScale(element, name) {
  part("scale-track", element);
  part("scale-band", element);
  const target = part("scale-target", element);
  part("scale-pointer", element);
  const ends = ["low", "target", "high"].map((end) => part(`scale-end scale-end--${end}`, element));
  element.setAttribute("role", "img");

  /** @param {{value: ?number, text: string, low: number, high: number, target: ?number}} shown */
  return function draw({ value, text, low, high, target: asked, ends: texts }) {
    const place = value === null ? null : (1 + (value - low) / (high - low)) / 3;
    element.dataset.off = place === null ? "none" : place < 0 ? "low" : place > 1 ? "high" : "";
    if (place !== null) {
      element.style.setProperty("--at", `${100 * Math.min(1, Math.max(0, place))}%`);
    }
    target.hidden = asked === null;
    ends.forEach((end, i) => write(end, texts[i] ?? ""));
    const where =
      place === null ? "no value" : value < low ? "below it" : value > high ? "above it" : "in it";
    const said = `${name} ${text}, band ${texts[0]} to ${texts[2]}: ${where}`;
    if (element.getAttribute("aria-label") !== said) element.setAttribute("aria-label", said);
  };
}
