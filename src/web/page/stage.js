// A photo with its landmarks: zoom, pan, and landmarks that are moved by pointer or keys.

import { h, s, set } from "./dom.js";
import { capitalised, evidenceWords, landmarkWords } from "./words.js";

/** Radius of the ellipse that holds a point with 95 %, in sigmas. */
const ELLIPSE_95 = 2.448;
/** How near a press must be to a landmark to take hold of it, in pixels of the screen. */
const REACH = 24;
/** A finger that moves less than this has tapped, in pixels of the screen. */
const TREMBLE = 8;
const LOUPE_TIMES = 4;
const LOUPE_SIZE = 168;
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/**
 * @typedef {object} Wishes
 * @property {(landmark: string, to: {x: number, y: number}) => void} move while it moves
 * @property {() => void} settle once it has come to rest
 * @property {() => void} cancel where it goes back instead
 * @property {(landmark: ?string) => void} select
 * @property {(landmark: string) => void} takeBack
 */
export class Stage {
  /** @param {Wishes} wishes */
  constructor(wishes) {
    this.wishes = wishes;
    this.marks = new Map();
    this.pointers = new Map();
    this.selected = null;
    this.placing = null;
    this.pointedAt = null;
    this.build();
  }

  build() {
    this.image = s("image", {});
    this.lines = s("g", { "aria-hidden": "true" });
    this.group = s("g", {});
    this.drawing = s("svg", { class: "drawing", preserveAspectRatio: "xMidYMid meet" }, this.image, this.lines, this.group);
    this.loupeImage = s("image", {});
    this.loupe = s("svg", { class: "loupe", hidden: true, "aria-hidden": "true", width: LOUPE_SIZE, height: LOUPE_SIZE },
      this.loupeImage, this.loupeEllipse = s("ellipse", { class: "ellipse" }),
      this.loupeCross = s("path", { class: "cross" }));
    this.name = h("p", { class: "name", hidden: true, "aria-hidden": "true" });
    this.element = h("div", { class: "stage" }, this.drawing, this.name, this.loupe);
    const { drawing } = this;
    drawing.addEventListener("pointerdown", (event) => this.press(event));
    drawing.addEventListener("pointermove", (event) => this.drag(event));
    drawing.addEventListener("pointerleave", () => this.point(null));
    drawing.addEventListener("pointerup", (event) => this.lift(event));
    drawing.addEventListener("pointercancel", () => this.cancel());
    drawing.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.zoomBy(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0015)), this.toPhoto(event));
    }, { passive: false });
    this.element.addEventListener("keydown", (event) => this.key(event));
    this.watch = new ResizeObserver(() => this.look());
  }

  open() {
    this.watch.observe(this.element);
    this.look();
  }

  close() {
    this.watch.disconnect();
    clearTimeout(this.loupeTimer);
    this.endNudges();
  }

  /** Shows a photo. The part in view stays when it is the same photo as before. */
  show(photo) {
    const other = this.photo?.picture !== photo.picture;
    this.photo = photo;
    if (other) {
      this.endNudges();
      this.holding = null;
      this.placing = null;
      this.selected = null;
      this.pointedAt = null;
      for (const image of [this.image, this.loupeImage]) {
        set(image, { href: photo.picture, width: photo.width, height: photo.height, preserveAspectRatio: "none" });
      }
      this.group.replaceChildren();
      this.marks.clear();
    }
    this.drawLines();
    this.updateMarks();
    if (other) this.fitBody();
    else this.look();
  }

  drawLines() {
    this.lines.replaceChildren(...this.photo.lines.flatMap(({ kind, from: [x1, y1], to: [x2, y2] }) =>
      [s("line", { class: "casing", x1, y1, x2, y2 }), s("line", { class: `line ${kind}`, x1, y1, x2, y2 })]));
  }

  updateMarks() {
    const { landmarks, placeable } = this.photo;
    for (const name of [...this.marks.keys()]) {
      if (!landmarks[name]) {
        this.marks.get(name).group.remove();
        this.marks.delete(name);
        if (this.selected === name) this.select(null);
      }
    }
    placeable.forEach((name) => {
      const landmark = landmarks[name];
      if (!landmark) return;
      if (!this.marks.has(name)) this.addMark(name);
      const mark = this.marks.get(name);
      // What is held lies where the hand is, not where the server last saw it.
      if (this.holding?.name !== name && this.nudging?.name !== name) mark.at = { x: landmark.x, y: landmark.y };
      mark.landmark = landmark;
    });
    // The order of Tab is the order of the list, whenever a mark came.
    const order = placeable.filter((name) => this.marks.has(name)).map((name) => this.marks.get(name).group);
    if (order.some((group, index) => this.group.children[index] !== group)) {
      const focused = document.activeElement;
      this.group.append(...order);
      if (order.includes(focused)) focused.focus({ preventScroll: true });
    }
  }

  addMark(name) {
    const mark = {
      ellipse: s("ellipse", { class: "ellipse" }),
      tie: s("line", { class: "tie" }),
      ghost: s("circle", { class: "ghost" }),
      halo: s("circle", { class: "halo" }),
      dot: s("path", { class: "dot" }),
    };
    mark.group = s("g", {
      class: "mark", tabindex: "0", role: "button", "data-landmark": name,
      focus: () => this.select(name),
    }, Object.values(mark));
    this.marks.set(name, mark);
    this.group.append(mark.group);
  }

  /** Draws everything at the size it has on the screen. */
  look() {
    const { view } = this;
    if (!view || !this.element.isConnected) return;
    set(this.drawing, { viewBox: `${view.x} ${view.y} ${view.width} ${view.height}` });
    this.pixel = this.pixelSize();
    for (const [name, mark] of this.marks) this.drawMark(name, mark);
    this.drawName();
  }

  /** Writes the name beside the landmark that is pointed at, or else the selected one. */
  drawName() {
    const name = this.pointedAt ?? this.selected;
    const mark = this.marks.get(name);
    this.name.hidden = !mark;
    if (!mark) return;
    const matrix = this.drawing.getScreenCTM();
    const box = this.element.getBoundingClientRect();
    const at = new DOMPoint(mark.at.x, mark.at.y).matrixTransform(matrix);
    const [x, y] = [at.x - box.left, at.y - box.top];
    this.name.textContent = capitalised(landmarkWords(name));
    this.name.classList.toggle("left", x > box.width * 0.65);
    this.name.style.translate = `${x}px ${y}px`;
  }

  /** Pixels of the photo that one pixel of the screen spans. */
  pixelSize() {
    const box = this.drawing.getBoundingClientRect();
    if (!box.width || !box.height) return 1;
    return Math.max(this.view.width / box.width, this.view.height / box.height);
  }

  drawMark(name, { group, ellipse, tie, ghost, halo, dot, at, landmark }) {
    const px = this.pixel;
    const hand = landmark.evidence === "manual";
    const { original } = landmark;
    const shape = ellipseOf(landmark.covariance);
    set(ellipse, { cx: at.x, cy: at.y, rx: shape.long, ry: shape.short, transform: `rotate(${shape.turn} ${at.x} ${at.y})` });
    set(dot, { d: hand ? square(at, 5 * px) : disc(at, 4.5 * px) });
    set(halo, { cx: at.x, cy: at.y, r: 13 * px });
    const moved = original && (original.x !== at.x || original.y !== at.y);
    set(ghost, { cx: original?.x ?? 0, cy: original?.y ?? 0, r: 6 * px, display: moved ? null : "none" });
    set(tie, { x1: original?.x ?? 0, y1: original?.y ?? 0, x2: at.x, y2: at.y, display: moved ? null : "none" });
    set(group, {
      class: ["mark", hand && "by-hand", landmark.covered && "covered", this.selected === name && "selected"].filter(Boolean).join(" "),
      "aria-label": `${capitalised(landmarkWords(name))}, ${evidenceWords(landmark.evidence)}, ${Math.round(at.x)} across, ${Math.round(at.y)} down`,
      "aria-pressed": this.selected === name ? "true" : "false",
    });
  }

  select(name) {
    if (this.selected === name) return;
    this.endNudges();
    this.selected = name;
    if (name) this.bringIntoView(this.marks.get(name).at);
    this.look();
    this.wishes.select(name);
  }

  // Zoom and pan.

  fitPhoto() {
    this.view = { x: 0, y: 0, width: this.photo.width, height: this.photo.height };
    this.look();
  }

  /** The part of the photo that the landmarks are in, with room around them. */
  fitBody() {
    const places = this.photo.placeable.map((name) => this.photo.landmarks[name]).filter(Boolean);
    if (places.length < 2) {
      this.fitPhoto();
      return;
    }
    const xs = places.map(({ x }) => x);
    const ys = places.map(({ y }) => y);
    const [left, right, top, bottom] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    const room = 0.18 * Math.max(right - left, bottom - top) + 10;
    this.view = { x: left - room, y: top - room, width: right - left + 2 * room, height: bottom - top + 2 * room };
    this.look();
  }

  zoomBy(factor, about) {
    const { view, photo } = this;
    const centre = about ?? (this.selected ? this.marks.get(this.selected).at
      : { x: view.x + view.width / 2, y: view.y + view.height / 2 });
    const widest = Math.max(photo.width, photo.height * 2);
    const width = Math.min(widest, Math.max(photo.width / 40, view.width / factor));
    const by = width / view.width;
    this.view = {
      x: centre.x - (centre.x - view.x) * by, y: centre.y - (centre.y - view.y) * by,
      width, height: view.height * by,
    };
    this.keepNear();
    this.look();
  }

  panBy(dx, dy) {
    this.view = { ...this.view, x: this.view.x - dx, y: this.view.y - dy };
    this.keepNear();
    this.look();
  }

  /** The middle of the view stays on the photo, or the photo would get lost. */
  keepNear() {
    const { view, photo } = this;
    const clamp = (value, size) => Math.min(Math.max(value, 0), size);
    view.x = clamp(view.x + view.width / 2, photo.width) - view.width / 2;
    view.y = clamp(view.y + view.height / 2, photo.height) - view.height / 2;
  }

  bringIntoView({ x, y }) {
    const { view } = this;
    if (!view) return;
    const inside = x > view.x && x < view.x + view.width && y > view.y && y < view.y + view.height;
    if (!inside) this.view = { ...view, x: x - view.width / 2, y: y - view.height / 2 };
  }

  toPhoto({ clientX, clientY }) {
    const at = new DOMPoint(clientX, clientY).matrixTransform(this.drawing.getScreenCTM().inverse());
    return { x: at.x, y: at.y };
  }

  // Pointers.

  press(event) {
    if (event.button > 0) return;
    this.pointers.set(event.pointerId, event);
    this.drawing.setPointerCapture(event.pointerId);
    if (this.pointers.size === 2) {
      this.tap = null;
      this.dropHold();
      return;
    }
    const at = this.toPhoto(event);
    const touch = event.pointerType === "touch";
    const name = touch && this.isNear(this.selected, at) ? this.selected : this.nearest(at);
    const doing = this.placing ? () => this.placeAt(at)
      : name ? () => this.takeHold(name, at)
      : null;
    if (!doing) return;
    // A finger that starts to scroll or pan moves nothing: it places, or selects, by a tap, and
    // drags only what is selected.
    if (touch && (this.placing || name !== this.selected)) {
      this.tap = { x: event.clientX, y: event.clientY, doing };
      return;
    }
    event.preventDefault();
    doing();
  }

  placeAt(at) {
    const name = this.placing;
    this.placeNext(null);
    this.wishes.move(name, this.within(at));
    this.wishes.settle();
  }

  takeHold(name, at) {
    this.endNudges();
    const mark = this.marks.get(name);
    mark.group.focus({ preventScroll: true });
    this.select(name);
    // Held where it was taken, or it would jump to the pointer.
    this.holding = { name, dx: mark.at.x - at.x, dy: mark.at.y - at.y, from: { ...mark.at }, moved: false };
  }

  isNear(name, at) {
    const mark = this.marks.get(name);
    return mark !== undefined && Math.hypot(mark.at.x - at.x, mark.at.y - at.y) < REACH * this.pixel;
  }

  nearest(at) {
    let best = null;
    let least = REACH * this.pixel;
    for (const [name, mark] of this.marks) {
      const distance = Math.hypot(mark.at.x - at.x, mark.at.y - at.y);
      if (distance < least) [best, least] = [name, distance];
    }
    return best;
  }

  drag(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) {
      this.point(this.nearest(this.toPhoto(event)));
      return;
    }
    if (this.tap) {
      if (Math.hypot(event.clientX - this.tap.x, event.clientY - this.tap.y) < TREMBLE) return;
      this.tap = null;
    }
    if (this.pointers.size === 2) this.pinch(before, event);
    else if (this.holding) this.dragMark(event);
    else {
      const [from, to] = [this.toPhoto(before), this.toPhoto(event)];
      this.panBy(to.x - from.x, to.y - from.y);
    }
    this.pointers.set(event.pointerId, event);
  }

  point(name) {
    if (this.pointedAt === name) return;
    this.pointedAt = name;
    this.drawing.classList.toggle("at-mark", name !== null);
    this.drawName();
  }

  dragMark(event) {
    const { holding } = this;
    const at = this.toPhoto(event);
    const to = this.within({ x: at.x + holding.dx, y: at.y + holding.dy });
    // A press that trembles by a pixel is no move.
    if (!holding.moved && Math.hypot(to.x - holding.from.x, to.y - holding.from.y) < 2 * this.pixel) return;
    holding.moved = true;
    const mark = this.marks.get(holding.name);
    mark.at = to;
    this.drawMark(holding.name, mark);
    this.drawName();
    this.magnify(mark);
    this.wishes.move(holding.name, to);
  }

  pinch(before, now) {
    const other = [...this.pointers.values()].find(({ pointerId }) => pointerId !== now.pointerId);
    const apart = (a, b) => Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
    this.zoomBy(apart(now, other) / Math.max(1, apart(before, other)), this.toPhoto(other));
  }

  lift(event) {
    this.pointers.delete(event.pointerId);
    const { tap } = this;
    this.tap = null;
    tap?.doing();
    this.dropHold();
  }

  /** Gives up what a pointer has begun: a landmark that it drags goes back. */
  cancel() {
    const { holding } = this;
    this.pointers.clear();
    this.tap = null;
    this.holding = null;
    if (!holding?.moved) return;
    this.loupe.setAttribute("hidden", "");
    this.marks.get(holding.name).at = holding.from;
    this.look();
    this.wishes.cancel();
  }

  dropHold() {
    const { holding } = this;
    this.holding = null;
    if (!holding?.moved) return;
    this.hideLoupeSoon();
    this.wishes.settle();
  }

  /** Inside the photo, to a tenth of a pixel. */
  within({ x, y }) {
    const clamp = (value, size) => Math.round(Math.min(Math.max(value, 0), size) * 10) / 10;
    return { x: clamp(x, this.photo.width), y: clamp(y, this.photo.height) };
  }

  /** The next press on the photo places this landmark, which was not found. */
  placeNext(name) {
    this.placing = name;
    this.element.classList.toggle("placing", name !== null);
  }

  middle() {
    const { view } = this;
    return this.within({ x: view.x + view.width / 2, y: view.y + view.height / 2 });
  }

  focusMark(name) {
    this.marks.get(name)?.group.focus({ preventScroll: true });
  }

  // Keys.

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const name = event.target.closest?.("[data-landmark]")?.dataset.landmark;
    const step = STEPS[event.key];
    const doing = step && name ? () => this.nudge(name, step, event.shiftKey ? 10 : 1)
      : event.key === "+" || event.key === "=" ? () => this.zoomBy(1.3)
      : event.key === "-" ? () => this.zoomBy(1 / 1.3)
      : event.key === "0" ? () => this.fitBody()
      : (event.key === "Delete" || event.key === "Backspace") && name ? () => this.wishes.takeBack(name)
      : (event.key === "Enter" || event.key === " ") && name ? () => this.closeUp(name)
      : null;
    if (!doing) return;
    event.preventDefault();
    doing();
  }

  /** Presses that follow each other closely are one move. */
  nudge(name, [dx, dy], by) {
    const mark = this.marks.get(name);
    mark.at = this.within({ x: mark.at.x + dx * by, y: mark.at.y + dy * by });
    clearTimeout(this.nudging?.timer);
    this.nudging = { name, timer: setTimeout(() => this.endNudges(), 700) };
    this.bringIntoView(mark.at);
    this.look();
    this.magnify(mark);
    this.hideLoupeSoon();
    this.wishes.move(name, mark.at);
  }

  /** Lets go of whatever is being moved, without a further move. */
  letGo() {
    clearTimeout(this.nudging?.timer);
    this.nudging = null;
    this.holding = null;
    this.loupe.setAttribute("hidden", "");
  }

  endNudges() {
    if (!this.nudging) return;
    clearTimeout(this.nudging.timer);
    this.nudging = null;
    this.wishes.settle();
  }

  closeUp(name) {
    const { at } = this.marks.get(name);
    const ratio = this.view.height / this.view.width;
    const width = Math.max(this.view.width / 2.5, this.photo.width / 40);
    this.view = { x: at.x - width / 2, y: at.y - (width * ratio) / 2, width, height: width * ratio };
    this.look();
  }

  // The magnifier.

  magnify({ at, landmark }) {
    clearTimeout(this.loupeTimer);
    const size = (LOUPE_SIZE * this.pixel) / LOUPE_TIMES;
    const px = size / LOUPE_SIZE;
    set(this.loupe, { viewBox: `${at.x - size / 2} ${at.y - size / 2} ${size} ${size}` });
    const arm = size / 2;
    set(this.loupeCross, { d: `M${at.x - arm} ${at.y}H${at.x - 6 * px}M${at.x + 6 * px} ${at.y}H${at.x + arm}M${at.x} ${at.y - arm}V${at.y - 6 * px}M${at.x} ${at.y + 6 * px}V${at.y + arm}` });
    const shape = ellipseOf(landmark.covariance);
    set(this.loupeEllipse, { cx: at.x, cy: at.y, rx: shape.long, ry: shape.short, transform: `rotate(${shape.turn} ${at.x} ${at.y})` });
    // In the corner that the hand is not in.
    this.loupe.classList.toggle("right", at.x < this.view.x + this.view.width / 2);
    this.loupe.removeAttribute("hidden");
  }

  hideLoupeSoon() {
    clearTimeout(this.loupeTimer);
    this.loupeTimer = setTimeout(() => this.loupe.setAttribute("hidden", ""), 1200);
  }
}

/** Half axes and turn (degrees) of the 95 % ellipse of a covariance [xx, xy, yy]. */
export function ellipseOf([xx, xy, yy]) {
  const middle = (xx + yy) / 2;
  const spread = Math.hypot((xx - yy) / 2, xy);
  return {
    long: ELLIPSE_95 * Math.sqrt(Math.max(0, middle + spread)),
    short: ELLIPSE_95 * Math.sqrt(Math.max(0, middle - spread)),
    turn: (Math.atan2(2 * xy, xx - yy) * 90) / Math.PI,
  };
}

const disc = ({ x, y }, r) => `M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0z`;
const square = ({ x, y }, r) => `M${x - r} ${y - r}h${2 * r}v${2 * r}h${-2 * r}z`;
