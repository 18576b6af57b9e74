// Visits compared, and what goes on paper.

import assert from "node:assert/strict";
import { test } from "node:test";
import { demo, choose, go, launch, open, pagesOf, serve, toPhoto } from "./harness.js";

test("two visits are compared oldest first, and the report prints", async (t) => {
  const served = await serve(t, ["follow-up", "intake"]);
  const { page, complaints } = await open(t, await launch(t), served);
  await go(page, "#/compare", "Compare visits");
  assert.match(await page.locator(".order li").first().textContent(), /intake/);
  await page.getByRole("button", { name: "Compare", exact: true }).click();
  await page.getByRole("heading", { level: 1, name: "The comparison" }).waitFor({ timeout: 60_000 });
  const report = page.frameLocator("iframe.report");
  await report.getByRole("heading", { level: 1, name: /intake to follow-up/ }).waitFor();
  await page.locator("iframe.report").evaluate((frame) => {
    window.printed = [];
    window.print = () => window.printed.push("page");
    frame.contentWindow.print = () => window.printed.push("report");
  });
  const printed = () => page.evaluate(() => window.printed.splice(0));
  await page.getByRole("button", { name: "Print the report" }).click();
  assert.deepEqual(await printed(), ["report"]);
  // The keys for printing print the report too, wherever the focus is.
  await page.keyboard.press("Control+p");
  assert.deepEqual(await printed(), ["report"]);
  await report.getByRole("heading", { level: 1 }).click();
  await page.keyboard.press("Control+p");
  assert.deepEqual(await printed(), ["report"]);
  // Whoever prints the page by the browser's menu is told how to get the report.
  await page.emulateMedia({ media: "print" });
  assert.match(await page.locator("main").innerText(), /The report is not on this paper\. To print it, press “Print the report”/);
  assert.equal(await page.locator("iframe.report").isVisible(), false);
  assert.equal(pagesOf(await page.pdf({ format: "A4" })), 1);
  await page.emulateMedia({ media: null });
  const address = await page.locator("iframe.report").getAttribute("src");
  await page.goto(served.origin + address);
  const paper = await page.pdf({ format: "A4" });
  assert.ok(paper.length > 20_000);
  assert.ok(pagesOf(paper) > 1, "all of the report");
  assert.deepEqual(complaints, []);
});

test("the order is changed by keys, and one visit alone is not compared", async (t) => {
  const served = await serve(t, ["intake", "follow-up"]);
  const { page } = await open(t, await launch(t), served);
  await go(page, "#/compare", "Compare visits");
  await page.getByRole("button", { name: /Put intake.* later/ }).focus();
  await page.keyboard.press("Enter");
  assert.match(await page.locator(".order li").first().textContent(), /follow-up/);
  await page.getByRole("checkbox").first().uncheck();
  assert.ok(await page.getByRole("button", { name: "Compare", exact: true }).isDisabled());
});

test("the diary prints with its course and without its buttons", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await toPhoto(page);
  await choose(page, "Choose a photo", demo("intake", "side-reach.jpg"));
  await page.getByRole("button", { name: "Keep in my diary" }).click({ timeout: 60_000 });
  await page.getByRole("link", { name: "Open the diary" }).click();
  await page.locator(".course-drawing").waitFor();
  await page.emulateMedia({ media: "print" });
  assert.ok(await page.locator(".course-drawing").isVisible());
  assert.equal(await page.getByRole("button", { name: /^Remove/ }).count(), 0);
  assert.equal(await page.locator(".top").isVisible(), false);
  assert.match(await page.locator("footer").innerText(), /Stop at once/);
  // Where the file lies concerns nobody who is shown the paper.
  assert.doesNotMatch(await page.locator("body").innerText(), /diary\.json/);
  assert.ok((await page.pdf({ format: "A4" })).length > 5_000);
});

test("a review prints its measures, and no face", async (t) => {
  const served = await serve(t, ["intake"]);
  const { page } = await open(t, await launch(t), served);
  await go(page, "#/visits/v1", /intake/);
  await page.locator(".mark").first().waitFor();
  await page.emulateMedia({ media: "print" });
  assert.ok(await page.locator(".measures table").first().isVisible());
  for (const photo of await page.locator(".stage, .thumb").all()) assert.equal(await photo.isVisible(), false);
  const paper = () => page.locator("main").innerText();
  assert.match(await paper(), /Reaching, from the front front-reach\.jpg/);
  assert.doesNotMatch(await paper(), /Placed by hand|Not saved/);
  await page.emulateMedia({ media: "screen" });
  await page.getByRole("button", { name: /Standing, from the right side/ }).click();
  await page.locator('[data-landmark="c7"]').focus();
  await page.keyboard.press("Shift+ArrowLeft");
  await page.locator('.mark.by-hand[data-landmark="c7"]').waitFor();
  await page.emulateMedia({ media: "print" });
  assert.match(await paper(), /Standing, from the right side side-right\.jpg/);
  assert.match(await paper(), /Placed by hand: C7 \(side-right\.jpg\)\./);
  assert.match(await paper(), /Not saved: the visit's record does not hold these numbers so far\./);
});
