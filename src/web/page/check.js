// A reach checked at home, one step at a time: cautions, side or front, the photo, the answer.

import { homeFacts, post, sendPhoto } from "./api.js";
import { openCamera } from "./camera.js";
import { button, fileButton, h, linkButton, s, say, troubleBox } from "./dom.js";
import { askToKeep, isPersonUnkept } from "./person.js";

// One sitting: forgotten when the page is closed.
let cautionsRead = false;
let whenToStop = "";
let answer = null;

/** Shown on every step after the first, which says it at length. */
const stopSigns = () => h("p", { class: "stop-signs" }, whenToStop);

function goTo(hash) {
  if (location.hash === hash) dispatchEvent(new HashChangeEvent("hashchange"));
  else location.hash = hash;
}

/** Nobody gets to the camera past the cautions, not even by the address. */
function cautionsFirst() {
  if (!cautionsRead) location.replace("#/check");
  return cautionsRead;
}

export async function showSafety(room) {
  const { cautions } = await homeFacts();
  // When to stop is the first sentence of the cautions.
  [whenToStop] = /^.*?\.(?= |$)/.exec(cautions);
  room.append(
    h("h1", {}, "Before you begin"),
    h("div", { class: "caution big" }, h("p", {}, cautions)),
    h("ul", { class: "plain-list" },
      h("li", {}, "Raise your arm only as far as is comfortable, and only if your surgeon or therapist allows it. If nobody has told you so, ask first."),
      h("li", {}, "Stand near a wall or a chair that you can hold on to."),
      h("li", {}, "Arm by your side until the photo is about to be taken, and down again right after it.")),
    h("p", { class: "actions" }, button("I have read this", () => {
      cautionsRead = true;
      goTo("#/check/view");
    }, { class: "main" })),
  );
  return { title: "Before you begin" };
}

const goOn = () => goTo(location.hash);

export async function showView(room) {
  if (!cautionsFirst()) return null;
  if (isPersonUnkept()) return askToKeep(room, goOn);
  const { person } = await homeFacts();
  room.append(
    stopSigns(),
    h("h1", {}, "How will the camera see you?"),
    limitLine(person),
    h("div", { class: "choices" },
      choice("side", "From the side", "You stand sideways. The arm that you raise is nearest to the camera."),
      choice("front", "From the front", "You face the camera.")),
  );
  return { title: "How will the camera see you?" };
}

function choice(view, words, what) {
  return h("a", { class: "choice", href: `#/check/photo/${view}` },
    figure(view), h("span", {}, h("strong", {}, words), h("span", {}, what)));
}

/** A person with arms down: a picture that shows a raised arm would be an aim. */
function figure(view) {
  const limb = (d, width, kind = "limb") => s("path", { d, class: kind, "stroke-width": width });
  return s("svg", { viewBox: "0 0 90 190", class: "figure", "aria-hidden": "true" },
    s("circle", { cx: 45, cy: 26, r: 14 }),
    view === "side"
      ? [s("path", { d: "M58 21l7 8-9 3z" }), s("path", { d: "M45 46c-9 0-15 7-15 17 0 16 5 30 5 48v65a5 5 0 0 0 5 5h21c0-6-4-9-9-9h-1l2-61c0-16 7-32 7-48 0-10-6-17-15-17z" }),
        limb("M45 62V110", 13, "gap"), limb("M45 62V110", 8)]
      : s("path", { d: "M29 46h32a12 12 0 0 1 12 12v50a4.5 4.5 0 0 1-9 0V66h-3v108a7 7 0 0 1-14 0v-60h-4v60a7 7 0 0 1-14 0V66h-3v42a4.5 4.5 0 0 1-9 0V58a12 12 0 0 1 12-12z" }));
}

/** The limit that is kept, wherever an arm may be raised next. */
function limitLine({ arm_limit_deg: limit, operated_side: side }) {
  if (limit == null) {
    return h("p", { class: "note" }, "No limit is kept here. If your surgeon or therapist gave you one, ",
      h("a", { href: "#/person" }, "enter it first"), ".");
  }
  const arm = side === "left" || side === "right" ? `your ${side} arm` : "both arms";
  const where = limit < 90 ? "below shoulder height" : limit > 90 ? "above shoulder height" : "shoulder height";
  return h("p", { class: "limit-line" }, h("b", {}, `Your limit for ${arm} is ${limit}°: ${where}.`),
    " Stay below it. ", h("a", { href: "#/person" }, "Change it"));
}

