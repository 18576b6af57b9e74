// The visits that are open for review, and a form for a new one.

import { get, post } from "./api.js";
import { button, h, linkButton, troubleBox } from "./dom.js";
import { draftLine, factFields, field } from "./person.js";
import { dropDraft, noteVisit } from "./unkept.js";
import { count } from "./words.js";

const NEW = "new visit";

export async function showVisits(room) {
  const { visits } = await get("/api/visits");
  visits.forEach(noteVisit);
  room.append(
    h("h1", {}, "Visits"),
    visits.length
      ? h("ul", { class: "visits" }, visits.map((visit) => h("li", {},
        h("a", { class: "visit", href: `#/visits/${visit.id}` },
          h("strong", {}, visit.title), h("span", {}, count(visit.photos, "photo")),
          visit.folder && h("span", {}, `folder ${visit.folder}`),
          unsavedMark(visit)))))
      : h("p", { class: "lead" }, "No visit is open. Make a new one and add its photos; or start tragus with a visit's folder: ",
        h("code", {}, "tragus serve FOLDER")),
    h("p", { class: "actions" }, linkButton("#/visits/new", "New visit", visits.length ? "" : "main"),
      visits.length > 1 && linkButton("#/compare", "Compare visits")),
  );
  return { title: "Visits" };
}

/** Marks a visit with changes that are not in its record. */
export const unsavedMark = ({ saved }) => (saved ? null : h("span", { class: "unsaved" }, "not saved"));

/**
 * Everything that can be told of a visit, as fields of a form. The day that its photos say is filled in
 * by whoever presses the button, and by nothing else.
 */
export function visitFields(facts, photosSay = null) {
  const label = h("input", { id: "label", name: "label", type: "text", maxlength: "80", autocomplete: "off", value: facts.label });
  const date = h("input", { id: "date", name: "date", type: "date", value: facts.date });
  const person = factFields(facts, { clinic: true });
  const take = () => {
    date.value = photosSay.day;
    date.dispatchEvent(new Event("input", { bubbles: true }));
    date.focus();
  };
  return {
    elements: [
      field("label", "What the visit is called", "For example intake, or follow-up. Keep names out of it: it stands in reports.", label),
      field("date", "Date", null, date),
      photosSay?.day && h("p", { class: "note" }, `${photosSay.words} `, button("Fill in this day", take)),
      photosSay?.doubts.map((words) => h("p", { class: "note" }, words)),
      person.elements,
    ],
    read: () => ({ label: label.value.trim() || null, date: date.value || null, ...person.read() }),
  };
}

export async function showNewVisit(room) {
  const facts = visitFields({});
  const state = h("div");
  const actions = h("div", { class: "actions" }, h("button", { class: "main" }, "Make the visit"),
    h("a", { class: "button quiet", href: "#/visits", click: () => dropDraft(NEW) }, "Cancel"));
  const form = h("form", {
    novalidate: true,
    submit: async (event) => {
      event.preventDefault();
      try {
        const visit = await post("/api/visits", facts.read());
        dropDraft(NEW);
        location.hash = `#/visits/${visit.id}`;
      } catch (trouble) {
        state.replaceChildren(troubleBox(trouble));
      }
    },
  }, facts.elements, actions, state);
  draftLine(form, NEW, actions);
  room.append(h("h1", {}, "New visit"),
    h("p", { class: "lead" }, "All of it is optional, and can be changed later."), form);
  return { title: "New visit" };
}
