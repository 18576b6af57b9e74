// The screening of today: the questions that can stop everything first, and never answered beforehand.

import { Trouble, get, post } from "./api.js";
import { noteTakenBack } from "./case.js";
import { button, h, say, troubleBox } from "./dom.js";
import { field } from "./person.js";
import { draftNames, drafting, dropDraft } from "./unkept.js";
import { count } from "./words.js";

const DRAFT = "screening of ";
const SIDES = [["right", "Right"], ["left", "Left"], ["both", "Both"], ["", "Not known"]];
const LIMITS = [
  ["arm_limit", "Limit for raising the operated arm", "Degrees; 90 is shoulder height. Empty: none is set.", "200"],
  ["load_limit", "Limit for lifting with the operated arm", "Kilograms. Empty: none is set.", "30"],
];

export async function showScreening(room) {
  const asked = await get("/api/case/screening");
  // What was begun before another screening was kept, or of another case, is none of this one.
  const name = `${DRAFT}${asked.code}, ${asked.day}, ${asked.from}`;
  const forgotten = draftNames().filter((other) => other.startsWith(DRAFT) && other !== name);
  forgotten.forEach(dropDraft);
  const safety = asked.questions.filter((question) => question.can_hold);
  const others = asked.questions.filter((question) => !question.can_hold);
  const state = h("div");
  const open = h("p", { class: "note", role: "status" });
  const unkept = h("p", {});
  const line = h("div", { class: "unkept", hidden: true }, unkept,
    button("Drop it", () => draft.drop(), { class: "quiet" }));
  const form = h("form", {
    class: "screening",
    novalidate: true,
    submit: async (event) => {
      event.preventDefault();
      try {
        const { day, from } = asked;
        const kept = await post("/api/case/screening", { day, from, ...read(form, asked) });
        dropDraft(name);
        noteTakenBack(kept.no_longer_approved);
        say("The screening is kept.");
        location.hash = "#/case/plan";
      } catch (trouble) {
        state.replaceChildren(troubleBox(trouble));
      }
    },
  },
  h("h2", {}, "Asked anew each time"),
  h("p", { class: "note" }, "An answer here can mean: ask or refer first. So none is filled in."),
  safety.map((question) => choices(question)),
  h("h2", {}, "The surgery"),
  field("surgery_date", "Date of the last operation", "Empty: not known. Then every limit of the first weeks holds.",
    h("input", { id: "surgery_date", name: "surgery_date", type: "date", max: asked.day, value: asked.surgery_date })),
  radios("operated_side", "Operated side", SIDES, asked.operated_side ?? ""),
  others.map((question) => choices(question, asked.last)),
  h("h2", {}, "Limits that the surgeon or therapist set"),
  h("p", { class: "note" }, "They go before those of the rules, higher or lower."),
  LIMITS.map(([id, words, hint, most]) => limitFields(id, words, hint, most, asked)),
  open, line,
  h("div", { class: "actions" }, h("button", { class: "main" }, "Keep the screening"),
    h("a", { class: "button quiet", href: "#/case" }, "Back to the case")),
  state);
  const draft = drafting(form, name, (draft) => {
    line.hidden = draft === null;
    unkept.textContent = draft === null ? "" : `${count(Object.keys(draft).length, "entry", "entries")} not kept so far.`;
    open.textContent = openWords(form, asked.questions);
  });
  form.addEventListener("input", () => state.replaceChildren());
  room.append(...[
    h("h1", {}, `Screening of ${asked.code}, ${asked.day}`),
    forgotten.length > 0 && h("p", { class: "caution" }, "What was chosen here on another day and not kept is gone: ask anew."),
    asked.overrides.length > 0 && h("p", { class: "caution" },
      `Taken away at the last screening, and back with this one: ${asked.overrides.map(({ rule, initials, reason }) => `${rule} (${initials}, “${reason}”)`).join("; ")}.`),
    form].filter(Boolean));
  return { title: "Screening" };
}

function choices(question, last = null) {
  const words = question.options.map(({ id, words }) => [id, words]);
  return radios(question.id, question.ask, words, question.known,
    question.known !== null && last !== null ? `As answered on ${last}.` : null);
}

function radios(name, legend, options, chosen, note = null) {
  return h("fieldset", {}, h("legend", {}, legend, note && h("small", {}, ` ${note}`)),
    h("div", { class: "sides" }, options.map(([value, words]) => h("label", {},
      h("input", { type: "radio", name, value, checked: value === chosen }), words))));
}

function limitFields(id, legend, hint, most, asked) {
  const known = asked[id] ?? {};
  const value = h("input", { id, name: id, type: "number", min: "0", max: most, step: "any", inputmode: "decimal", value: known.value });
  const on = h("input", { id: `${id}_on`, name: `${id}_on`, type: "date", max: asked.day, value: known.set_on });
  const until = h("input", { id: `${id}_until`, name: `${id}_until`, type: "date", min: asked.day, value: known.until });
  // Another limit was not set when the one before was, and need not end with it.
  value.addEventListener("input", () => {
    if (on.value === (known.set_on ?? "")) on.value = "";
    if (until.value === (known.until ?? "")) until.value = "";
  });
  return h("div", { class: "limit-fields" },
    field(id, legend, hint, value),
    field(`${id}_on`, "Set on", "Empty: today.", on),
    field(`${id}_until`, "Its last day", "Empty: nobody said.", until));
}

/** What stands in the form, as the server takes it. */
function read(form, { questions }) {
  const { elements } = form;
  const text = (name) => {
    const input = elements[name];
    if (input.validity?.badInput) {
      input.focus();
      throw new Trouble(`“${input.labels[0].innerText}” can't be read.`, "Write it in figures, or leave it empty.");
    }
    return input.value.trim() || null;
  };
  const limit = (id) => (text(id) === null ? null
    : { value: Number(text(id)), set_on: text(`${id}_on`), until: text(`${id}_until`) });
  const answers = questions.map(({ id }) => [id, elements[id].value]).filter(([, answer]) => answer !== "");
  return {
    surgery_date: text("surgery_date"),
    operated_side: elements.operated_side.value || null,
    answers: Object.fromEntries(answers),
    arm_limit: limit("arm_limit"),
    load_limit: limit("load_limit"),
  };
}

function openWords(form, questions) {
  const open = questions.filter(({ id }) => form.elements[id].value === "");
  const holding = open.filter((question) => question.can_hold).length;
  if (!open.length) return "All questions are answered.";
  return `${count(open.length, "question")} not answered.${
    holding ? ` ${holding} of them ${holding === 1 ? "stops" : "stop"} every exercise until answered.` : ""}`;
}
