// The check of a reach at home, from the cautions to the diary.

import assert from "node:assert/strict";
import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { test } from "node:test";
import { CASES, demo, choose, clipOf, go, launch, leavingAsks, open, scratch, serve, toPhoto } from "./harness.js";

const REACH = demo("intake", "side-reach.jpg");
const answers = (page) => page.locator(".answer");

async function check(page, photo) {
  await choose(page, "Choose a photo", photo);
  await answers(page).first().waitFor({ timeout: 60_000 });
}

async function keepFacts(page, { side, limit = "", stature = "" }) {
  await go(page, "#/person", "About you");
  if (side) await page.getByLabel(side, { exact: true }).check();
  await page.getByLabel(/limit for raising/i).fill(limit);
  await page.getByLabel(/How tall/).fill(stature);
  await page.getByRole("button", { name: "Keep this" }).click();
  await page.locator(".done").waitFor();
}

test("the camera's photo is answered in words, not mirrored, and kept in the diary", async (t) => {
  const served = await serve(t);
  const browser = await launch(t, { clip: clipOf(REACH, scratch(t)) });
  const { page, complaints } = await open(t, browser, served);
  await toPhoto(page);
  await page.getByRole("link", { name: "Use the camera" }).click();
  await page.locator("video.mirrored").waitFor();
  await page.getByLabel("5 s", { exact: true }).check();
  await page.getByRole("button", { name: "Start the countdown" }).click();
  await page.getByText("Now raise your arm, only as far as is comfortable.").waitFor();
  await answers(page).first().waitFor({ timeout: 60_000 });
  // A mirrored photo would show the left arm.
  assert.match(await answers(page).first().textContent(), /^Your right arm is raised above shoulder height\./);
  assert.ok(await page.locator("img.picture").evaluate((img) => img.decode().then(() => img.naturalWidth > 100)));
  assert.doesNotMatch(await page.locator("main").innerText(), /selfie/);
  await page.getByText("If the wrong arm is named here, do not use this answer.").waitFor();
  assert.equal(await page.locator("details").evaluate((details) => details.open), false);
  await page.getByLabel("A note for the diary, if you like").fill("after breakfast");
  await page.getByRole("button", { name: "Keep in my diary" }).click();
  await page.getByRole("link", { name: "Open the diary" }).click();
  await page.getByText("after breakfast").waitFor();
  assert.match(await page.locator(".course-drawing").first().getAttribute("aria-label"), /Right arm: .* 1\d\d/);
  assert.deepEqual(complaints, []);
});

test("a countdown can be stopped, and takes no photo then", async (t) => {
  const served = await serve(t);
  const browser = await launch(t, { clip: clipOf(REACH, scratch(t)) });
  const { page } = await open(t, browser, served);
  await toPhoto(page);
  await page.getByRole("link", { name: "Use the camera" }).click();
  await page.getByLabel("5 s", { exact: true }).check();
  const sent = [];
  page.on("request", (request) => request.url().includes("/api/checks") && sent.push(request.url()));
  await page.getByRole("button", { name: "Start the countdown" }).click();
  await page.waitForTimeout(1200);
  await page.keyboard.press("Escape");
  await page.getByText("Stopped. You can lower your arm.").waitFor();
  await page.waitForTimeout(5000);
  assert.deepEqual(sent, []);
});

test("a running camera is told what is wrong with the framing", async (t) => {
  const served = await serve(t);
  const browser = await launch(t, { clip: clipOf(join(CASES, "empty-room.jpg"), scratch(t)) });
  const { page } = await open(t, browser, served);
  await toPhoto(page);
  await page.getByRole("link", { name: "Use the camera" }).click();
  await page.locator(".framing:not(:empty)").waitFor({ timeout: 60_000 });
  assert.match(await page.locator(".framing").textContent(), /nobody|no one|seen/i);
});

