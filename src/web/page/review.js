// One visit under a clinician's eyes: its photos, its landmarks moved by hand, its measures, its record.

import { get, post, put, sendPhoto } from "./api.js";
import { button, fileButton, h, say, set, troubleBox } from "./dom.js";
import { Measures } from "./measures.js";
import { Moves } from "./moves.js";
import { Stage } from "./stage.js";
import { draftLine } from "./person.js";
import { draftOf, dropDraft, noteVisit } from "./unkept.js";
import { visitFields } from "./visits.js";
import { capitalised, count, evidenceWords, landmarkWords, photoWords } from "./words.js";

const ASK_EVERY_MS = 2000;

/**
 * The reviews of this sitting: whoever comes back to one finds what can be undone, what was before,
 * and photos that are still being added.
 * @type {Map<string, Review>}
 */
const reviews = new Map();

export async function showReview(room, id) {
  const review = await reviewOf(id);
  let here = false;
  return {
    title: review.moves.visit.title,
    // Only now, since of two screens asked for in haste one is never shown.
    shown: () => {
      here = true;
      room.append(...review.elements);
      review.open();
    },
    leave: () => here && review.close(),
  };
}

/** The review as it was left, unless the visit was changed in another window since. */
async function reviewOf(id) {
  const left = reviews.get(id);
  await left?.moves.idle();
  const visit = await get(`/api/visits/${id}`);
  if (left?.adding || left?.moves.visit.revision === visit.revision) {
    if (!left.adding) left.moves.visit = visit;
    return left;
  }
  const review = new Review(id, visit);
  reviews.set(id, review);
  return review;
}

class Review {
  constructor(id, visit) {
    this.path = `/api/visits/${id}`;
    this.draftName = `visit ${id}`;
    this.index = 0;
    this.closed = true;
    this.unlisten = [];
    this.measures = new Measures(visit);
    this.stage = new Stage({
      move: (landmark, to) => this.moves.move(this.index, landmark, to),
      settle: () => this.settled(),
      cancel: () => this.moves.cancel(),
      select: () => this.drawDetails(),
      takeBack: (landmark) => this.takeBack(landmark),
    });
    this.moves = new Moves(visit, (edit) => post(`${this.path}/edits`, edit), {
      changed: (changed, whose) => this.changed(changed, whose),
      refused: (trouble) => this.refused(trouble),
    });
    this.build();
  }

  build() {
    this.saveState = h("span", { class: "save-state" });
    this.fileButton = button("File in the case", () => this.file());
    this.saveButton = button("Save to the record", () => this.save(), { class: "main" });
    this.undoButton = button("Undo", () => this.undo(), { "aria-keyshortcuts": "Control+Z" });
    this.redoButton = button("Redo", () => this.redo(), { "aria-keyshortcuts": "Control+Y" });
    this.messages = h("div", { class: "messages" });
    this.factsButton = button("Facts", () => this.turnFacts(), { "aria-expanded": "false", "aria-controls": "facts" });
    this.facts = h("section", { class: "facts", id: "facts", "aria-label": "Facts of the visit", hidden: true });
    // The photos of a folder are those that lie in it.
    this.addButton = fileButton("Add photos", (files) => this.add(files), { several: true });
    this.thumbs = h("ul", { class: "thumbs" });
    this.photoTitle = h("h2", { class: "photo-title" });
    this.details = h("div", { class: "details" });
    this.unread = h("p", { class: "drop-here", hidden: true }, "This photo could not be read.");
    this.notices = h("ul", { class: "notices" });
    this.others = h("div", { class: "notices" });
    this.paper = h("div", { class: "paper-only" });
    this.title = h("h1", {});
    const zoom = (words, label, doing) => button(words, doing, { "aria-label": label, class: "square" });
    this.tools = h("div", { class: "tools", role: "group", "aria-label": "Moves and zoom" },
      this.undoButton, this.redoButton,
      zoom("+", "Zoom in", () => this.stage.zoomBy(1.3)), zoom("−", "Zoom out", () => this.stage.zoomBy(1 / 1.3)),
      button("Body", () => this.stage.fitBody()), button("Whole photo", () => this.stage.fitPhoto()));
    this.work = h("div", { class: "work" },
      h("div", { class: "strip" }, this.thumbs),
      this.middle = h("section", { class: "middle", "aria-label": "Photo" }, this.photoTitle, this.tools,
        this.stage.element, this.unread, this.details),
      this.numbers = h("section", { class: "side-column", "aria-label": "Measures" }, h("h2", {}, "Measures in this photo"),
        this.paper, this.notices, this.measures.element, this.others));
    this.photosSay = h("div", {});
    this.empty = h("p", { class: "drop-here" }, "No photos here. Add some with the button, or drop them on this page.");
    this.elements = [
      h("div", { class: "visit-head" }, this.title, this.messages, h("div", { class: "saving" },
        this.factsButton, this.addButton, this.fileButton, this.saveState, this.saveButton)),
      this.photosSay, this.facts, this.empty, this.work,
    ];
  }

