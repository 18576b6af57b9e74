// The start: one way for the person at home, one for the clinic.

import { h } from "./dom.js";

export async function showStart(room) {
  room.append(
    h("h1", {}, "Posture and reach, from photos"),
    h("div", { class: "ways" },
      way("#/check", "Check a reach", "At home",
        "One photo of your raised arm, answered in plain words. Your diary is here too.", "home"),
      way("#/visits", "Review photos", "In the clinic",
        "See what was found in a visit's photos, correct it by hand, and compare visits. With a case: screen, plan, approve.", "clinic")),
  );
  return { title: "Start" };
}

function way(href, words, where, what, kind) {
  return h("a", { class: `way ${kind}`, href },
    h("span", { class: "where" }, where), h("strong", {}, words), h("span", {}, what));
}
