// What the program should know of the person at home. Kept by the server, in the diary's file.

import { homeFacts, keepPerson, Trouble } from "./api.js";
import { button, h, say, troubleBox } from "./dom.js";
import { draftOf, drafting, dropDraft } from "./unkept.js";

const DRAFT = "person";
const SIDES = [["right", "Right"], ["left", "Left"], ["both", "Both"], ["none", "Neither"], ["", "Not said"]];

export async function showPerson(room) {
  let { person } = await homeFacts();
  const fields = factFields(person);
  const state = h("div");
  const actions = h("div", { class: "actions" }, h("button", { class: "main" }, "Keep this"));
  const form = h("form", {
    novalidate: true,
    submit: async (event) => {
      event.preventDefault();
      try {
        const kept = draft.keeping();
        ({ person } = await keepPerson(fields.read(), person));
        kept();
        state.replaceChildren(h("p", { class: "done" }, "Kept. ", h("a", { href: "#/check" }, "Check a reach")));
        say("Kept.");
      } catch (trouble) {
        state.replaceChildren(troubleBox(trouble));
      }
    },
  }, fields.elements, actions, state);
  const draft = draftLine(form, DRAFT, actions);
  form.addEventListener("input", () => state.replaceChildren());
  room.append(
    h("h1", {}, "About you"),
    h("p", { class: "lead" }, "All of it is optional, and stays on this computer."),
    form);
  return { title: "About you" };
}

export const isPersonUnkept = () => draftOf(DRAFT) !== null;

/** Asks what is to become of what was typed about the person and not kept, before a photo is checked without it. */
export async function askToKeep(room, goOn) {
  const { person } = await homeFacts();
  const draft = draftOf(DRAFT);
  const state = h("div");
  room.append(
    h("h1", {}, "Keep what you typed?"),
    h("p", { class: "lead" }, "Under “About you” this was typed and not kept. A photo is checked by what is kept."),
    h("ul", { class: "plain-list" }, unkeptWords(draft, textsOf(person)).map((words) => h("li", {}, words))),
    h("p", { class: "actions" },
      button("Keep it", async () => {
        try {
          await keepPerson({ ...person, ...factsIn(draft) }, person);
          dropDraft(DRAFT);
          say("Kept.");
          goOn();
        } catch (trouble) {
          state.replaceChildren(troubleBox(trouble, h("p", {}, h("a", { href: "#/person" }, "Change it under “About you”"))));
        }
      }, { class: "main" }),
      button("Drop it", () => {
        dropDraft(DRAFT);
        say("Dropped.");
        goOn();
      })),
    state);
  return { title: "Keep what you typed?" };
}

/**
 * Stature, operated side and limit: the same fields for the person and for a visit.
 * @returns {{elements: HTMLElement[], read: () => {stature_cm: ?number, operated_side: ?string, arm_limit_deg: ?number}}}
 */
export function factFields(facts, { clinic = false } = {}) {
  const stature = numberInput("stature", "stature_cm", facts, "80", "250");
  const limit = numberInput("limit", "arm_limit_deg", facts, "1", "180");
  const sides = h("fieldset", { class: "sides" },
    h("legend", {}, clinic ? "Operated side" : "On which side was the surgery?"),
    SIDES.map(([value, words]) => h("label", {},
      h("input", { type: "radio", name: "operated_side", value, checked: (facts.operated_side ?? "") === value }), words)));
  return {
    elements: [
      sides,
      field("limit", clinic ? "Limit for raising the arm, in degrees" : "The limit for raising your arm, in degrees",
        clinic ? "As set by the surgeon or therapist. 90 is shoulder height. A reach beyond it is flagged."
          : "Only if your surgeon or therapist gave you one: 90 is shoulder height. Leave it empty if there is none.", limit),
      field("stature", clinic ? "Stature, in cm" : "How tall are you, in cm?", "With it, distances are told in cm too.", stature),
    ],
    read: () => {
      for (const input of [stature, limit]) refuseNoNumber(input);
      return factsIn({
        stature_cm: stature.value, operated_side: sides.querySelector("input:checked")?.value ?? "", arm_limit_deg: limit.value,
      });
    },
  };
}

/** Lets a form hold its draft, and says beside its buttons what is not kept so far. */
export function draftLine(form, name, actions) {
  const words = h("p", {});
  const line = h("div", { class: "unkept", hidden: true }, words, button("Drop what I typed", () => draft.drop(), { class: "quiet" }));
  actions.after(line);
  const draft = drafting(form, name, (unkept, kept) => {
    line.hidden = unkept === null;
    words.textContent = unkept === null ? "" : `Not kept so far: ${unkeptWords(unkept, kept).join("; ")}.`;
  });
  return draft;
}

const NAMES = { label: "name", date: "date", operated_side: "side of the surgery", arm_limit_deg: "limit", stature_cm: "height" };
const UNITS = { arm_limit_deg: "°", stature_cm: " cm" };

/** "limit 90° (kept: none)" for each field. */
function unkeptWords(draft, kept) {
  const told = (field, text) => {
    if (field === "operated_side") return SIDES.find(([value]) => value === text)[1].toLowerCase();
    return text === "" ? "none" : text + (UNITS[field] ?? "");
  };
  return Object.entries(draft).map(([field, text]) =>
    `${NAMES[field]} ${told(field, text)} (kept: ${told(field, kept[field] ?? "")})`);
}

/** Facts as they stand in fields. */
const textsOf = (facts) => Object.fromEntries(Object.entries(facts).map(([name, fact]) => [name, String(fact ?? "")]));

/** Facts from what stands in fields; an empty one tells nothing. */
const factsIn = (texts) => Object.fromEntries(Object.entries(texts).map(([name, text]) => {
  if (text.trim() === "") return [name, null];
  return [name, name === "operated_side" ? text : Number(text)];
}));

export function field(id, label, hint, input) {
  if (hint) input.setAttribute("aria-describedby", `${id}-hint`);
  return h("div", { class: "field" }, h("label", { for: id }, label), input,
    hint && h("p", { class: "hint", id: `${id}-hint` }, hint));
}

function numberInput(id, name, facts, min, max) {
  return h("input", { id, name, type: "number", min, max, step: "any", inputmode: "decimal", value: facts[name] });
}

function refuseNoNumber(input) {
  if (!input.validity.badInput) return;
  input.focus();
  throw new Trouble("That is not a number.", "Write it in figures, or leave the field empty.");
}
