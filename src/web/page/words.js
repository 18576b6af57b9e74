// How numbers, dates and names are written.

/** √χ²₀.₉₅ with one degree of freedom: half of a 95 % range, in sigmas. */
export const Z95 = 1.959964;

const SUFFIX = { deg: "°", cm: " cm", "%": " %" };
/** From this sigma on (degrees, %) a decimal would only feign precision. */
const COARSE = 3;

const decimals = (unit, sigma) => (unit === "cm" || sigma < COARSE ? 1 : 0);

/** With a real minus sign, and none before a zero. */
export function plain(value, digits) {
  const text = Math.abs(value).toFixed(digits);
  return value < 0 && Number(text) !== 0 ? `−${text}` : text;
}

/** "42.3 ± 2.4°", the range that holds the true value with 95 %. */
export function withRange({ value, sigma, unit }) {
  const digits = decimals(unit, sigma);
  return `${plain(value, digits)} ± ${plain(Z95 * sigma, digits)}${SUFFIX[unit] ?? ` ${unit}`}`;
}

/** The value alone, as `withRange` writes it. */
export const valueOnly = ({ value, sigma, unit }) => plain(value, decimals(unit, sigma));

export const inUnit = (value, { sigma, unit }) =>
  plain(value, decimals(unit, sigma)) + (SUFFIX[unit] ?? ` ${unit}`);

const SIGNS = {
  trunk_lean: "+ is forward, −\u00a0backward",
  head_tilt: "+ is the left ear higher",
  shoulder_tilt: "+ is the left shoulder higher",
  head_shift: "+ is to the subject's left",
  trunk_shift: "+ is to the subject's left",
  head_forward_of_c7: "− is behind it",
  head_forward_of_shoulder: "− is behind it",
  shoulder_forward_of_c7: "− is behind it",
  arm_to_ear: "+ is in front of the ear, −\u00a0behind it",
  reach_asymmetry: "− is the operated side reaching less",
};
/** What the sign of a measure's value means; null where it takes none. */
export const signWords = ({ measure }) => SIGNS[measure] ?? null;

/** "left shoulder joint", "C7". */
export function landmarkWords(name) {
  const side = /_(left|right)$/.exec(name)?.[1];
  const stem = name.replace(/_(left|right)$/, "");
  const words = /^(c7|t4|t8|t12|l3)$/.test(stem) ? stem.toUpperCase() : stem.replaceAll("_", " ");
  return side ? `${side} ${words}` : words;
}

export const capitalised = (words) => words.charAt(0).toUpperCase() + words.slice(1);

const EVIDENCE = {
  pose_net: "found by the joint net",
  landmark_net: "found by the landmark net",
  both_nets: "found by both nets",
  sticker: "found by a sticker",
  manual: "placed by hand",
};
export const evidenceWords = (id) => EVIDENCE[id] ?? id;

const VIEWS = { side: "from the side", front: "from the front", back: "from behind", oblique: "turned" };
const TASKS = { stand: "standing", reach: "reaching" };
/** "Standing, from the left side". */
export function photoWords({ view, task, side }) {
  const from = view === "side" && side ? `from the ${side} side` : VIEWS[view];
  return capitalised([TASKS[task], from].filter(Boolean).join(", ") || "view not recognised");
}

const DAY = new Intl.DateTimeFormat("en-GB", { day: "numeric", month: "short", year: "numeric" });
const DAY_OF_YEAR = new Intl.DateTimeFormat("en-GB", { day: "numeric", month: "short" });
const TIME = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit" });

/** "4 May 2026, 10:12" from "2026-05-04T10:12". */
export const dayAndTime = (iso) => `${DAY.format(new Date(iso))}, ${TIME.format(new Date(iso))}`;
export const timeOf = (iso) => TIME.format(new Date(iso));
export const shortDay = (iso) => DAY_OF_YEAR.format(new Date(iso));

const ELEVATION = { shoulder_flexion: "from the side", shoulder_abduction: "from the front" };
export const elevationWords = (measure) => ELEVATION[measure] ?? measure;

export const count = (number, one, many = `${one}s`) => `${number} ${number === 1 ? one : many}`;
