// What holds on every screen: no grave fault of access, no sideways scrolling, targets large
// enough, nothing asked of anybody outside, the content policy.

import assert from "node:assert/strict";
import { join } from "node:path";
import { test } from "node:test";
import { CASES, demo, DESKTOP, PHONE, choose, clipOf, go, launch, open, scratch, serve, toPhoto } from "./harness.js";
import { graveFaults, tooSmall, tooWide } from "./looks.js";

const REACH = demo("intake", "side-reach.jpg");

async function answer(page, photo) {
  await go(page, "#/check/photo/side", /Take the photo/);
  await choose(page, "Choose a photo", photo);
  await page.locator(".answer").first().waitFor({ timeout: 60_000 });
}

/** Goes through every screen, and stops at each. */
async function everyScreen(page, look) {
  const stop = async (screen) => {
    // What a script failed to put into words.
    const words = await page.locator("main").innerText();
    assert.doesNotMatch(words, /\[object|\b(null|undefined|NaN)\b/, screen);
    await look(screen, page.frames().length);
  };
  await stop("start");
  await go(page, "#/person", "About you");
  await stop("person");
  await page.getByLabel(/How tall/).fill("3");
  await page.getByRole("button", { name: "Keep this" }).click();
  await page.getByRole("alert").waitFor();
  await stop("person refused");
  await page.getByLabel(/How tall/).fill("164");
  await page.getByLabel("Right", { exact: true }).check();
  await page.getByLabel(/limit for raising/i).fill("80");
  await page.getByRole("button", { name: "Keep this" }).click();
  await page.locator(".done").waitFor();
  await stop("person kept");
  await go(page, "#/diary", "Your diary");
  await stop("empty diary");
  await go(page, "#/check", "Before you begin");
  await stop("cautions");
  await page.getByRole("button", { name: "I have read this" }).click();
  await page.getByRole("heading", { name: "How will the camera see you?" }).waitFor();
  await stop("view");
  await go(page, "#/check/photo/side", /Take the photo/);
  await stop("photo");
  await go(page, "#/check/camera/side", "Step into the picture");
  await page.waitForFunction(() => document.querySelector("video").videoWidth > 0);
  await stop("camera");
  await go(page, "#/person", "About you");
  await page.getByLabel(/limit for raising/i).fill("85");
  await stop("person unkept");
  await go(page, "#/check/photo/side", "Keep what you typed?");
  await stop("unkept asked");
  await page.getByRole("button", { name: "Drop it" }).click();
  await page.getByRole("heading", { level: 1, name: /Take the photo/ }).waitFor();
  await answer(page, REACH);
  await stop("above the limit");
  await page.getByRole("button", { name: "Keep in my diary" }).click();
  await page.getByRole("link", { name: "Open the diary" }).waitFor();
  await answer(page, join(CASES, "empty-room.jpg"));
  await stop("nobody");
  await go(page, "#/diary", "Your diary");
  await page.locator(".course-drawing").waitFor();
  await stop("diary");
  await go(page, "#/visits", "Visits");
  await stop("visits");
  await go(page, "#/visits/new", "New visit");
  await stop("new visit");
  await go(page, "#/visits/v1", /intake/);
  await page.locator(".mark").first().waitFor();
  await stop("review");
  await page.getByRole("button", { name: /Standing, from the right side/ }).click();
  await page.locator('[data-landmark="c7"]').focus();
  await page.keyboard.press("Shift+ArrowLeft");
  await page.locator('.mark.by-hand[data-landmark="c7"]').waitFor();
  await page.locator("tr.moved").first().waitFor();
  await stop("review, moved");
  await page.getByRole("button", { name: "Facts", exact: true }).click();
  await page.getByLabel("Limit for raising the arm, in degrees").fill("120");
  await stop("facts of the visit");
  await go(page, "#/case", "No case is open");
  await stop("no case");
  await go(page, "#/compare", "Compare visits");
  await stop("compare");
  await page.getByRole("button", { name: "Compare", exact: true }).click();
  await page.getByRole("heading", { level: 1, name: "The comparison" }).waitFor({ timeout: 60_000 });
  await page.frameLocator("iframe.report").getByRole("heading", { level: 1 }).waitFor();
  await stop("report");
  await go(page, "#/visits/v77", "This could not be opened");
  await stop("no such visit");
  await go(page, "#/compare/k77", "This could not be opened");
  await go(page, "#/nowhere", "There is no such page");
  await stop("no such page");
}

const SMALL_PHONE = { width: 360, height: 740 };
const LOOKS = [
  ["desktop, light", { viewport: DESKTOP, colorScheme: "light" }],
  ["desktop, dark", { viewport: DESKTOP, colorScheme: "dark" }],
  ["phone, light", { viewport: PHONE, colorScheme: "light", reducedMotion: "reduce" }],
  ["small phone, dark", { viewport: SMALL_PHONE, colorScheme: "dark" }],
];

for (const [look, options] of LOOKS) {
  test(`every screen on a ${look}`, { timeout: 300_000 }, async (t) => {
    const served = await serve(t, ["intake", "follow-up"]);
    const browser = await launch(t, { clip: clipOf(REACH, scratch(t)) });
    const { page, outside, complaints } = await open(t, browser, served, options);
    const faults = [];
    let screens = 0;
    let frames = 0;
    await everyScreen(page, async (name, framesHere) => {
      screens += 1;
      frames += framesHere;
      faults.push(...(await page.evaluate(tooWide)).map((fault) => `${name}: ${fault}`));
      faults.push(...(await page.evaluate(tooSmall)).map((fault) => `${name}: ${fault}`));
      faults.push(...(await graveFaults(page)).map((fault) => `${name}: ${fault}`));
      const headings = await page.locator("main :is(h1, h2, h3, h4):visible").evaluateAll((all) => all.map((h) => Number(h.tagName[1])));
      headings.reduce((before, now) => {
        if (now > before + 1) faults.push(`${name}: a heading of level ${now} after one of ${before}`);
        return now;
      }, 0);
      if (headings.filter((level) => level === 1).length !== 1) faults.push(`${name}: not one h1`);
    });
    assert.ok(screens >= 20, `${screens} screens`);
    assert.equal(frames, screens + 1, "the report was looked at too");
    assert.deepEqual(faults, []);
    assert.deepEqual(outside, []);
    assert.deepEqual(complaints, []);
  });
}

test("the content policy holds", async (t) => {
  const served = await serve(t);
  const { page, outside } = await open(t, await launch(t), served);
  const { ran, violated } = await page.evaluate(async () => {
    // That nothing arrived would also be so where the network is cut off: the policy has to say no.
    const violated = [];
    document.addEventListener("securitypolicyviolation", ({ effectiveDirective }) => violated.push(effectiveDirective));
    const script = document.createElement("script");
    script.textContent = "window.inlineRan = true";
    document.body.append(script);
    const styled = document.createElement("p");
    styled.setAttribute("style", "width: 7px");
    document.body.append(styled);
    document.body.append(Object.assign(new Image(), { src: "https://example.org/picture.png" }));
    await fetch("https://example.org/").catch(() => {});
    await new Promise((resolve) => setTimeout(resolve, 100));
    return { ran: { inline: window.inlineRan === true, style: getComputedStyle(styled).width === "7px" }, violated };
  });
  assert.deepEqual(ran, { inline: false, style: false });
  assert.deepEqual(violated.sort(), ["connect-src", "img-src", "script-src-elem", "style-src-attr"]);
  assert.deepEqual(outside, []);
});

test("a check goes by keys alone", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  page.on("filechooser", (chooser) => chooser.setFiles(REACH));
  /** Tabs to what has that name. */
  const tabTo = async (name) => {
    for (let presses = 0; presses < 40; presses += 1) {
      await page.keyboard.press("Tab");
      const here = await page.evaluate(() => {
        const { activeElement } = document;
        return activeElement.matches("a, button, summary") ? activeElement.innerText.trim() : "";
      });
      if (name.test(here)) return;
    }
    assert.fail(`Tab does not lead to ${name}`);
  };
  await tabTo(/Skip to the content/);
  await page.keyboard.press("Enter");
  assert.equal(await page.evaluate(() => document.activeElement.id), "main");
  await tabTo(/Check a reach/);
  await page.keyboard.press("Enter");
  await page.getByRole("heading", { level: 1, name: "Before you begin" }).waitFor();
  assert.equal(await page.evaluate(() => document.activeElement.tagName), "H1");
  await tabTo(/I have read this/);
  await page.keyboard.press("Enter");
  await page.getByRole("heading", { level: 1, name: "How will the camera see you?" }).waitFor();
  await tabTo(/From the side/);
  await page.keyboard.press("Enter");
  await page.getByRole("heading", { level: 1, name: /Take the photo/ }).waitFor();
  await tabTo(/Choose a photo/);
  await page.keyboard.press("Enter");
  await page.getByRole("heading", { level: 1, name: "What the photo shows" }).waitFor({ timeout: 60_000 });
  await tabTo(/Keep in my diary/);
  await page.keyboard.press("Enter");
  await page.getByRole("link", { name: "Open the diary" }).waitFor();
  assert.match(await page.evaluate(() => document.activeElement.innerText), /Open the diary/);
});

test("whoever presses is shown where the focus is", async (t) => {
  const served = await serve(t, ["intake"]);
  const { page } = await open(t, await launch(t), served);
  await go(page, "#/visits/v1", /intake/);
  const dark = [];
  for (let presses = 0; presses < 25; presses += 1) {
    await page.keyboard.press("Tab");
    const seen = await page.evaluate(() => {
      const { activeElement } = document;
      // After the last one the focus goes to the browser.
      if (activeElement === document.body) return { seen: true };
      const halo = activeElement.querySelector?.(".halo");
      const outlined = parseFloat(getComputedStyle(activeElement).outlineWidth) >= 2 && getComputedStyle(activeElement).outlineStyle !== "none";
      return { seen: outlined || (halo && getComputedStyle(halo).stroke !== "none"), what: activeElement.outerHTML.slice(0, 80) };
    });
    if (!seen.seen) dark.push(seen.what);
  }
  assert.deepEqual(dark, []);
});
