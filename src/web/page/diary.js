// The diary: what was kept, when, and its course. Numbers only, no photos.

import { get, homeFacts, remove } from "./api.js";
import { courses } from "./course.js";
import { button, h, linkButton, say, troubleBox } from "./dom.js";
import { capitalised, dayAndTime, elevationWords, withRange } from "./words.js";

export async function showDiary(room) {
  const [diary, { person }] = await Promise.all([get("/api/diary"), homeFacts()]);
  const body = h("div");
  const drawing = courses(person);
  room.append(h("h1", {}, "Your diary"), body);
  const fill = ({ entries, file }) => {
    if (!entries.length) {
      body.replaceChildren(h("p", { class: "lead" }, "Nothing is kept here. After a check you can keep its result."),
        h("p", { class: "actions" }, linkButton("#/check", "Check a reach", "main")));
      return;
    }
    const oldestFirst = entries.toSorted((a, b) => a.date.localeCompare(b.date));
    body.replaceChildren(
      drawing.show(oldestFirst),
      h("h2", {}, "Entries"),
      h("ul", { class: "entries" }, oldestFirst.toReversed().map((entry) => entryItem(entry, fill))),
      h("p", { class: "actions screen-only" }, button("Print the diary", () => print())),
      h("p", { class: "note screen-only" }, "The diary lies in this file on this computer: ", h("code", {}, file)));
  };
  fill(diary);
  return { title: "Your diary", shown: drawing.fit, leave: drawing.close };
}

const LIMIT_NOTES = {
  above: "above the limit",
  may_be_above: "may have been above the limit",
  may_be_at: "may have been at the limit",
};

/** A part of a length says of which. */
const earWords = (to_ear) => withRange(to_ear) + (to_ear.unit === "%" ? " of the upper arm" : "");

function entryItem(entry, fill) {
  const when = dayAndTime(entry.date);
  const asking = h("div", { class: "actions screen-only" });
  const ask = button("Remove", () => {
    asking.replaceChildren(h("p", {}, `Remove the entry of ${when}? It can't be brought back.`),
      button("Remove it", async () => {
        try {
          fill(await remove(`/api/diary/${encodeURIComponent(entry.id)}`));
          say("Removed.");
          const heading = document.querySelector("h1");
          heading.focus();
        } catch (trouble) {
          asking.append(troubleBox(trouble));
        }
      }), button("Keep it", () => {
        asking.replaceChildren(ask);
        ask.focus();
      }, { class: "quiet" }));
    asking.querySelector("button").focus();
  }, { class: "quiet", "aria-label": `Remove the entry of ${when}` });
  asking.append(ask);
  const limitThen = entry.limit_deg == null ? "" : ` of ${entry.limit_deg}°`;
  return h("li", {},
    h("h3", {}, when),
    entry.arms.map((arm) => h("p", {},
      `${capitalised(arm.side)} arm, ${elevationWords(arm.measure)}: `, h("b", {}, withRange(arm)),
      arm.to_ear && `, to the ear ${earWords(arm.to_ear)}`,
      arm.against_limit in LIMIT_NOTES && h("strong", { class: "beyond" }, ` ${LIMIT_NOTES[arm.against_limit]}${limitThen}`))),
    entry.note && h("p", { class: "own-note" }, entry.note),
    asking);
}
