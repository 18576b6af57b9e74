// The course of the raised arms over time, as drawings with error bars and the limit.

import { h, s, set } from "./dom.js";
import { capitalised, elevationWords, plain, shortDay, timeOf, withRange, Z95 } from "./words.js";

const HEIGHT = 300;
const MARGIN = { left: 52, right: 16, top: 16, bottom: 40 };
/** Left and right of one day stand beside each other, so that whiskers don't hide each other. */
const APART = 5;
const MEASURES = ["shoulder_flexion", "shoulder_abduction"];

/** Drawings that follow the width they are given; `show` makes them, `fit` once they are on the page. */
export function courses(person) {
  let drawn = [];
  const fit = () => drawn.forEach(({ drawing, series }) => draw(drawing, series, person));
  const watch = new ResizeObserver(fit);
  return {
    show(entries) {
      watch.disconnect();
      drawn = MEASURES.map((measure) => figure(measure, entries)).filter(Boolean);
      drawn.forEach(({ drawing }) => watch.observe(drawing));
      return h("div", { class: "courses" }, drawn.map(({ element }) => element));
    },
    fit,
    close: () => watch.disconnect(),
  };
}

function figure(measure, entries) {
  const series = ["left", "right"].map((side) => ({
    side,
    points: entries.flatMap(({ date, arms }) => arms
      .filter((arm) => arm.measure === measure && arm.side === side)
      .map((arm) => ({ date, at: Date.parse(date), ...arm }))),
  })).filter(({ points }) => points.length);
  if (!series.length) return null;
  const name = `Height of the raised arm, ${elevationWords(measure)}`;
  const drawing = s("svg", { class: "course-drawing", role: "img", "aria-label": described(name, series) });
  const keys = h("p", { class: "keys" }, series.map(({ side }) => h("span", {},
    s("svg", { viewBox: "0 0 36 14", class: `key of-${side}`, "aria-hidden": "true" },
      s("path", { class: "course", d: "M2 7H34" }), marker(side, 18, 7)),
    `${capitalised(side)} arm`)));
  return {
    drawing, series,
    element: h("figure", {}, h("h2", {}, name), keys, drawing,
      h("figcaption", { class: "note" }, "Degrees: 0 is hanging, 90 is shoulder height. The bars are the 95 % ranges; where they overlap widely, nothing certain has changed.")),
  };
}

const described = (name, series) => `${name}. ${series.map(({ side, points }) =>
  `${capitalised(side)} arm: ${points.map((p) => `${shortDay(p.date)} ${withRange(p)}`).join(", ")}`).join(". ")}.`;

function draw(drawing, series, person) {
  const width = Math.max(260, drawing.clientWidth || 640);
  const limit = person.arm_limit_deg;
  const all = series.flatMap(({ points }) => points);
  const low = Math.min(...all.map((p) => p.value - Z95 * p.sigma), limit ?? Infinity);
  const high = Math.max(...all.map((p) => p.value + Z95 * p.sigma), limit ?? -Infinity);
  const step = high - low > 70 ? 30 : 10;
  const bottom = Math.floor((low - 2) / step) * step;
  const top = Math.ceil((high + 2) / step) * step;
  const first = Math.min(...all.map((p) => p.at));
  const last = Math.max(...all.map((p) => p.at));
  const inner = width - MARGIN.left - MARGIN.right - 40;
  const x = (at) => MARGIN.left + 20 + (last === first ? inner / 2 : (inner * (at - first)) / (last - first));
  const y = (value) => MARGIN.top + ((top - value) / (top - bottom)) * (HEIGHT - MARGIN.top - MARGIN.bottom);

  set(drawing, { viewBox: `0 0 ${width} ${HEIGHT}`, height: HEIGHT });
  const ticks = [];
  for (let value = bottom; value <= top; value += step) ticks.push(value);
  drawing.replaceChildren(
    ...ticks.flatMap((value) => [
      s("line", { class: "grid", x1: MARGIN.left, x2: width - MARGIN.right, y1: y(value), y2: y(value) }),
      s("text", { class: "tick", x: MARGIN.left - 8, y: y(value) + 5, "text-anchor": "end" }, `${plain(value, 0)}°`),
    ]),
    ...days(all, x),
    ...(limit == null ? [] : limitLine(limit, person, y(limit), width)),
    ...series.map((one, index) => course(one, (at) => x(at) + (series.length > 1 ? (2 * index - 1) * APART : 0), y)),
  );
}

/** The first and the last day, and those between them that have room. */
function days(points, x) {
  // Several checks of one single day are told apart by their time.
  const oneDay = new Set(points.map((p) => p.date.slice(0, 10))).size === 1;
  const dates = [...new Set(points.map((p) => (oneDay ? p.date : p.date.slice(0, 10))))].sort();
  const shown = [];
  const last = dates.at(-1);
  for (const day of dates) {
    const at = x(Date.parse(points.find((p) => p.date.startsWith(day)).date));
    const room = shown.every((other) => Math.abs(other.at - at) > 64);
    const end = x(Date.parse(points.find((p) => p.date.startsWith(last)).date));
    if (room && (day === last || end - at > 64)) shown.push({ day, at });
  }
  return shown.map(({ day, at }) =>
    s("text", { class: "tick", x: at, y: HEIGHT - 12, "text-anchor": "middle" }, oneDay && shown.length > 1 ? timeOf(day) : shortDay(day)));
}

function limitLine(limit, { operated_side: side }, y, width) {
  // Earlier entries may have been made under another one.
  const whose = side === "left" || side === "right" ? `limit now, ${side} arm` : "limit now";
  return [
    s("line", { class: "limit", x1: MARGIN.left, x2: width - MARGIN.right, y1: y, y2: y }),
    s("text", { class: "tick limit-words", x: MARGIN.left + 4, y: y - 6 }, `${whose}: ${limit}°`),
  ];
}

function course({ side, points }, x, y) {
  const path = points.map((p, index) => `${index ? "L" : "M"}${x(p.at)} ${y(p.value)}`).join("");
  return s("g", { class: `of-${side}` },
    s("path", { class: "course", d: path }),
    points.map((p) => {
      const [from, to] = [y(p.value - Z95 * p.sigma), y(p.value + Z95 * p.sigma)];
      const at = x(p.at);
      return [
        s("path", { class: "whisker", d: `M${at} ${from}V${to}M${at - 5} ${from}h10M${at - 5} ${to}h10` }),
        marker(side, at, y(p.value)),
      ];
    }));
}

/** Round and full for left, square and open for right: told apart without colour. */
function marker(side, x, y) {
  return side === "left"
    ? s("circle", { class: "marker", cx: x, cy: y, r: 5 })
    : s("rect", { class: "marker", x: x - 5, y: y - 5, width: 10, height: 10 });
}
