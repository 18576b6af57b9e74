// What no screen may have: sideways scrolling, targets that are too small, grave faults of access.

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

export function tooWide() {
  const { scrollWidth, clientWidth } = document.documentElement;
  return scrollWidth > clientWidth ? [`scrolls sideways: ${scrollWidth} of ${clientWidth} pixels`] : [];
}

/** Whatever is pressed, save for links within a sentence, is at least 44 pixels high and wide. */
export function tooSmall() {
  const pressed = "button, .button, summary, nav a, .choice, .way, label:has(input), input:not([type=radio], [type=checkbox]), select";
  return [...document.querySelectorAll(pressed)]
    .filter((element) => element.checkVisibility() && !element.hidden)
    .map((element) => [element, element.getBoundingClientRect()])
    .filter(([, { width, height }]) => width > 0 && (width < 43.9 || height < 43.9))
    .map(([element, { width, height }]) => `${Math.round(width)}×${Math.round(height)}: ${element.outerHTML.slice(0, 80)}`);
}

/** In the page and in each frame of it, as the report is one. */
export async function graveFaults(page) {
  const faults = await Promise.all(page.frames().map(graveFaultsOf));
  return faults.flat();
}

async function graveFaultsOf(frame) {
  await frame.evaluate(AXE);
  const { violations } = await frame.evaluate(() => window.axe.run(document, {
    iframes: false, runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
  }));
  return violations
    .filter(({ impact }) => impact === "serious" || impact === "critical")
    .map(({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html.slice(0, 120)).join(" | ")}`);
}
