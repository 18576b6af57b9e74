// Visits compared, oldest first; the report is the one that `tragus compare` writes.

import { Trouble, get, isThere, post } from "./api.js";
import { button, h, linkButton, say, troubleBox } from "./dom.js";
import { framed } from "./frame.js";
import { noteVisit } from "./unkept.js";
import { unsavedMark } from "./visits.js";
import { count } from "./words.js";

export async function showCompare(room) {
  const { visits } = await get("/api/visits");
  visits.forEach(noteVisit);
  const filled = visits.filter(({ photos }) => photos > 0);
  room.append(h("h1", {}, "Compare visits"));
  if (filled.length < 2) {
    room.append(h("p", { class: "lead" }, "A comparison needs two visits with photos."),
      h("p", { class: "actions" }, linkButton("#/visits", "Go to the visits", "main")));
    return { title: "Compare visits" };
  }
  // Those without a date stay where they are opened, after the dated ones.
  const order = filled.toSorted((a, b) => (a.date ?? "9999").localeCompare(b.date ?? "9999"));
  const chosen = new Set(order.map(({ id }) => id));
  const list = h("ol", { class: "order" });
  const state = h("div");
  const go = button("Compare", async () => {
    state.replaceChildren(h("p", { class: "lead waiting" }, "Comparing. This can take a few seconds."));
    say("Comparing.");
    go.disabled = true;
    try {
      const { id } = await post("/api/comparisons", { visits: order.map(({ id }) => id).filter((id) => chosen.has(id)) });
      location.hash = `#/compare/${id}`;
    } catch (trouble) {
      state.replaceChildren(troubleBox(trouble));
      go.disabled = false;
    }
  }, { class: "main" });
  const fill = () => {
    go.disabled = chosen.size < 2;
    list.replaceChildren(...order.map((visit, index) => h("li", {},
      h("label", {}, h("input", {
        type: "checkbox", checked: chosen.has(visit.id),
        change: (event) => {
          if (event.target.checked) chosen.add(visit.id);
          else chosen.delete(visit.id);
          go.disabled = chosen.size < 2;
        },
      }), h("span", {}, h("strong", {}, visit.title), ` ${count(visit.photos, "photo")} `, unsavedMark(visit))),
      mover("earlier", -1, index), mover("later", 1, index))));
  };
  const mover = (words, by, index) => button(words === "earlier" ? "↑" : "↓", () => {
    const [moved] = order.splice(index, 1);
    order.splice(index + by, 0, moved);
    fill();
    const row = list.children[index + by];
    (row.querySelector(`button.${words}:not(:disabled)`) ?? row.querySelector("button:not(:disabled)")).focus();
    say(`${moved.title} is now number ${index + by + 1}.`);
  }, {
    class: `square ${words}`, "aria-label": `Put ${order[index].title} ${words}`,
    disabled: index + by < 0 || index + by >= order.length,
  });
  fill();
  room.append(
    h("p", { class: "lead" }, "The oldest comes first. Visits marked here are compared."),
    list,
    order.every(({ saved }) => saved) ? "" : h("p", { class: "note" }, "A visit that is not saved is compared as the review shows it; its record does not hold that so far."),
    h("p", { class: "actions" }, go), state);
  return { title: "Compare visits" };
}

export async function showReport(room, id) {
  const path = `/api/comparisons/${encodeURIComponent(id)}`;
  if (!await isThere(path)) {
    throw new Trouble("This comparison is not here any more.", "Choose the visits and compare them again.");
  }
  const report = framed("Report of the comparison", path);
  room.append(
    h("div", { class: "visit-head" }, h("h1", {}, "The comparison"),
      h("p", { class: "actions" },
        button("Print the report", report.print, { class: "main" }),
        linkButton("#/compare", "Choose other visits"))),
    h("p", { class: "note screen-only" }, "Faces are covered. Look at every picture before you pass the report on."),
    h("p", { class: "paper-only" }, "The report is not on this paper. To print it, press “Print the report” on its page, or Ctrl+P there."),
    report.element);
  return { title: "The comparison", leave: report.leave };
}
