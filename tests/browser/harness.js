// A served page and a browser for the tests: the program on a copy of the demo, Chromium cut off
// from everything but it.

import { execFileSync, spawn, spawnSync } from "node:child_process";
import { cpSync, existsSync, mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join, resolve } from "node:path";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

export const ROOT = resolve(dirname(fileURLToPath(import.meta.url)), "../..");
const DEMO = join(ROOT, "fixtures/demo");
export const CASES = join(ROOT, "fixtures/cases");
const TRAGUS = resolve(ROOT, process.env.TRAGUS ?? "target/release/tragus");
const CHROMIUM = process.env.CHROMIUM ?? "/usr/bin/chromium";
const STARTS_WITHIN_MS = 60_000;

export const DESKTOP = { width: 1280, height: 800 };
export const PHONE = { width: 390, height: 844 };

/** A visit of the demo by its label, or a file in it. */
export function demo(visit, file = "") {
  const folder = readdirSync(join(DEMO, "visits")).find((name) => name.endsWith(`-${visit}`));
  if (!folder) throw new Error(`the demo has no visit ${visit}`);
  return join(DEMO, "visits", folder, file);
}

/** A folder that is gone after the test. */
export function scratch(t) {
  const folder = mkdtempSync(join(tmpdir(), "tragus-browser-"));
  t.after(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
}

/**
 * Serves copies of demo visits, with a diary of its own.
 * @param {string[]} visits names of folders in the demo
 * @returns {Promise<{address: string, origin: string, folder: string}>}
 */
export async function serve(t, visits = []) {
  const folder = scratch(t);
  for (const visit of visits) cpSync(demo(visit), join(folder, visit), { recursive: true });
  return started(t, folder, visits.map((visit) => join(folder, visit)));
}

/**
 * Serves a copy of the demo case, with one photo of each visit.
 * @returns {Promise<{address: string, origin: string, folder: string, case: string}>}
 */
export async function serveCase(t) {
  const folder = scratch(t);
  const copy = join(folder, "case");
  const wanted = (from) => !from.endsWith(".jpg") || from.endsWith("side-reach.jpg");
  cpSync(DEMO, copy, { recursive: true, filter: wanted });
  // The photos that were left out are not missed.
  execFileSync(TRAGUS, ["case", "verify", "--accept", copy]);
  return { ...await started(t, folder, [copy]), case: copy };
}

async function started(t, folder, paths) {
  const program = spawn(TRAGUS, ["serve", ...paths,
    "--diary", join(folder, "diary.json"), "--port", "0", "--no-open"], { stdio: ["ignore", "ignore", "pipe"] });
  const ended = new Promise((resolve) => program.once("exit", resolve));
  t.after(async () => {
    if (program.pid === undefined) return;
    // As a system ends it that goes down: nobody is asked about what is not saved.
    program.kill("SIGTERM");
    const slow = setTimeout(() => program.kill("SIGKILL"), 5000);
    await ended;
    clearTimeout(slow);
  });
  const said = [];
  const address = await new Promise((resolve, reject) => {
    const late = setTimeout(() => reject(new Error(`no address: ${said.join("\n")}`)), STARTS_WITHIN_MS);
    program.once("error", reject);
    program.once("exit", (code) => reject(new Error(`ended with ${code}: ${said.join("\n")}`)));
    createInterface({ input: program.stderr }).on("line", (line) => {
      said.push(line);
      const found = /http:\/\/127\.0\.0\.1:\d+\/open\/\S+/.exec(line);
      if (found) {
        clearTimeout(late);
        resolve(found[0]);
      }
    });
  });
  return { address, origin: new URL(address).origin, folder };
}

/** @param {string} [clip] what the camera shows */
export async function launch(t, { clip, camera = "allowed" } = {}) {
  const browser = await chromium.launch({
    executablePath: CHROMIUM,
    args: [
      "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
      "--disable-background-networking", "--disable-component-update", "--disable-sync",
      ...(clip ? ["--use-fake-device-for-media-stream", `--use-file-for-fake-video-capture=${clip}`] : []),
      ...(clip && camera === "allowed" ? ["--use-fake-ui-for-media-stream"] : []),
      ...(camera === "refused" ? ["--deny-permission-prompts"] : []),
    ],
  });
  t.after(() => browser.close());
  return browser;
}

/**
 * The page, opened by the address that the program printed. What it asks of anybody else is
 * refused and noted in `outside`; what it complains of in `complaints`.
 */
export async function open(t, browser, served, options = {}) {
  const context = await browser.newContext({ viewport: DESKTOP, locale: "en-GB", ...options });
  const outside = [];
  await context.route("**/*", (route) => {
    const url = route.request().url();
    if (url.startsWith(`${served.origin}/`) || /^(blob|data):/.test(url)) return route.continue();
    outside.push(url);
    return route.abort();
  });
  const complaints = [];
  const page = await context.newPage();
  listen(page, complaints);
  await page.goto(served.address);
  await page.getByRole("heading", { level: 1 }).waitFor();
  t.after(() => context.close());
  return { context, page, outside, complaints };
}

function listen(page, complaints) {
  page.on("pageerror", (error) => complaints.push(String(error)));
  page.on("console", (message) => {
    // Answers of 4xx are part of some tests; the browser writes each to its console.
    if (message.type() === "error" && !/Failed to load resource/.test(message.text())) complaints.push(message.text());
  });
}

/** Goes to a screen, and waits until it is there. */
export async function go(page, hash, heading) {
  await page.evaluate((hash) => { location.hash = hash; }, hash);
  await page.getByRole("heading", { level: 1, name: heading }).waitFor({ timeout: 60_000 });
}

/** Past the cautions, to the choice of a photo. */
export async function toPhoto(page, view = "side") {
  await go(page, "#/check", "Before you begin");
  await page.getByRole("button", { name: "I have read this" }).click();
  await page.getByRole("link", { name: view === "side" ? /From the side/ : /From the front/ }).click();
  await page.getByRole("heading", { level: 1, name: "Take the photo, or choose one" }).waitFor();
}

/** Hands a file to the button of that name. */
export async function choose(page, button, files) {
  const chooser = page.waitForEvent("filechooser");
  await page.getByRole("button", { name: button }).click();
  await (await chooser).setFiles(files);
}

/** A clip that shows one photo, padded to the shape of a camera. */
export function clipOf(photo, folder) {
  return ffmpeg(join(folder, "clip.mjpeg"), "-loop", "1", "-i", photo, "-t", "2", "-r", "10",
    "-vf", "scale=-2:960,pad=1280:960:(ow-iw)/2:0:color=0x888888");
}

/** A copy of a photo in which a grey board hides a part. */
export function hiding(photo, folder, { x, y, width, height }) {
  return ffmpeg(join(folder, "hidden.jpg"), "-i", photo,
    "-vf", `drawbox=x=${x}:y=${y}:w=${width}:h=${height}:t=fill:color=gray`);
}

function ffmpeg(to, ...made) {
  const { status, stderr } = spawnSync("ffmpeg", ["-y", "-loglevel", "error", ...made, "-q:v", "2", to]);
  if (status !== 0 || !existsSync(to)) throw new Error(`ffmpeg: ${stderr}`);
  return to;
}

/** Whether the page asks before it is closed. It stays open. */
export async function leavingAsks(page) {
  return page.evaluate(() => {
    const leaving = new Event("beforeunload", { cancelable: true });
    dispatchEvent(leaving);
    return leaving.defaultPrevented;
  });
}

/** Pages of a PDF that the browser wrote. */
export const pagesOf = (pdf) => pdf.toString("latin1").match(/\/Type\s*\/Page\b/g)?.length ?? 0;