export async function showPhoto(room, view) {
  if (!cautionsFirst()) return null;
  if (isPersonUnkept()) return askToKeep(room, goOn);
  const { person } = await homeFacts();
  room.append(
    stopSigns(),
    h("h1", {}, "Take the photo, or choose one"),
    limitLine(person),
    h("p", { class: "actions stack" },
      linkButton(`#/check/camera/${view}`, "Use the camera", "main"),
      fileButton("Choose a photo", ([file]) => checkFile(room, view, file))),
    h("h2", {}, "A photo that can be read"),
    h("ul", { class: "plain-list" },
      h("li", {}, view === "side" ? "Stand exactly sideways, the arm you raise nearest to the camera." : "Face the camera straight on."),
      h("li", {}, "Lens at chest height, about 3 m (10 ft) away, your whole body and your hand in view."),
      h("li", {}, "Light from the front, fitted clothes, hair off your ears.")),
  );
  return { title: "Take the photo, or choose one" };
}

export async function showCamera(room, view) {
  if (!cautionsFirst()) return null;
  if (isPersonUnkept()) return askToKeep(room, goOn);
  const { person } = await homeFacts();
  const limit = limitLine(person);
  const camera = await openCamera({ view, limit, onPhoto: (bytes) => checkNow(room, view, bytes) });
  const title = camera.trouble ? "The camera can't be used" : "Step into the picture";
  const otherwise = fileButton("Choose a photo instead",
    ([file]) => checkFile(room, view, file), { kind: camera.trouble ? "main" : "quiet" });
  room.append(stopSigns(), h("h1", {}, title));
  if (camera.trouble) {
    room.append(limit, troubleBox(camera.trouble), h("p", { class: "actions" }, otherwise,
      button("Ask for the camera again", goOn)));
  } else {
    room.append(camera.element, h("p", { class: "actions" }, otherwise));
  }
  return { title, leave: camera.close };
}

/** A photo that was just taken: the arm is up. */
const checkNow = (room, view, bytes) =>
  checkPhoto(room, view, bytes, "camera.jpg", view === "front" ? "You can lower your arms" : "You can lower your arm");

const checkFile = (room, view, file) => checkPhoto(room, view, file, file.name);

/** Has the photo looked at, and goes on to the answer. */
async function checkPhoto(room, view, bytes, name, lower = null) {
  room.replaceChildren(stopSigns(), h("h1", { tabindex: "-1" }, lower ?? "Looking at the photo"),
    h("p", { class: "lead waiting" }, lower ? "Looking at the photo. This takes a few seconds." : "This takes a few seconds."));
  room.querySelector("h1").focus();
  say(lower ? `${lower}. Looking at the photo.` : "Looking at the photo.");
  try {
    const found = await sendPhoto(`/api/checks?view=${view}`, bytes, name);
    answer = { ...found, view, taken: lower !== null, kept: false };
  } catch (trouble) {
    answer = { view, trouble };
  }
  // Who has left meanwhile is not fetched back.
  if (!room.isConnected) return;
  goTo("#/check/answer");
}

export async function showAnswer(room) {
  if (!cautionsFirst()) return null;
  if (!answer) {
    location.replace("#/check/view");
    return null;
  }
  if (answer.trouble) return showNotRead(room, answer.trouble);
  return answer.arms.length ? showArms(room) : showNothing(room);
}

function again(words = "Choose or take another photo", kind = "") {
  return linkButton(`#/check/photo/${answer.view}`, words, kind);
}

function showNotRead(room, trouble) {
  room.append(stopSigns(), h("h1", {}, "This photo could not be read"), troubleBox(trouble),
    h("p", { class: "actions" }, again("Choose another photo"), linkButton("#/", "Go to the start", "quiet")));
  return { title: "This photo could not be read" };
}

