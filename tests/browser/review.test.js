// A visit under review: landmarks moved by mouse and keys, undo, two windows, the record.

import assert from "node:assert/strict";
import { existsSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { test } from "node:test";
import { demo, PHONE, choose, go, hiding, launch, open, scratch, serve } from "./harness.js";
import { drag, mark, newVisit, otherThan, review, reviewed, value } from "./reviewing.js";

test("a landmark dragged by the mouse changes its measures at once, and is taken back", async (t) => {
  const { page, complaints } = await reviewed(t);
  const first = await value(page, "craniovertebral_angle").textContent();
  await drag(page, "c7", 30, 20);
  await otherThan(page, "craniovertebral_angle", first);
  // What was before is told with its error and unit, as what is now.
  assert.match(first, /^[\d.]+ ± [\d.]+°$/);
  assert.equal(await page.locator('tr[data-measure="craniovertebral_angle"] td.before').first().textContent(), first);
  await page.getByText("Not saved", { exact: true }).waitFor();
  assert.match(await mark(page, "c7").getAttribute("class"), /by-hand/);
  assert.notEqual(await mark(page, "c7").locator(".ghost").getAttribute("display"), "none");
  assert.match(await mark(page, "c7").getAttribute("aria-label"), /placed by hand/);
  await page.getByRole("button", { name: "Take back" }).click();
  await page.waitForFunction((first) =>
    document.querySelector('tr[data-measure="craniovertebral_angle"] td.value').textContent === first, first);
  assert.doesNotMatch(await mark(page, "c7").getAttribute("class"), /by-hand/);
  assert.deepEqual(complaints, []);
});

test("keys move a landmark by 1 and by 10 pixels; undo and redo follow", async (t) => {
  const { page } = await reviewed(t);
  const place = async () => /(\d+) across, (\d+) down/.exec(await mark(page, "c7").getAttribute("aria-label")).slice(1).map(Number);
  const first = await value(page, "craniovertebral_angle").textContent();
  const [x, y] = await place();
  await mark(page, "c7").focus();
  await page.keyboard.press("ArrowRight");
  await page.keyboard.press("Shift+ArrowDown");
  assert.deepEqual(await place(), [x + 1, y + 10]);
  const moved = await otherThan(page, "craniovertebral_angle", first);
  await page.waitForTimeout(900);
  await page.keyboard.press("Control+z");
  await otherThan(page, "craniovertebral_angle", moved);
  assert.equal(await value(page, "craniovertebral_angle").textContent(), first);
  assert.deepEqual(await place(), [x, y]);
  await page.keyboard.press("Control+y");
  assert.equal(await otherThan(page, "craniovertebral_angle", first), moved);
  await page.getByRole("button", { name: "Undo" }).click();
  await otherThan(page, "craniovertebral_angle", moved);
  assert.ok(await page.getByRole("button", { name: "Undo" }).isDisabled());
  await page.getByRole("button", { name: "Redo" }).click();
  assert.equal(await otherThan(page, "craniovertebral_angle", first), moved);
});

test("Tab goes from landmark to landmark, Delete takes a move back, Enter looks closer", async (t) => {
  const { page } = await reviewed(t);
  const focused = () => page.evaluate(() => document.activeElement.dataset.landmark);
  await mark(page, "c7").focus();
  await page.keyboard.press("Tab");
  const next = await focused();
  assert.ok(next && next !== "c7", next);
  await page.keyboard.press("Shift+Tab");
  assert.equal(await focused(), "c7");
  await page.keyboard.press("ArrowLeft");
  await page.locator('.mark.by-hand[data-landmark="c7"]').waitFor();
  await page.keyboard.press("Delete");
  await page.locator('.mark:not(.by-hand)[data-landmark="c7"]').waitFor();
  const width = () => page.locator(".drawing").evaluate((drawing) => drawing.viewBox.baseVal.width);
  const before = await width();
  await page.keyboard.press("Enter");
  assert.ok((await width()) < before);
});

test("wheel and buttons zoom, a drag beside the landmarks pans", async (t) => {
  const { page } = await reviewed(t);
  const view = () => page.locator(".drawing").evaluate(({ viewBox: { baseVal: { x, width } } }) => ({ x, width }));
  await page.getByRole("button", { name: "Whole photo" }).click();
  const whole = await view();
  const box = await page.locator(".drawing").boundingBox();
  await page.mouse.move(box.x + 20, box.y + 20);
  await page.mouse.wheel(0, -400);
  await page.waitForFunction((width) => document.querySelector(".drawing").viewBox.baseVal.width < width, whole.width);
  const closer = await view();
  await page.mouse.down();
  await page.mouse.move(box.x + 120, box.y + 60, { steps: 4 });
  await page.mouse.up();
  assert.ok((await view()).x < closer.x);
  await page.getByRole("button", { name: "Zoom out" }).click();
  assert.ok((await view()).width > closer.width);
  await page.getByText("Nothing unsaved").waitFor();
});

test("the ellipse around a landmark holds 95 %", async (t) => {
  const { page } = await reviewed(t);
  const visit = await page.evaluate(() => fetch("/api/visits/v1").then((answer) => answer.json()));
  const photo = visit.photos.find(({ view, task, side }) => view === "side" && task === "stand" && side === "right");
  const [xx, xy, yy] = photo.landmarks.c7.covariance;
  const ellipse = mark(page, "c7").locator(".ellipse");
  const [long, short] = [Number(await ellipse.getAttribute("rx")), Number(await ellipse.getAttribute("ry"))];
  // The square of the 95 % radius is 5.991 sigma²; area and sum of squares fix both half axes.
  assert.ok(Math.abs(long * short - 5.991 * Math.sqrt(xx * yy - xy * xy)) < 0.01 * long * short);
  assert.ok(Math.abs(long * long + short * short - 5.991 * (xx + yy)) < 0.01 * long * long);
});

test("a saved record holds the hand-placed landmark", async (t) => {
  const { page, served } = await reviewed(t);
  await drag(page, "c7", 20, 10);
  await page.getByText("Not saved", { exact: true }).waitFor();
  await page.getByRole("button", { name: "Save to the record" }).click();
  await page.getByText(/Saved in intake\/record\.json/).first().waitFor();
  await page.getByText("Nothing unsaved").waitFor();
  const file = join(served.folder, "intake/record.json");
  assert.ok(existsSync(file));
  const record = JSON.parse(readFileSync(file, "utf8"));
  const photo = record.photos.find(({ file }) => file === "side-right.jpg");
  assert.equal(photo.landmarks.c7.evidence, "manual");
});

test("what one window moves the other one shows; a conflict is told and nothing is lost", async (t) => {
  const { page, context, served } = await reviewed(t);
  const first = await value(page, "craniovertebral_angle").textContent();
  const other = await context.newPage();
  await other.goto(`${served.origin}/`);
  await other.getByRole("heading", { level: 1 }).waitFor();
  await review(other);
  await page.bringToFront();
  await drag(page, "c7", 30, 20);
  const moved = await otherThan(page, "craniovertebral_angle", first);
  await other.bringToFront();
  assert.equal(await otherThan(other, "craniovertebral_angle", first), moved);
  await other.getByText(/changed in another window/).first().waitFor();

  await other.route(/since=/, (route) => route.abort());
  await page.bringToFront();
  await drag(page, "c7", -12, 6);
  const latest = await otherThan(page, "craniovertebral_angle", moved);
  await other.bringToFront();
  await mark(other, "c7").focus();
  await other.keyboard.press("ArrowUp");
  const alert = other.getByRole("alert");
  await alert.waitFor();
  assert.ok((await alert.locator("p").count()) >= 2, "a sentence and a hint");
  assert.equal(await value(other, "craniovertebral_angle").textContent(), latest);
  assert.equal(await value(page, "craniovertebral_angle").textContent(), latest);
});

test("a landmark that was not found is placed by pointer or keys", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  const trunkHidden = hiding(demo("intake", "side-right.jpg"), scratch(t), { x: 330, y: 340, width: 140, height: 300 });
  await newVisit(page);
  await choose(page, "Add photos", [trunkHidden]);
  const summary = page.locator(".missing summary");
  await summary.waitFor({ timeout: 60_000 });
  const missing = Number.parseInt(await summary.textContent(), 10);
  const measured = await page.locator(".measures tbody tr").count();
  await summary.click();
  await page.getByRole("button", { name: "Place T8" }).click();
  await page.keyboard.press("Escape");
  assert.equal(await page.getByRole("button", { name: "Put it in the middle" }).count(), 0);
  assert.equal(await page.evaluate(() => document.activeElement.tagName), "SUMMARY");
  await page.mouse.click(...await page.locator(".drawing").boundingBox().then(({ x, y, width, height }) => [x + width * 0.8, y + height * 0.1]));
  assert.equal(await mark(page, "t8").count(), 0);
  await summary.click();
  await page.getByRole("button", { name: "Place T8" }).click();
  await page.getByRole("button", { name: "Put it in the middle" }).press("Enter");
  await mark(page, "t8").waitFor();
  assert.match(await mark(page, "t8").getAttribute("aria-label"), /placed by hand/);
  await page.locator(".missing summary").click();
  await page.getByRole("button", { name: "Place T12" }).click();
  const box = await page.locator(".drawing").boundingBox();
  await page.mouse.click(box.x + box.width * 0.45, box.y + box.height * 0.6);
  await mark(page, "t12").waitFor();
  assert.equal(Number.parseInt(await page.locator(".missing summary").textContent(), 10), missing - 2);
  await page.waitForFunction((measured) => document.querySelectorAll(".measures tbody tr").length > measured, measured);
  await page.keyboard.press("Control+z");
  await mark(page, "t12").waitFor({ state: "detached" });
});