test("the camera is let go when the page is left", async (t) => {
  const served = await serve(t);
  const browser = await launch(t, { clip: clipOf(REACH, scratch(t)) });
  const { page } = await open(t, browser, served);
  await page.evaluate(() => {
    const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
    navigator.mediaDevices.getUserMedia = async (wish) => (window.stream = await real(wish));
  });
  await toPhoto(page);
  await page.getByRole("link", { name: "Use the camera" }).click();
  await page.locator("video").waitFor();
  await go(page, "#/", /Posture/);
  assert.equal(await page.evaluate(() => window.stream.getTracks().every((track) => track.readyState === "ended")), true);
});

for (const [camera, words] of [["refused", /not allowed/], ["absent", /No camera was found/]]) {
  test(`where the camera is ${camera}, a file is the way on`, async (t) => {
    const served = await serve(t);
    const clip = camera === "refused" ? clipOf(REACH, scratch(t)) : undefined;
    const { page } = await open(t, await launch(t, { clip, camera }), served);
    await toPhoto(page);
    await page.getByRole("link", { name: "Use the camera" }).click();
    await page.getByRole("heading", { level: 1, name: "The camera can't be used" }).waitFor();
    assert.match(await page.title(), /The camera can't be used/);
    assert.match(await page.getByRole("alert").textContent(), words);
    await choose(page, "Choose a photo instead", REACH);
    await answers(page).first().waitFor({ timeout: 60_000 });
    assert.match(await answers(page).first().textContent(), /^Your right arm/);
  });
}

test("nobody gets past the cautions by the address", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  for (const hash of ["#/check/view", "#/check/photo/side", "#/check/camera/side", "#/check/answer"]) {
    await go(page, hash, "Before you begin");
  }
  await toPhoto(page);
  // Once a sitting is enough.
  await go(page, "#/", /Posture/);
  await go(page, "#/check/photo/front", /Take the photo/);
});

test("above the limit it says stop first and biggest, and offers no further photo", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await keepFacts(page, { side: "Right", limit: "80" });
  await toPhoto(page);
  await check(page, REACH);
  const heading = page.getByRole("heading", { level: 1, name: "Stop here. Your right arm was above your limit of 80°." });
  await heading.waitFor();
  const [biggest, top] = await heading.evaluate((h1) => {
    const size = (element) => parseFloat(getComputedStyle(element).fontSize);
    const others = [...document.querySelectorAll("main *")].filter((element) => element !== h1 && element.textContent.trim() && element.checkVisibility());
    return [others.every((other) => size(other) < size(h1)),
      others.every((other) => other.contains(h1) || other.getBoundingClientRect().top >= h1.getBoundingClientRect().top)];
  });
  assert.ok(biggest && top);
  assert.match(await answers(page).first().textContent(), /^Don't raise it that high again/);
  assert.match(await answers(page).nth(1).textContent(), /^Your right arm is raised above shoulder height/);
  assert.equal((await page.locator("main").innerText()).match(/Stop here/g).length, 1);
  assert.equal(await page.getByRole("link", { name: /another photo/i }).count(), 0);
  await page.getByRole("button", { name: "Keep in my diary" }).click();
  // The entry names the limit of then, whatever is kept later.
  await keepFacts(page, { limit: "120" });
  await go(page, "#/diary", "Your diary");
  await page.getByText("above the limit of 80°").waitFor();
  await page.getByText("limit now, right arm: 120°").waitFor();
});

test("the person's facts are kept, and used", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await keepFacts(page, { side: "Right", limit: "170", stature: "164" });
  await page.reload();
  await page.getByRole("heading", { level: 1, name: "About you" }).waitFor();
  assert.equal(await page.getByLabel(/limit for raising/i).inputValue(), "170");
  assert.ok(await page.getByLabel("Right", { exact: true }).isChecked());
  await toPhoto(page);
  await check(page, REACH);
  assert.match(await answers(page).first().textContent(), /by about \d+ cm/);
  await page.getByText("The numbers, for your therapist").click();
  await page.getByText(/right flexion 10\d ± \d+°/).waitFor();
});

