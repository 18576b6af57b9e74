// The measures of a visit as a table beside the photo, and why others could not be read.

import { h } from "./dom.js";
import { capitalised, inUnit, signWords, valueOnly, withRange } from "./words.js";

const id = (row) => [row.measure, row.of ?? "", row.side, row.photo, row.unit].join("|");

/** What the measures were when the page saw them first, to show what a move has changed. */
export class Measures {
  constructor(visit) {
    this.startFrom(visit);
    this.here = h("div");
    this.others = h("div");
    // Folded away on a small screen only, and never against the wish of who opened it.
    this.fold = h("details", { open: matchMedia("(min-width: 64rem)").matches },
      h("summary", {}, "In the other photos"), this.others);
    this.element = h("div", { class: "measures" }, this.here, this.fold);
  }

  /** From here on a measure that reads otherwise was changed by a move. */
  startFrom(visit) {
    this.first = new Map(visit.measures.map((row) => [id(row), row]));
  }

  show(visit, photo) {
    const here = (row) => photo && row.photo === photo.file;
    const elsewhere = (row) => !here(row);
    const others = this.part("In the other photos", visit.measures.filter(elsewhere), visit.unmeasured.filter(elsewhere));
    const these = this.part("In this photo", visit.measures.filter(here), visit.unmeasured.filter(here));
    this.here.replaceChildren(...(these.length ? these : [h("p", {}, "Nothing was measured in this photo.")]));
    this.others.replaceChildren(...others);
    this.fold.hidden = others.length === 0;
  }

  part(title, measured, unmeasured) {
    if (!measured.length && !unmeasured.length) return [];
    return [
      measured.length > 0 && h("table", {},
        h("caption", { class: "unseen" }, title),
        h("thead", {}, h("tr", {}, ["Measure", "Side", "Value ± 95 %", "Before", "Counts as change from"].map((words) =>
          h("th", { scope: "col", class: words.toLowerCase().replaceAll(" ", "-") }, words)))),
        h("tbody", {}, measured.map((row) => this.row(row)))),
      unmeasured.length > 0 && h("div", { class: "unmeasured" },
        h("h3", {}, `Not measured ${title.toLowerCase()}`),
        h("ul", {}, together(unmeasured).map(({ names, side, reason }) =>
          h("li", {}, h("b", {}, capitalised([names, side].filter(Boolean).join(", "))), `: ${reason}`)))),
    ].filter(Boolean);
  }

  row(row) {
    const first = this.first.get(id(row));
    const moved = first && valueOnly(first) !== valueOnly(row);
    return h("tr", { class: moved ? "moved" : null, "data-measure": row.measure, "data-unit": row.unit },
      h("th", { scope: "row" }, row.name, signWords(row) && h("small", {}, signWords(row))),
      h("td", { class: "of-side" }, row.side ? capitalised(row.side) : "–"),
      h("td", { class: "value" }, withRange(row)),
      h("td", { class: "before" }, moved ? withRange(first) : ""),
      h("td", { class: "least", "data-label": "counts as change from " }, row.mdc95 == null ? "–" : inUnit(row.mdc95, row)));
  }

  /** What a move has done, to be read aloud. */
  static spoken(before, after) {
    const old = new Map(before.measures.map((row) => [id(row), valueOnly(row)]));
    const changed = after.measures.filter((row) => old.get(id(row)) !== valueOnly(row));
    const words = changed.slice(0, 4).map((row) => `${row.name} ${row.side} ${withRange(row)}`);
    if (changed.length > 4) words.push(`and ${changed.length - 4} more`);
    return words.join(", ") || "No measure changes.";
  }
}

/** Rows of one measure in two units, or of several measures for one reason, are said once. */
function together(rows) {
  const groups = new Map();
  for (const { name, side, reason } of rows) {
    const group = groups.get(`${side}|${reason}`) ?? { names: new Set(), side, reason };
    group.names.add(name.replace(/, % of .*$/, ""));
    groups.set(`${side}|${reason}`, group);
  }
  return [...groups.values()].map((group) => ({ ...group, names: [...group.names].join(", ") }));
}