test("a new visit takes photos by file and by drop, and hands its record over", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await newVisit(page);
  const notes = join(scratch(t), "notes.txt");
  writeFileSync(notes, "no photo");
  await choose(page, "Add photos", [demo("intake", "side-right.jpg"), notes]);
  await page.getByText("1 photo added.").first().waitFor({ timeout: 60_000 });
  assert.match(await page.getByRole("alert").textContent(), /notes\.txt/);
  await value(page, "craniovertebral_angle").waitFor();

  const bytes = readFileSync(demo("intake", "front.jpg")).toString("base64");
  await page.evaluate((bytes) => {
    const data = new DataTransfer();
    data.items.add(new File([Uint8Array.from(atob(bytes), (c) => c.charCodeAt(0))], "front.jpg", { type: "image/jpeg" }));
    document.body.dispatchEvent(new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
  }, bytes);
  await page.getByRole("button", { name: "Standing, from the front" }).waitFor({ timeout: 60_000 });

  const download = page.waitForEvent("download");
  await page.getByRole("button", { name: "Save to the record" }).click();
  const record = JSON.parse(readFileSync(await (await download).path(), "utf8"));
  assert.equal(record.photos.length, 2);
  await page.getByText("Nothing unsaved").waitFor();
});

test("the day that sent photos say is offered, and filled in only by whoever presses", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await go(page, "#/visits/new", "New visit");
  await page.getByLabel("What the visit is called").fill("week 8");
  await page.getByRole("button", { name: "Make the visit" }).click();
  await page.getByRole("heading", { level: 1, name: "week 8" }).waitFor();
  await choose(page, "Add photos", [demo("intake", "side-right.jpg")]);
  await page.getByText("The photos say 10 March 2026. The visit has no date.").waitFor({ timeout: 60_000 });
  await page.getByRole("button", { name: "Enter it in the facts" }).click();
  const date = page.getByLabel("Date");
  assert.equal(await date.inputValue(), "");
  await page.getByRole("button", { name: "Fill in this day" }).click();
  assert.equal(await date.inputValue(), "2026-03-10");
  // Not kept so far: nobody has said so.
  await page.getByText(/Not kept so far: date 2026-03-10/).waitFor();
  assert.equal(await page.getByRole("heading", { level: 1, name: "week 8, 2026-03-10" }).count(), 0);
  await page.getByRole("button", { name: "Keep these facts" }).click();
  await page.getByRole("heading", { level: 1, name: "week 8, 2026-03-10" }).waitFor({ timeout: 60_000 });
  assert.equal(await page.getByText("The visit has no date.").count(), 0);
});

