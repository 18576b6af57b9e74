// The case that is open: where it stands, the plan of today and its approval, the sheet for home.

import { get, post } from "./api.js";
import { button, h, linkButton, say, troubleBox } from "./dom.js";
import { framed } from "./frame.js";
import { field } from "./person.js";
import { noteVisit } from "./unkept.js";
import { unsavedMark } from "./visits.js";
import { count } from "./words.js";

export async function showCase(room) {
  const told = await get("/api/case").catch((trouble) => {
    if (trouble.status !== 404) throw trouble;
    return null;
  });
  if (!told) {
    room.append(h("h1", {}, "No case is open"),
      h("p", { class: "lead" }, "A case is the folder of one person's episode. To open one, start tragus with it: ",
        h("code", {}, "tragus serve CASE")),
      h("p", { class: "actions" }, linkButton("#/visits", "Go to the visits")));
    return { title: "No case is open" };
  }
  told.visits.forEach(noteVisit);
  const { screening, plan } = told;
  const screened = screening?.is_of_today;
  const title = `Case ${told.code}`;
  room.append(...[
    told.holds > 0 && stopBox(told),
    h("h1", {}, title),
    h("dl", { class: "standing" },
      fact("Today", told.today),
      fact("Surgery", surgeryWords(told)),
      fact("Last screening", screening ? dayWords(screening) : "none so far"),
      fact("Last plan", plan ? `${dayWords(plan)}: ${stateWords(plan, told)}` : "none so far")),
    h("p", { class: "actions" },
      linkButton("#/case/screening", screened ? "Screen again" : "Screen today", screened ? "" : "main"),
      screening && linkButton("#/case/plan", plan?.is_of_today ? "Plan of today" : "Make the plan", screened ? "main" : ""),
      (told.sheets.home || told.sheets.hold) && linkButton("#/case/home", homeTitle(told))),
    damages([...told.unreadable, ...told.damages]),
    h("h2", {}, "Visits"),
    told.visits.length
      ? h("ul", { class: "visits" }, told.visits.map((visit) => h("li", {},
        h("a", { class: "visit", href: `#/visits/${visit.id}` },
          h("strong", {}, visit.title), h("span", {}, count(visit.photos, "photo")), unsavedMark(visit)))))
      : h("p", {}, "None so far."),
    outsideLine(told.outside),
    h("p", { class: "actions" }, linkButton("#/visits/new", "New visit"),
      told.visits.length > 1 && linkButton("#/compare", "Compare visits")),
  ].filter(Boolean));
  return { title };
}

const fact = (name, words) => h("div", {}, h("dt", {}, name), h("dd", {}, words));
const dayWords = ({ day, is_of_today: isOfToday }) => (isOfToday ? `${day}, today` : day);
function stateWords({ level, approved, is_of_today: isOfToday }, { holds }) {
  if (approved) return `level ${level}, approved by ${approved.initials} on ${approved.on}`;
  return isOfToday && holds ? "a hold stands, nothing is proposed" : `level ${level}, a proposal, not approved`;
}

function surgeryWords({ surgery_date: date, days_since_surgery: days }) {
  if (date === null) return "date not known";
  return days < 0 ? `${date}, still to come` : `${date}, ${count(days, "day")} ago`;
}

function damages(found) {
  return found.length > 0 && h("section", { class: "trouble" },
    h("h2", {}, "Damaged in this case"),
    h("ul", {}, found.map(({ words, advice }) => h("li", {}, h("b", {}, words), ` ${advice}`))));
}

const outsideLine = (outside) => outside.length > 0 && h("p", { class: "note" },
  `Open, but not in the case, so that no plan looks at it: ${outside.join("; ")}. Open it in its review to file it.`);

/** Above all else: what has to be asked before any exercise. */
function stopBox(told) {
  const stop = told.findings.find((section) => section.is_stop);
  return h("div", { class: "halt", role: "alert" }, h("p", { class: "halt-head" }, stop.title),
    h("ul", {}, stop.lines.map(({ text, source }) => h("li", {}, text, source && h("small", {}, ` ${source}`)))));
}

/** What today's screening comes to; one of another day is asked again first. */
function findings(told) {
  if (!told.screening.is_of_today) {
    return h("div", { class: "caution" },
      h("p", {}, `The last screening is of ${told.screening.day}. Screen today before anything is approved.`),
      h("p", { class: "actions" }, linkButton("#/case/screening", "Screen today", "main")));
  }
  return told.findings.filter((section) => !section.is_stop).map(({ title, lines }) => h("section", {},
    h("h2", {}, title),
    h("ul", {}, lines.map(({ text, source }) => h("li", {}, text, source && h("small", {}, ` ${source}`))))));
}

/** The approval that a new screening took back, to be told on the plan until it is approved again. */
let takenBack = null;

export function noteTakenBack(approval) {
  takenBack = approval ?? takenBack;
}

