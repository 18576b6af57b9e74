// What the program should know of the person at home. Kept by the server, in the diary's file.

import { homeFacts, keepPerson, Trouble } from "./api.js";
import { h, say, troubleBox } from "./dom.js";

const SIDES = [["right", "Right"], ["left", "Left"], ["both", "Both"], ["none", "Neither"], ["", "Not said"]];

export async function showPerson(room) {
  let { person } = await homeFacts();
  const fields = factFields(person);
  const state = h("div");
  const form = h("form", {
    novalidate: true,
    submit: async (event) => {
      event.preventDefault();
      try {
        ({ person } = await keepPerson(fields.read(), person));
        state.replaceChildren(h("p", { class: "done" }, "Kept. ", h("a", { href: "#/check" }, "Check a reach")));
        say("Kept.");
      } catch (trouble) {
        state.replaceChildren(troubleBox(trouble));
      }
    },
  }, fields.elements, h("p", { class: "actions" }, h("button", { class: "main" }, "Keep this")), state);
  room.append(
    h("h1", {}, "About you"),
    h("p", { class: "lead" }, "All of it is optional, and stays on this computer."),
    form);
  return { title: "About you" };
}

/**
 * Stature, operated side and limit: the same fields for the person and for a visit.
 * @returns {{elements: HTMLElement[], read: () => {stature_cm: ?number, operated_side: ?string, arm_limit_deg: ?number}}}
 */
export function factFields(facts, { clinic = false } = {}) {
  const stature = numberInput("stature", facts.stature_cm, "80", "250");
  const limit = numberInput("limit", facts.arm_limit_deg, "1", "180");
  const sides = h("fieldset", { class: "sides" },
    h("legend", {}, clinic ? "Operated side" : "On which side was the surgery?"),
    SIDES.map(([value, words]) => h("label", {},
      h("input", { type: "radio", name: "operated", value, checked: (facts.operated_side ?? "") === value }), words)));
  return {
    elements: [
      sides,
      field("limit", clinic ? "Limit for raising the arm, in degrees" : "The limit for raising your arm, in degrees",
        clinic ? "As set by the surgeon or therapist. 90 is shoulder height. A reach beyond it is flagged."
          : "Only if your surgeon or therapist gave you one: 90 is shoulder height. Leave it empty if there is none.", limit),
      field("stature", clinic ? "Stature, in cm" : "How tall are you, in cm?", "With it, distances are told in cm too.", stature),
    ],
    read: () => ({
      stature_cm: numberOf(stature),
      operated_side: sides.querySelector("input:checked")?.value || null,
      arm_limit_deg: numberOf(limit),
    }),
  };
}

export function field(id, label, hint, input) {
  if (hint) input.setAttribute("aria-describedby", `${id}-hint`);
  return h("div", { class: "field" }, h("label", { for: id }, label), input,
    hint && h("p", { class: "hint", id: `${id}-hint` }, hint));
}

function numberInput(id, value, min, max) {
  return h("input", { id, type: "number", min, max, step: "any", inputmode: "decimal", value });
}

function numberOf(input) {
  if (input.validity.badInput) {
    input.focus();
    throw new Trouble("That is not a number.", "Write it in figures, or leave the field empty.");
  }
  return input.value.trim() === "" ? null : Number(input.value);
}
