// Which screen is shown: told by the part of the address after #, so that Back works.

import { get, homeFacts, Trouble } from "./api.js";
import { h, linkButton, say, troubleBox } from "./dom.js";
import * as check from "./check.js";
import { showCase, showHomeSheet, showPlan } from "./case.js";
import { showCompare, showReport } from "./compare.js";
import { showDiary } from "./diary.js";
import { showPerson } from "./person.js";
import { showReview } from "./review.js";
import { showScreening } from "./screening.js";
import { showStart } from "./start.js";
import { isAnythingUnkept, noteVisit } from "./unkept.js";
import { showNewVisit, showVisits } from "./visits.js";

/**
 * A screen fills `main` and says what it is called; `shown` is called once it stands there, `leave`
 * before the next one, or instead of `shown` where another was asked for meanwhile.
 * @typedef {{title: string, shown?: () => void, leave?: () => void}} Screen
 * @type {[RegExp, string, (main: HTMLElement, ...found: string[]) => Promise<Screen>][]}
 */
const SCREENS = [
  [/^\/$/, "start", showStart],
  [/^\/check$/, "home", check.showSafety],
  [/^\/check\/view$/, "home", check.showView],
  [/^\/check\/photo\/(side|front)$/, "home", check.showPhoto],
  [/^\/check\/camera\/(side|front)$/, "home", check.showCamera],
  [/^\/check\/answer$/, "home", check.showAnswer],
  [/^\/diary$/, "home", showDiary],
  [/^\/person$/, "home", showPerson],
  [/^\/visits$/, "clinic", showVisits],
  [/^\/visits\/new$/, "clinic", showNewVisit],
  [/^\/visits\/(\w+)$/, "clinic", showReview],
  [/^\/case$/, "clinic", showCase],
  [/^\/case\/screening$/, "clinic", showScreening],
  [/^\/case\/plan$/, "clinic", showPlan],
  [/^\/case\/home$/, "clinic", showHomeSheet],
  [/^\/compare$/, "clinic", showCompare],
  [/^\/compare\/(\w+)$/, "clinic", showReport],
];

const LINKS = {
  start: [],
  home: [["#/check", "Check a reach"], ["#/diary", "Diary"], ["#/person", "About you"]],
  clinic: [["#/case", "Case"], ["#/visits", "Visits"], ["#/compare", "Compare"]],
};

const main = document.getElementById("main");
let leave = null;
let turn = 0;

async function route() {
  const hash = location.hash || "#/";
  // An anchor within the page is no screen.
  if (!hash.startsWith("#/")) return;
  const mine = ++turn;
  leave?.();
  leave = null;
  const path = hash.slice(1);
  const [pattern, area, show] = SCREENS.find(([pattern]) => pattern.test(path)) ?? [/^/, "start", showLost];
  navigation(area, hash);
  document.body.dataset.area = area;
  // Each screen is built aside: one that is slow can't write into the one that came after it.
  const room = h("div", { class: "screen" });
  main.replaceChildren(h("p", { class: "lead waiting" }, "One moment…"));
  let screen;
  try {
    screen = await show(room, ...pattern.exec(path).slice(1));
  } catch (trouble) {
    if (!(trouble instanceof Trouble)) console.error(trouble);
    room.replaceChildren(h("h1", {}, "This could not be opened"), troubleBox(trouble),
      h("p", { class: "actions" }, linkButton("#/", "Go to the start")));
    screen = { title: "This could not be opened" };
  }
  if (mine !== turn) {
    screen?.leave?.();
    return;
  }
  if (!screen) return;
  leave = screen.leave;
  main.replaceChildren(room);
  document.title = path === "/" ? "tragus" : `${screen.title} – tragus`;
  screen.shown?.();
  scrollTo(0, 0);
  if (path !== "/" || mine > 1) focusHeading(room);
}

function focusHeading(room) {
  const heading = room.querySelector("h1");
  heading?.setAttribute("tabindex", "-1");
  heading?.focus({ preventScroll: true });
}

function navigation(area, hash) {
  const nav = document.getElementById("nav");
  const links = LINKS[area];
  nav.hidden = links.length === 0;
  const current = (href) => hash === href || hash.startsWith(`${href}/`);
  nav.replaceChildren(h("ul", {}, links.map(([href, words]) =>
    h("li", {}, h("a", { href, "aria-current": current(href) ? "page" : null }, words)))));
}

async function showLost(room) {
  room.append(h("h1", {}, "There is no such page"),
    h("p", { class: "actions" }, linkButton("#/", "Go to the start")));
  return { title: "No such page" };
}

document.getElementById("skip").addEventListener("click", (event) => {
  event.preventDefault();
  main.focus();
  main.scrollIntoView();
});
// A file that misses its place must not replace the page.
for (const kind of ["dragover", "drop"]) addEventListener(kind, (event) => event.preventDefault());
addEventListener("hashchange", route);
addEventListener("beforeunload", (event) => {
  if (isAnythingUnkept()) event.preventDefault();
});
// A visit may be unsaved since before the page was loaded. That the server is silent is told below.
get("/api/visits").then(({ visits }) => visits.forEach(noteVisit), () => {});
homeFacts().then(
  ({ cautions }) => document.getElementById("cautions").replaceChildren(cautions),
  (trouble) => say(trouble.message),
);
route();