test("a stature that was forgotten is told later, and lengths are measured", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await go(page, "#/visits/new", "New visit");
  await page.getByRole("button", { name: "Make the visit" }).click();
  await page.getByText("No photos here").waitFor();
  await choose(page, "Add photos", [demo("intake", "side-right.jpg")]);
  await value(page, "craniovertebral_angle").waitFor({ timeout: 60_000 });
  assert.equal(await value(page, "head_forward_of_c7").count(), 0);
  // A page has no options.
  assert.doesNotMatch(await page.locator("main").innerText(), /--|visit\.json/);
  await page.getByRole("button", { name: "Facts", exact: true }).click();
  await page.getByLabel("Stature, in cm").fill("16");
  await page.getByRole("button", { name: "Keep these facts" }).click();
  await page.getByRole("alert").waitFor();
  await page.getByLabel("Stature, in cm").fill("164");
  await page.getByLabel("What the visit is called").fill("week 8");
  await page.getByRole("button", { name: "Keep these facts" }).click();
  await value(page, "head_forward_of_c7").waitFor({ timeout: 60_000 });
  await page.getByRole("heading", { level: 1, name: "week 8" }).waitFor();
  await page.getByText("Not saved", { exact: true }).waitFor();
  assert.equal(await page.locator("tr.moved").count(), 0);
});

