// Visits compared, and what goes on paper.

import assert from "node:assert/strict";
import { test } from "node:test";
import { demo, choose, go, launch, open, serve, toPhoto } from "./harness.js";

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
    frame.contentWindow.print = () => { document.body.dataset.printed = "yes"; };
  });
  await page.getByRole("button", { name: "Print the report" }).click();
  assert.equal(await page.locator("body").getAttribute("data-printed"), "yes");
  const address = await page.locator("iframe.report").getAttribute("src");
  await page.goto(served.origin + address);
  assert.ok((await page.pdf({ format: "A4" })).length > 20_000);
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
});