  listen() {
    const watch = (target, kind, doing) => {
      target.addEventListener(kind, doing);
      this.unlisten.push(() => target.removeEventListener(kind, doing));
    };
    watch(window, "keydown", (event) => this.key(event));
    watch(window, "drop", (event) => this.add([...(event.dataTransfer?.files ?? [])]));
    this.asking = setInterval(() => this.ask(), ASK_EVERY_MS);
  }

  /** Takes up the review, once it stands on the page. */
  open() {
    this.closed = false;
    this.listen();
    this.draw();
    this.stage.open();
    if (draftOf(this.draftName)) this.openFacts();
  }

  close() {
    this.closed = true;
    clearInterval(this.asking);
    this.stage.close();
    for (const stop of this.unlisten) stop();
    this.unlisten = [];
  }

  get photo() {
    return this.moves.visit.photos[this.index];
  }

  // Drawing.

  draw() {
    const { visit } = this.moves;
    this.title.textContent = visit.title;
    this.drawThumbs();
    this.addButton.hidden = visit.folder !== null;
    const some = visit.photos.length > 0;
    this.middle.hidden = this.numbers.hidden = !some;
    this.empty.hidden = some;
    if (some) this.drawPhoto();
    this.drawNumbers();
  }

  drawPhoto() {
    const { photo } = this;
    const readable = photo.picture !== null;
    this.photoTitle.replaceChildren(readable ? photoWords(photo) : "Not readable", h("small", {}, ` ${photo.file}`));
    this.unread.hidden = readable;
    this.stage.element.hidden = this.tools.hidden = this.details.hidden = !readable;
    if (!readable) return;
    this.stage.show(photo);
    this.drawDetails();
  }

  drawThumbs() {
    const { photos } = this.moves.visit;
    const items = photos.map((photo, index) => {
      const moved = Object.values(photo.landmarks).filter(({ evidence }) => evidence === "manual").length;
      return h("li", {}, h("button", {
        type: "button", class: "thumb", "aria-current": index === this.index ? "true" : null,
        click: () => this.turnTo(index),
      }, photo.picture && h("img", { src: photo.picture, alt: "", loading: "lazy" }),
      h("span", {}, photo.picture ? photoWords(photo) : `Not readable: ${photo.file}`), moved > 0 && h("span", { class: "moved-count" }, `${moved} by hand`)));
    });
    // The strip is rebuilt only when it would look different: a rebuilt button loses the focus.
    const now = photos.map((photo, index) => [photo.picture, index === this.index,
      Object.values(photo.landmarks).filter(({ evidence }) => evidence === "manual").length]).join();
    if (this.thumbsShow === now) return;
    this.thumbsShow = now;
    const had = [...this.thumbs.querySelectorAll("button")].indexOf(document.activeElement);
    this.thumbs.replaceChildren(...items);
    if (had >= 0) this.thumbs.querySelectorAll("button")[had]?.focus();
  }

  drawNumbers() {
    const { visit } = this.moves;
    noteVisit(visit);
    this.measures.show(visit, this.photo);
    set(this.undoButton, { disabled: !this.moves.canUndo });
    set(this.redoButton, { disabled: !this.moves.canRedo });
    this.saveState.textContent = !visit.photos.length ? "" : visit.saved ? "Nothing unsaved" : "Not saved";
    this.saveState.classList.toggle("unsaved", !visit.saved);
    set(this.saveButton, { disabled: this.saving || !visit.photos.length });
    this.fileButton.hidden = !visit.may_file;
    set(this.fileButton, { disabled: this.saving || !visit.photos.length });
    this.drawNotices();
    this.drawDay();
    this.drawPaper();
  }