test("on a phone a finger that scrolls moves no landmark; one that is tapped can be dragged", async (t) => {
  const { page } = await reviewed(t, { viewport: PHONE, hasTouch: true, isMobile: true });
  const first = await value(page, "craniovertebral_angle").textContent();
  const client = await page.context().newCDPSession(page);
  const touch = (type, ...touchPoints) => client.send("Input.dispatchTouchEvent", { type, touchPoints });
  const where = async () => {
    const box = await mark(page, "c7").locator(".dot").boundingBox();
    return { x: box.x + box.width / 2, y: box.y + box.height / 2 };
  };
  const swipe = async ({ x, y }) => {
    await touch("touchStart", { x, y });
    for (let step = 1; step <= 6; step += 1) await touch("touchMove", { x: x + 4 * step, y: y + 6 * step });
    await touch("touchEnd");
  };
  await mark(page, "c7").scrollIntoViewIfNeeded();
  await mark(page, "c7").evaluate((mark) => mark.scrollIntoView({ block: "center" }));
  const before = await where();
  await swipe(before);
  const panned = await where();
  assert.ok(panned.y > before.y + 20, "the photo follows the finger");
  await page.waitForTimeout(500);
  assert.equal(await value(page, "craniovertebral_angle").textContent(), first);
  assert.equal(await page.locator(".by-hand").count(), 0);

  const width = () => page.locator(".drawing").evaluate((drawing) => drawing.viewBox.baseVal.width);
  const wide = await width();
  await touch("touchStart", { ...panned, id: 0 }, { x: panned.x + 40, y: panned.y, id: 1 });
  await touch("touchMove", { ...panned, id: 0 }, { x: panned.x + 80, y: panned.y, id: 1 });
  await touch("touchEnd");
  assert.ok(await width() < wide, "two fingers zoom");
  assert.equal(await page.locator(".by-hand").count(), 0);

  const now = await where();
  await touch("touchStart", now);
  await touch("touchEnd");
  await page.locator('.mark.selected[data-landmark="c7"]').waitFor();
  assert.equal(await page.locator(".by-hand").count(), 0);
  await swipe(now);
  await otherThan(page, "craniovertebral_angle", first);
  await page.locator('.mark.by-hand[data-landmark="c7"]').waitFor();
});

test("Escape gives up a drag, and the landmark goes back to where it was", async (t) => {
  const { page } = await reviewed(t);
  const first = await value(page, "craniovertebral_angle").textContent();
  const box = await mark(page, "c7").locator(".dot").boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x + 30, y + 20, { steps: 8 });
  await otherThan(page, "craniovertebral_angle", first);
  await page.keyboard.press("Escape");
  await page.mouse.move(x + 60, y + 40, { steps: 4 });
  await page.mouse.up();
  await page.waitForFunction((first) =>
    document.querySelector('tr[data-measure="craniovertebral_angle"] td.value').textContent === first, first);
  assert.doesNotMatch(await mark(page, "c7").getAttribute("class"), /by-hand/);
  const back = await mark(page, "c7").locator(".dot").boundingBox();
  assert.ok(Math.hypot(back.x - box.x, back.y - box.y) < 1);
  assert.ok(await page.getByRole("button", { name: "Undo" }).isDisabled());
});

test("what the sign of a measure means is said beside it", async (t) => {
  const { page } = await reviewed(t);
  await page.getByRole("button", { name: "Standing, from the front" }).click();
  for (const [measure, words] of [["shoulder_tilt", /\+ is the left shoulder higher/], ["trunk_shift", /\+ is to the subject's left/]]) {
    await page.locator(`.measures tr[data-measure="${measure}"] th`).filter({ hasText: words }).first().waitFor();
  }
});