test("a limit that was typed and not kept is there again, and is kept before a photo is checked", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  const limit = page.getByLabel(/limit for raising/i);
  await toPhoto(page);
  await go(page, "#/person", "About you");
  await limit.fill("80");
  await page.getByText("Not kept so far: limit 80° (kept: none).").waitFor();
  assert.ok(await leavingAsks(page));
  await go(page, "#/diary", "Your diary");
  assert.ok(await leavingAsks(page));
  await go(page, "#/person", "About you");
  assert.equal(await limit.inputValue(), "80");
  for (const hash of ["#/check/view", "#/check/camera/side", "#/check/photo/side"]) {
    await go(page, hash, "Keep what you typed?");
    assert.equal(await page.locator("input[type=file], video").count(), 0);
  }
  await page.getByText("limit 80° (kept: none)").waitFor();
  await page.getByRole("button", { name: "Keep it" }).click();
  await page.getByRole("heading", { level: 1, name: /Take the photo/ }).waitFor();
  assert.equal(await leavingAsks(page), false);
  await check(page, REACH);
  await page.getByRole("heading", { level: 1, name: /above your limit of 80°/ }).waitFor();
});

test("what was typed and not kept can be dropped, on its page and before a photo", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await keepFacts(page, { side: "Left", limit: "95" });
  const limit = page.getByLabel(/limit for raising/i);
  await limit.fill("100");
  await page.getByLabel("Right", { exact: true }).check();
  await page.getByText("Not kept so far: side of the surgery right (kept: left); limit 100° (kept: 95°).").waitFor();
  await page.getByRole("button", { name: "Drop what I typed" }).click();
  assert.equal(await limit.inputValue(), "95");
  assert.ok(await page.getByLabel("Left", { exact: true }).isChecked());
  assert.equal(await leavingAsks(page), false);
  await limit.fill("100");
  await toPhotoPast(page, "Drop it");
  await page.getByText("Your limit for your left arm is 95°: above shoulder height.").waitFor();
  await go(page, "#/person", "About you");
  assert.equal(await limit.inputValue(), "95");
  // What can't be kept says so, and is not lost.
  await limit.fill("800");
  await go(page, "#/check/photo/side", "Keep what you typed?");
  await page.getByRole("button", { name: "Keep it" }).click();
  await page.getByRole("alert").waitFor();
  await page.getByRole("link", { name: /Change it under/ }).click();
  await page.getByRole("heading", { level: 1, name: "About you" }).waitFor();
  assert.equal(await limit.inputValue(), "800");
});

async function toPhotoPast(page, answer) {
  await go(page, "#/check", "Before you begin");
  await page.getByRole("button", { name: "I have read this" }).click();
  await page.getByRole("button", { name: answer }).click();
  await page.getByRole("link", { name: /From the side/ }).click();
  await page.getByRole("heading", { level: 1, name: /Take the photo/ }).waitFor();
}

test("the limit is told wherever an arm may be raised next, and during the countdown", async (t) => {
  const served = await serve(t);
  const browser = await launch(t, { clip: clipOf(demo("intake", "front-reach.jpg"), scratch(t)) });
  const { page } = await open(t, browser, served);
  await toPhoto(page);
  await page.getByText("No limit is kept here.").waitFor();
  await keepFacts(page, { limit: "90" });
  const limit = page.getByText("Your limit for both arms is 90°: shoulder height.");
  for (const [hash, heading] of [["#/check/view", /How will/], ["#/check/photo/front", /Take the photo/], ["#/check/camera/front", /Step into/]]) {
    await go(page, hash, heading);
    await limit.waitFor();
  }
  assert.deepEqual(await page.locator("input[name=count]").evaluateAll((all) => all.map(({ value, checked }) => [value, checked])),
    [["5", false], ["10", true], ["20", false]]);
  // From the front two arms are raised.
  await page.getByLabel("5 s", { exact: true }).check();
  await page.getByRole("button", { name: "Start the countdown" }).click();
  await page.getByText("Arms down, stand at ease.").waitFor();
  assert.ok(await limit.isVisible());
  await page.getByText("Now raise your arms, only as far as is comfortable.").waitFor();
  await page.getByRole("heading", { level: 1, name: "You can lower your arms" }).waitFor();
});