  /** The day that the photos say is offered where the visit has none; it stands in the facts once somebody keeps it there. */
  drawDay() {
    const { day, words, doubts } = this.moves.visit.photos_say;
    const show = JSON.stringify([day, doubts]);
    if (this.dayShows === show) return;
    this.dayShows = show;
    this.photosSay.replaceChildren(...[
      day && h("p", { class: "note" }, `${words} The visit has no date. `, button("Enter it in the facts", () => this.openFacts("date"))),
      ...doubts.map((doubt) => h("p", { class: "note" }, doubt)),
    ].filter(Boolean));
  }

  /** What the screen tells beside the photo has to stand on paper too, where no photo is. */
  drawPaper() {
    const { photo, moves: { visit } } = this;
    const byHand = visit.photos.flatMap(({ file, landmarks }) => {
      const names = Object.keys(landmarks).filter((name) => landmarks[name].evidence === "manual").map(landmarkWords);
      return names.length ? [`${names.join(", ")} (${file})`] : [];
    });
    this.paper.replaceChildren(...[
      photo && h("p", {}, h("b", {}, photo.picture ? photoWords(photo) : "Not readable"), ` ${photo.file}`),
      byHand.length > 0 && h("p", {}, `Placed by hand: ${byHand.join("; ")}.`),
      !visit.saved && h("p", {}, "Not saved: the visit's record does not hold these numbers so far."),
    ].filter(Boolean));
  }

  /** What concerns the visit, as a reach beyond the limit, and this photo stands above the numbers; the rest below. */
  drawNotices() {
    const { visit } = this.moves;
    const here = [...visit.notices, ...(this.photo?.notices ?? [])];
    this.notices.hidden = !here.length;
    this.notices.replaceChildren(...here.map((words) => h("li", {}, words)));
    const others = visit.photos.filter((photo) => photo !== this.photo)
      .flatMap((photo) => photo.notices.map((words) => [photo.file, words]));
    this.others.replaceChildren(...(others.length
      ? [h("h3", {}, "About the other photos"),
        h("dl", {}, others.map(([of, words]) => [h("dt", {}, of), h("dd", {}, words)]))]
      : []));
  }

  /** About the selected landmark, and those that were not found. */
  drawDetails() {
    const { photo, stage: { selected, placing } } = this;
    if (!photo) return;
    const show = [selected, placing, photo.index, Object.keys(photo.landmarks).join(), selected && photo.landmarks[selected]?.evidence].join();
    if (this.detailsShow === show && this.details.childElementCount) return;
    this.detailsShow = show;
    const hadFocus = this.details.contains(document.activeElement);
    const landmark = selected && photo.landmarks[selected];
    const missing = photo.placeable.filter((name) => !photo.landmarks[name]);
    this.details.replaceChildren(...[
      placing && h("p", { class: "selected-landmark" }, `Press on the photo where ${inSentence(placing)} is; Escape ends it. `,
        button("Put it in the middle", () => this.place(placing, this.stage.middle())),
        button("Not now", () => this.startPlacing(null), { class: "quiet" })),
      !placing && landmark && h("p", { class: "selected-landmark" },
        h("b", {}, capitalised(landmarkWords(selected))), ` ${evidenceWords(landmark.evidence)}`,
        landmark.covered && ", covered by hair or clothes",
        landmark.evidence === "manual" && button("Take back", () => this.takeBack(selected))),
      !placing && !landmark && photo.placeable.length > 0 && h("p", { class: "note" },
        matchMedia("(pointer: coarse)").matches ? "Tap a point, then drag it. Two fingers zoom."
          : "Drag a point, or Tab to it and press the arrow keys: 1 pixel, with Shift 10. Enter looks closer, Delete takes a move back, Escape gives a drag up."),
      missing.length > 0 && h("details", { class: "missing" },
        h("summary", {}, `${count(missing.length, "landmark")} not found`),
        h("ul", {}, missing.map((name) => h("li", {},
          button(`Place ${landmarkWords(name)}`, () => this.startPlacing(name)))))),
    ].filter(Boolean));
    if (hadFocus) (this.details.querySelector("p button, summary") ?? this.undoButton).focus();
  }

  // Moving.

  settled() {
    this.moves.settle();
    set(this.undoButton, { disabled: !this.moves.canUndo });
    this.speak();
  }

  /** Tells what changed, once the server has answered the last of it. */
  async speak() {
    const before = this.spoken ?? this.moves.visit;
    await this.moves.idle();
    if (this.closed) return;
    const after = this.moves.visit;
    this.spoken = after;
    if (before !== after) say(Measures.spoken(before, after));
  }