function showNothing(room) {
  room.append(...[
    stopSigns(),
    h("h1", {}, "No answer from this photo"),
    limitWords(answer.about_the_limit),
    h("p", { class: "answer" }, answer.nothing),
    about(answer.about_the_photo),
    h("p", { class: "actions" }, again(), linkButton("#/", "Go to the start", "quiet")),
  ].flat().filter(Boolean));
  return { title: "No answer from this photo" };
}

/** From the worst down, the stands against the limit that the server has a head for. */
const STANDS = ["above", "may_be_above", "may_be_at"];

function showArms(room) {
  const { arms } = answer;
  const limited = arms.filter((arm) => arm.limit_head)
    .toSorted((a, b) => STANDS.indexOf(a.against_limit) - STANDS.indexOf(b.against_limit));
  const title = limited[0]?.limit_head ?? "What the photo shows";
  room.append(...[
    limited.length ? [limitBox(limited), stopSigns()] : [stopSigns(), h("h1", {}, title)],
    limitWords(answer.about_the_limit),
    arms.map((arm) => h("p", { class: "answer" }, arm.words)),
    arms.filter((arm) => arm.since_last).map((arm) => h("p", { class: "since" }, arm.since_last.words)),
    h("figure", { class: "shown" }, h("img", {
      src: answer.picture, class: "picture",
      alt: `Your photo with the lines that were read: along the upper arm, and to the ear. ${arms.map((arm) => arm.words).join(" ")}`,
    })),
    // The page's own camera mirrors no photo.
    h("p", { class: "note" }, answer.taken ? "If the wrong arm is named here, do not use this answer." : answer.about_the_sides),
    about(answer.about_the_photo),
    h("details", {}, h("summary", {}, "The numbers, for your therapist"),
      h("ul", {}, arms.map((arm) => h("li", {}, arm.numbers))),
      h("p", { class: "note" }, "± is the range that holds the true value in 95 of 100 photos.")),
    keeping(),
    h("p", { class: "actions" },
      // After a limit was passed nobody is offered the next reach.
      !limited.length && again("Another photo", ""), linkButton("#/", "Go to the start", "quiet")),
  ].flat().filter(Boolean));
  const said = limited.length ? limited.flatMap((arm) => [arm.limit_head, arm.limit_words]) : [`${title}.`];
  say([...said, ...(answer.about_the_limit ?? []), ...arms.map((arm) => arm.words)].join(" "));
  return { title };
}

/** Before all else: which arm was, or may have been, at or above its limit. */
function limitBox(limited) {
  const halt = limited.some((arm) => arm.against_limit !== "may_be_at");
  return h("div", { class: halt ? "halt" : "caution big" }, limited.map((arm, index) =>
    [h(index ? "h2" : "h1", {}, arm.limit_head), h("p", { class: "answer" }, arm.limit_words)]));
}

const limitWords = (words) => (words ?? []).map((line) => h("p", { class: "caution" }, line));

function about(words) {
  return words?.length
    ? h("div", { class: "about" }, h("h2", {}, "About the photo"), h("ul", {}, words.map((line) => h("li", {}, line))))
    : null;
}

/** Keeping the result is offered, never done unasked. */
function keeping() {
  const box = h("div", { class: "keeping" });
  const kept = () => box.replaceChildren(
    h("p", {}, "Kept in your diary. ", h("a", { href: "#/diary" }, "Open the diary")));
  if (answer.kept) {
    kept();
    return box;
  }
  const note = h("input", { id: "note", type: "text", maxlength: "300", autocomplete: "off" });
  const trouble = h("div");
  const keep = button("Keep in my diary", async () => {
    keep.disabled = true;
    try {
      await post("/api/diary", { check: answer.id, note: note.value.trim() });
      answer.kept = true;
      kept();
      say("Kept in your diary.");
      box.querySelector("a").focus();
    } catch (error) {
      keep.disabled = false;
      trouble.replaceChildren(troubleBox(error));
    }
  }, { class: "main" });
  box.append(
    h("div", { class: "field" }, h("label", { for: "note" }, "A note for the diary, if you like"), note),
    h("p", { class: "actions" }, keep), trouble,
    h("p", { class: "note" }, "The diary keeps the date and the numbers, not the photo."));
  return box;
}