export async function showPlan(room) {
  const told = await get("/api/case/plan");
  const title = `Plan for ${told.code}, ${told.today}`;
  if (!told.screening) {
    room.append(h("h1", {}, title),
      h("p", { class: "lead" }, "Without a screening nothing is proposed."),
      h("p", { class: "actions" }, linkButton("#/case/screening", "Screen today", "main")));
    return { title };
  }
  const sheet = h("div");
  const approving = h("div");
  // What the screening comes to, until the sheet says it.
  const found = h("div", {}, findings(told));
  let here = true;
  let leave = () => {};
  const showSheet = (words) => {
    leave();
    if (!here) return;
    const frame = framed(words, "/api/case/sheets/plan");
    leave = frame.leave;
    if (told.screening.is_of_today) found.replaceChildren();
    sheet.replaceChildren(
      h("div", { class: "visit-head" }, h("h2", {}, words),
        h("p", { class: "actions" }, button("Print the plan", frame.print))),
      h("p", { class: "paper-only" }, "The plan is not on this paper. To print it, press “Print the plan” on its page, or Ctrl+P there."),
      frame.element);
  };
  const state = h("div");
  const propose = async (anew = false) => {
    state.replaceChildren(h("p", { class: "lead waiting" }, "Making the plan. Photos that nobody has looked at take some seconds each."));
    try {
      const proposal = await post("/api/case/plan", { approve: null, anew });
      state.replaceChildren(outsideLine(proposal.outside) || "");
      approving.replaceChildren(approval(proposal) ?? "");
      showSheet("The proposal");
      say(proposal.holds ? "The plan says what to ask first." : "The plan is a proposal.");
    } catch (trouble) {
      state.replaceChildren(troubleBox(trouble, h("p", { class: "actions" },
        linkButton("#/case", "Go to the case"), button("Try again", () => propose(anew)))));
    }
  };
  const approved = told.plan?.is_of_today && told.plan.approved;
  room.append(...[
    told.holds > 0 && stopBox(told),
    h("h1", {}, title),
    h("p", { class: "note" }, `Surgery ${surgeryWords(told)}. Screened ${dayWords(told.screening)}.`),
    takenBack && !approved && h("p", { class: "caution" },
      `The plan that ${takenBack.initials} approved on ${takenBack.on} no longer holds: the answers are new. Take its sheet for home back if it was handed out.`),
    damages(told.unreadable), found, state, sheet, approving].filter(Boolean));
  return {
    title,
    // Only now, since of two screens asked for in haste one is never shown.
    shown: () => {
      if (!approved) {
        propose();
        return;
      }
      state.replaceChildren(approvedBox(approved, [
        linkButton("#/case/home", "Sheet for home", "main"),
        button("Make it anew", () => propose(true), { "aria-describedby": "anew" })]),
      h("p", { class: "note", id: "anew" }, "Made anew, the plan is a proposal again, and the sheet for home is taken away until somebody approves it."));
      showSheet("The plan");
    },
    leave: () => {
      here = false;
      leave();
    },
  };
}

const approvedBox = ({ initials, on }, actions) => h("div", { class: "done" },
  h("p", {}, h("b", {}, `Approved by ${initials} on ${on}.`)), h("p", { class: "actions" }, actions));

/** Approving is offered where a clinician may do so, and says what it means. */
function approval(proposal) {
  if (proposal.sheets.hold) return h("p", { class: "actions" }, linkButton("#/case/home", homeTitle(proposal), "main"));
  if (proposal.holds || !proposal.screening.is_of_today) return null;
  if (!proposal.exercises) return h("p", { class: "caution" }, "There is no exercise to approve.");
  const initials = h("input", { id: "initials", name: "initials", type: "text", maxlength: "8", autocomplete: "off", autocapitalize: "characters" });
  const state = h("div");
  return h("form", {
    class: "approval",
    novalidate: true,
    submit: async (event) => {
      event.preventDefault();
      try {
        const { plan } = await post("/api/case/plan", { approve: initials.value, seen: proposal.mark });
        takenBack = null;
        say(`Approved by ${plan.approved.initials}.`);
        location.hash = "#/case/home";
      } catch (trouble) {
        state.replaceChildren(troubleBox(trouble, trouble.status === 409
          && h("p", { class: "actions" }, button("Show the plan as it is now", () => dispatchEvent(new HashChangeEvent("hashchange"))))));
      }
    },
  },
  h("h2", {}, "Approve"),
  h("p", {}, "With your initials you answer for it: you have read it and examined the person, the limits are right, and these exercises may go home today."),
  field("initials", "Your initials", null, initials),
  h("div", { class: "actions" }, h("button", { class: "main" }, "Approve")),
  state);
}

/** While a hold stands, the person takes home a sheet that says to wait. */
const homeTitle = ({ sheets }) => (sheets.hold ? "Sheet for home: wait" : "Sheet for home");

export async function showHomeSheet(room) {
  const told = await get("/api/case/plan");
  const title = homeTitle(told);
  const approved = told.plan?.is_of_today && told.plan.approved;
  if (!told.sheets.hold && (!approved || !told.sheets.home)) {
    room.append(h("h1", {}, "There is no sheet for home"),
      h("p", { class: "lead" }, "It is written once the plan of today is approved."),
      h("p", { class: "actions" }, linkButton("#/case/plan", "Go to the plan", "main")));
    return { title: "There is no sheet for home" };
  }
  const path = `/api/case/sheets/${told.sheets.hold ? "hold" : "home"}`;
  const hasPrint = told.sheets.hold ? told.prints.hold : told.prints.home;
  const frame = framed(title, path);
  room.append(
    h("div", { class: "visit-head" }, h("h1", {}, title),
      h("p", { class: "actions" }, button("Print the sheet", frame.print, { class: "main" }),
        hasPrint && h("a", { class: "button", href: `${path}.pdf`, download: true }, "The sheet as a PDF"),
        linkButton("#/case/plan", "The plan"), linkButton("#/case", "The case"))),
    told.sheets.hold
      ? h("p", { class: "caution" }, "A hold stands. Hand this sheet out, and take older sheets with exercises back.")
      : h("p", { class: "done" }, `Approved by ${approved.initials} on ${approved.on}. Go through it with the person: stop signs first.`),
    h("p", { class: "paper-only" }, "The sheet is not on this paper. To print it, press “Print the sheet” on its page, or Ctrl+P there."),
    frame.element);
  return { title, leave: frame.leave };
}