  changed(visit, whose) {
    if (whose === "theirs") {
      this.index = Math.min(this.index, Math.max(0, visit.photos.length - 1));
      this.spoken = visit;
    }
    if (whose === "ours") this.messages.replaceChildren();
    this.draw();
  }

  /** Stands there until it is closed, for whoever has left meanwhile too. */
  refused(trouble) {
    this.stage.letGo();
    this.draw();
    this.messages.replaceChildren(troubleBox(trouble, button("Close", () => this.messages.replaceChildren(), { class: "quiet" })));
  }

  takeBack(landmark) {
    if (!this.moves.byHand(this.index, landmark)) return;
    this.stage.endNudges();
    this.moves.move(this.index, landmark, null);
    this.settled();
  }

  startPlacing(landmark) {
    this.stage.placeNext(landmark);
    this.drawDetails();
    if (landmark) this.details.querySelector("button").focus();
  }

  /** Ends placing, or a drag that goes on. */
  giveUp() {
    if (this.stage.placing) this.startPlacing(null);
    else this.stage.cancel();
  }

  async place(landmark, at) {
    this.stage.placeNext(null);
    this.moves.move(this.index, landmark, at);
    this.settled();
    await this.moves.idle();
    this.stage.focusMark(landmark);
  }

  undo() {
    this.stage.endNudges();
    this.jump(this.moves.undo(), "Undone");
  }

  redo() {
    this.stage.endNudges();
    this.jump(this.moves.redo(), "Redone");
  }

  /** Shows the photo that an undone move was made in. */
  jump(move, word) {
    if (!move) return;
    if (move.photo !== this.index) this.turnTo(move.photo);
    say(`${word}: ${landmarkWords(move.landmark)}.`);
    set(this.undoButton, { disabled: !this.moves.canUndo });
    set(this.redoButton, { disabled: !this.moves.canRedo });
    this.speak();
  }

  key(event) {
    if (event.key === "Escape") {
      this.giveUp();
      return;
    }
    if (!(event.ctrlKey || event.metaKey) || event.target.closest?.("input, textarea, select")) return;
    const letter = event.key.toLowerCase();
    const doing = letter === "z" && !event.shiftKey ? () => this.undo()
      : letter === "y" || (letter === "z" && event.shiftKey) ? () => this.redo()
      : letter === "s" ? () => this.save()
      : null;
    if (!doing) return;
    event.preventDefault();
    doing();
  }

  turnTo(index) {
    this.stage.endNudges();
    this.index = index;
    this.draw();
    say(photoWords(this.photo));
  }

  // The server.

  /** Asks whether another window has changed the visit. */
  async ask() {
    if (document.hidden || this.moves.sending || this.moves.open || this.stage.holding || this.adding) return;
    const { revision, saved } = this.moves.visit;
    const visit = await get(`${this.path}?since=${revision}&saved=${saved}`).catch(() => null);
    // What was moved here meanwhile is newer than this answer.
    const late = this.closed || this.moves.sending || this.moves.open || this.moves.visit.revision !== revision;
    if (!visit || late) return;
    const elsewhere = visit.revision !== revision;
    this.moves.takeOver(visit);
    if (elsewhere) this.tellDone("This visit was changed in another window. You see its current state.");
  }

  tellDone(words) {
    this.messages.replaceChildren(h("p", { class: "done" }, words));
    say(words);
  }

  save() {
    return this.keep("save", (answer) => {
      if (answer.record) handOver(answer.record, answer.file);
      return answer.record
        ? `The record was handed to you as the download ${answer.file}. Keep it beside the photos.`
        : `Saved in ${answer.folder}/${answer.file ?? "record.json"}.`;
    });
  }

  /** Photos and record go into the case's folder; what the case knows of the person comes back. */
  async file() {
    await this.keep("file", ({ folder }) => `Filed in the case, as ${folder}.`);
    this.draw();
  }

  /** @param {(answer: object) => string} done what to say then */
  async keep(how, done) {
    this.stage.endNudges();
    await this.moves.idle();
    if (this.saving || !this.moves.visit.photos.length) return;
    this.saving = true;
    this.drawNumbers();
    try {
      const { revision } = this.moves.visit;
      const answer = await post(`${this.path}/${how}`, { revision });
      // What was moved while it was saved is newer than the answer.
      if (!this.moves.sending) this.moves.visit = answer;
      this.tellDone(done(answer));
    } catch (trouble) {
      if (trouble.body?.visit) this.moves.takeOver(trouble.body.visit);
      this.refused(trouble);
    } finally {
      this.saving = false;
      this.drawNumbers();
    }
  }

