// The camera with a countdown. The preview is mirrored, as people know themselves; the photo is not.

import { button, h, s, say } from "./dom.js";
import { sendPhoto, Trouble } from "./api.js";
import { Tones } from "./tones.js";
import { capitalised } from "./words.js";

const COUNTS = [5, 10, 20];
const USUAL_COUNT = 10;
/** The arm goes up in the last seconds only: nobody should have to hold it. */
const RAISE_AT = 3;
const ASK_EVERY_MS = 1500;
/** Longer side of what the framing is read from, pixels. */
const SMALL = 480;

const REFUSALS = {
  NotAllowedError: ["The camera is not allowed on this page.",
    "You can allow it beside the address at the top of the window, or choose a photo that was taken before."],
  NotFoundError: ["No camera was found on this device.", "Choose a photo that was taken with another camera."],
  NotReadableError: ["The camera is in use by another program.", "Close the other program, or choose a photo."],
};

/**
 * Opens the camera, or says why it can't be.
 * @param {{view: "side"|"front", limit: HTMLElement, onPhoto: (bytes: Blob) => void}} wish `limit` tells it in words
 * @returns {Promise<{element?: HTMLElement, trouble?: Trouble, close: () => void}>}
 */
export async function openCamera({ view, limit, onPhoto }) {
  let stream;
  try {
    stream = await open();
  } catch (error) {
    const words = REFUSALS[error.name] ?? ["The camera could not be opened.", "Choose a photo instead."];
    return { trouble: new Trouble(...words), close() {} };
  }
  const camera = new Camera(stream, view, limit, onPhoto);
  return { element: camera.element, close: () => camera.close() };
}

function open(device) {
  if (!navigator.mediaDevices) return Promise.reject(new DOMException("", "NotFoundError"));
  const size = { width: { ideal: 1920 }, height: { ideal: 1440 } };
  const which = device ? { deviceId: { exact: device } } : { facingMode: "user" };
  return navigator.mediaDevices.getUserMedia({ audio: false, video: { ...size, ...which } });
}

class Camera {
  constructor(stream, view, limit, onPhoto) {
    this.stream = stream;
    this.view = view;
    this.arm = view === "front" ? "arms" : "arm";
    this.onPhoto = onPhoto;
    this.tones = new Tones();
    this.closed = false;
    this.counting = null;
    this.build(limit);
    this.show(stream);
    this.offerOthers();
    this.watchFraming();
  }

  build(limit) {
    // No autoplay attribute: `play` tells when it could not start.
    this.video = h("video", { muted: true, playsinline: true, "aria-label": "Live picture of the camera" });
    this.video.muted = true;
    this.number = h("p", { class: "count", "aria-hidden": "true" });
    this.advice = h("p", { class: "framing", role: "status" });
    this.start = button("Start the countdown", () => this.countDown(), { class: "main" });
    this.stop = button("Stop the countdown", () => this.halt(), { class: "main", hidden: true });
    this.others = h("div", { class: "field", hidden: true });
    this.frame = h("div", { class: "camera" }, this.video, outline(this.view), this.number);
    this.keys = (event) => {
      if (event.key === "Escape" && this.counting) this.halt();
    };
    addEventListener("keydown", this.keys);
    this.element = h("div", { class: "camera-room" }, this.frame, h("div", { class: "beside" },
      this.advice,
      h("p", { class: "lead setting" }, this.view === "side"
        ? "Stand sideways inside the outline, arm down. Raise it when the count reaches three, only as far as is comfortable."
        : "Stand inside the outline, arms down. Raise them when the count reaches three, only as far as is comfortable."),
      limit,
      h("fieldset", { class: "counts setting" }, h("legend", {}, "Seconds to get ready"),
        COUNTS.map((seconds) => h("label", {},
          h("input", { type: "radio", name: "count", value: seconds, checked: seconds === USUAL_COUNT }), `${seconds} s`)),
        h("label", {}, this.sound = h("input", { type: "checkbox", checked: true }), "with tones")),
      h("p", { class: "actions" }, this.start, this.stop),
      this.others,
      h("p", { class: "note" }, "You see yourself as in a mirror. The photo itself is not mirrored, so left stays left.")));
  }

  async show(stream) {
    this.video.srcObject = stream;
    const { facingMode } = stream.getVideoTracks()[0].getSettings();
    this.video.classList.toggle("mirrored", facingMode !== "environment");
    await this.video.play().catch(() => {});
    // The outline lies on the picture, not on bars beside it.
    const { videoWidth: width, videoHeight: height } = this.video;
    if (width) this.frame.style.setProperty("--shape", width / height);
  }