test("nobody who chose a file is told to lower an arm", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await toPhoto(page);
  let release;
  const held = new Promise((resolve) => { release = resolve; });
  await page.route("**/api/checks*", async (route) => {
    await held;
    await route.continue();
  });
  await choose(page, "Choose a photo", REACH);
  await page.getByRole("heading", { level: 1, name: "Looking at the photo" }).waitFor();
  assert.doesNotMatch(await page.locator("main").innerText(), /You can lower/);
  release();
  await answers(page).first().waitFor({ timeout: 60_000 });
  // Where a file comes from nobody knows: it may be mirrored.
  await page.getByText(/selfie camera/).waitFor();
});

test("an ear that is told in parts says of what", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await toPhoto(page);
  await check(page, REACH);
  await page.getByRole("button", { name: "Keep in my diary" }).click();
  await page.getByRole("link", { name: "Open the diary" }).click();
  await page.getByText(/to the ear [−\d.]+ ± [\d.]+ % of the upper arm/).waitFor();
});

test("facts that can't be are refused with what to do", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await go(page, "#/person", "About you");
  await page.getByLabel(/How tall/).fill("20");
  await page.getByRole("button", { name: "Keep this" }).click();
  const alert = page.getByRole("alert");
  await alert.waitFor();
  assert.ok((await alert.locator("p").count()) === 2, "a sentence and a hint");
});

test("a second check tells the way since the last one, and the diary forgets what is removed", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await toPhoto(page);
  await check(page, REACH);
  assert.equal(await page.locator(".since").count(), 0);
  await page.getByRole("button", { name: "Keep in my diary" }).click();
  await page.getByText("Kept in your diary.", { exact: false }).first().waitFor();
  await page.getByRole("link", { name: "Another photo" }).click();
  await check(page, REACH);
  assert.match(await page.locator(".since").first().textContent(), /about as high as .* as far as two photos can tell/);
  await page.getByRole("button", { name: "Keep in my diary" }).click();
  await page.getByRole("link", { name: "Open the diary" }).click();
  const removers = page.getByRole("button", { name: /^Remove the entry/ });
  await removers.first().waitFor();
  const before = await removers.count();
  await removers.first().click();
  await page.getByRole("button", { name: "Keep it" }).click();
  assert.equal(await removers.count(), before);
  await removers.first().click();
  await page.getByRole("button", { name: "Remove it" }).click();
  await page.waitForFunction((count) => document.querySelectorAll(".entries > li").length === count, before - 1);
});

test("a photo without a person, and a file that is no photo, say what to do", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await toPhoto(page);
  await check(page, join(CASES, "empty-room.jpg"));
  await page.getByText(/Nobody was found/).waitFor();
  await page.getByRole("link", { name: "Choose or take another photo" }).click();
  const broken = join(scratch(t), "broken.jpg");
  writeFileSync(broken, "this is no photo");
  await choose(page, "Choose a photo", broken);
  await page.getByRole("heading", { level: 1, name: "This photo could not be read" }).waitFor();
  assert.ok((await page.getByRole("alert").locator("p").count()) === 2, "a sentence and a hint");
});

test("no word on the way urges on", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t, { clip: clipOf(REACH, scratch(t)) }), served);
  const seen = [];
  const read = async () => seen.push(await page.locator("body").innerText());
  await read();
  await toPhoto(page);
  await read();
  await check(page, REACH);
  await read();
  await go(page, "#/check/camera/side", "Step into the picture");
  await read();
  await go(page, "#/diary", "Your diary");
  await read();
  for (const words of seen) assert.doesNotMatch(words, /\b(higher|further|try|almost|keep going|yet|still|harder|well done|great)\b/i);
});

test("nothing of the person is kept in the browser", async (t) => {
  const served = await serve(t);
  const { page, context } = await open(t, await launch(t), served);
  await keepFacts(page, { side: "Left", limit: "95" });
  await toPhoto(page);
  await check(page, REACH);
  const stored = await page.evaluate(async () => [localStorage.length, sessionStorage.length, (await indexedDB.databases()).length, document.cookie]);
  assert.deepEqual(stored, [0, 0, 0, ""]);
  assert.ok((await context.cookies()).every(({ httpOnly, sameSite, expires }) => httpOnly && sameSite === "Strict" && expires === -1));
});