  /** Opens the form of the visit's facts, or folds it away; what was typed there stays. */
  turnFacts() {
    if (this.facts.hidden) {
      this.openFacts();
      this.facts.querySelector("input").focus();
    } else {
      this.foldFacts();
    }
  }

  foldFacts() {
    this.facts.hidden = true;
    set(this.factsButton, { "aria-expanded": "false" });
    this.factsButton.focus();
  }

  openFacts(field = null) {
    this.facts.hidden = false;
    set(this.factsButton, { "aria-expanded": "true" });
    const { facts } = this.moves.visit;
    const fields = visitFields(facts, this.moves.visit.photos_say);
    const state = h("div");
    const cancel = () => {
      dropDraft(this.draftName);
      this.foldFacts();
    };
    const actions = h("div", { class: "actions" }, h("button", { class: "main" }, "Keep these facts"),
      button("Cancel", cancel, { class: "quiet" }));
    const form = h("form", {
      novalidate: true,
      submit: async (event) => {
        event.preventDefault();
        try {
          await this.keepFacts(factsOf(facts), fields.read(), state);
        } catch (trouble) {
          this.tellFactsTrouble(trouble, state);
        }
      },
    }, fields.elements, actions, state);
    draftLine(form, this.draftName, actions);
    this.facts.replaceChildren(h("h2", {}, "Facts of the visit"), form);
    if (field) form.elements[field].focus();
  }

  async keepFacts(from, to, state) {
    state.replaceChildren(h("p", { class: "done waiting" }, "Measuring anew. This can take some seconds."));
    say("Measuring anew.");
    this.stage.endNudges();
    await this.moves.idle();
    const visit = await put(`${this.path}/facts`, { ...to, from });
    dropDraft(this.draftName);
    this.measures.startFrom(visit);
    this.moves.visit = visit;
    this.foldFacts();
    this.changed(visit, "ours");
    this.tellDone("The facts are kept, and the photos measured anew.");
  }

  /** Where another window was first, the form says what is kept now, beside what was typed. */
  tellFactsTrouble(trouble, state) {
    const box = troubleBox(trouble);
    if (trouble.body?.visit) {
      this.moves.takeOver(trouble.body.visit);
      this.openFacts();
      this.facts.querySelector("form").append(box);
    } else {
      state.replaceChildren(box);
    }
  }

  /** One photo after the other, wherever the page is meanwhile; one that can't be read does not stop those after it. */
  async add(files) {
    if (!files.length) return;
    const troubles = [];
    this.adding = true;
    for (const [index, file] of files.entries()) {
      const words = `Looking at ${file.name}, ${index + 1} of ${files.length}…`;
      this.messages.replaceChildren(h("p", { class: "done waiting" }, words), ...troubles);
      say(words);
      try {
        const visit = await sendPhoto(`${this.path}/photos`, file, file.name);
        const first = !this.moves.visit.photos.length;
        this.moves.takeOver(visit);
        const added = visit.photos.findLastIndex((photo) => photo.file === file.name);
        if (!first) this.index = added < 0 ? visit.photos.length - 1 : added;
        this.measures.startFrom(visit);
        this.draw();
      } catch (trouble) {
        troubles.push(troubleBox({ message: `${file.name}: ${trouble.message}`, hint: trouble.hint }));
      }
    }
    this.adding = false;
    const added = files.length - troubles.length;
    const words = `${count(added, "photo")} added.`;
    this.messages.replaceChildren(...(added ? [h("p", { class: "done" }, words)] : []), ...troubles);
    say([added && words, troubles.length && `${count(troubles.length, "file")} could not be added.`].filter(Boolean).join(" "));
  }
}

/** What a form can tell of a visit, as it is known. */
const factsOf = ({ label = null, date = null, stature_cm = null, operated_side = null, arm_limit_deg = null }) =>
  ({ label, date, stature_cm, operated_side, arm_limit_deg });

const inSentence = (name) => (/^(c7|t\d+|l3)$/.test(name) ? landmarkWords(name) : `the ${landmarkWords(name)}`);

/** A record without a folder of its own becomes a download. */
function handOver(record, name) {
  const url = URL.createObjectURL(new Blob([JSON.stringify(record, null, 2)], { type: "application/json" }));
  h("a", { href: url, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(url), 10_000);
}