  async offerOthers() {
    const devices = await navigator.mediaDevices.enumerateDevices();
    const cameras = devices.filter(({ kind }) => kind === "videoinput");
    if (cameras.length < 2) return;
    const now = this.stream.getVideoTracks()[0].getSettings().deviceId;
    const choose = h("select", { id: "which-camera", change: () => this.change(choose.value) },
      cameras.map(({ deviceId, label }, index) =>
        h("option", { value: deviceId, selected: deviceId === now }, label || `Camera ${index + 1}`)));
    this.others.append(h("label", { for: "which-camera" }, "Camera"), choose);
    this.others.hidden = false;
  }

  async change(device) {
    this.halt();
    try {
      const stream = await open(device);
      this.release();
      this.stream = stream;
      if (this.closed) this.release();
      else await this.show(stream);
    } catch {
      this.tell("This camera could not be opened; the other one stays on.");
    }
  }

  tell(words) {
    if (this.advice.textContent !== words) this.advice.textContent = words;
  }

  countDown() {
    let left = Number(this.element.querySelector("input[name=count]:checked").value);
    this.start.hidden = true;
    this.stop.hidden = false;
    this.element.classList.add("counting");
    this.stop.focus();
    const tick = () => {
      if (left === 0) {
        this.shoot();
        return;
      }
      this.number.textContent = left;
      this.frame.classList.toggle("now", left <= RAISE_AT);
      if (left === RAISE_AT) this.tell(`Now raise your ${this.arm}, only as far as is comfortable.`);
      say(String(left));
      if (this.sound.checked) this.tones.beep(left <= RAISE_AT ? 880 : 440, 0.12);
      left -= 1;
      this.counting = setTimeout(tick, 1000);
    };
    if (left > RAISE_AT) this.tell(`${capitalised(this.arm)} down, stand at ease.`);
    this.counting = setTimeout(tick, 0);
  }

  halt() {
    if (!this.counting) return;
    clearTimeout(this.counting);
    this.counting = null;
    this.number.textContent = "";
    this.frame.classList.remove("now");
    this.element.classList.remove("counting");
    this.stop.hidden = true;
    this.start.hidden = false;
    this.start.focus();
    this.tell(`Stopped. You can lower your ${this.arm}.`);
  }

  async shoot() {
    clearTimeout(this.counting);
    this.counting = null;
    const photo = await picture(this.video, Infinity, 0.93);
    if (this.sound.checked) this.tones.beep(660, 0.5);
    if (this.closed) return;
    this.close();
    this.onPhoto(photo);
  }

  /** Asks how the person stands in the picture, until the server says that it can't tell. */
  async watchFraming() {
    while (!this.closed) {
      await new Promise((resolve) => setTimeout(resolve, ASK_EVERY_MS));
      if (this.closed || this.counting || document.hidden || !this.video.videoWidth) continue;
      try {
        const { hints } = await sendPhoto(`/api/framing?view=${this.view}`, await picture(this.video, SMALL, 0.7));
        if (!this.closed && !this.counting) this.tell(hints[0] ?? "");
      } catch {
        return;
      }
    }
  }

  release() {
    for (const track of this.stream.getTracks()) track.stop();
  }

  close() {
    this.closed = true;
    clearTimeout(this.counting);
    this.counting = null;
    removeEventListener("keydown", this.keys);
    this.release();
    this.video.srcObject = null;
    this.tones.close();
  }
}

/** What the camera sees, not mirrored, as a JPEG. */
function picture(video, longest, quality) {
  const { videoWidth: width, videoHeight: height } = video;
  const scale = Math.min(1, longest / Math.max(width, height));
  const canvas = h("canvas", { width: Math.round(width * scale), height: Math.round(height * scale) });
  canvas.getContext("2d").drawImage(video, 0, 0, canvas.width, canvas.height);
  return new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", quality));
}

/** Where to stand: a body with arms down and room above it. It says nothing of how high to reach. */
function outline(view) {
  const body = view === "side"
    ? "M46.5 37C44.5 40 44 46 44.5 52L45.5 66 44.5 93H54.5L53.5 66 54 52C54.5 45 54 40 51.5 37z"
    : "M46 37 40 39.5 37.5 63 40 64 43 48 43.5 66 43 93H48.5L50 69 51.5 93H57L56.5 66 57 48 60 64 62.5 63 60 39.5 54 37z";
  return s("svg", { class: "outline", viewBox: "0 0 100 100", "aria-hidden": "true" },
    s("ellipse", { cx: view === "side" ? 49.5 : 50, cy: 31.5, rx: 3.4, ry: 4.4 }), s("path", { d: body }));
}
