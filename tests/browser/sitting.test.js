// What a review holds while another screen is looked at, and what is asked before it would be lost.

import assert from "node:assert/strict";
import { test } from "node:test";
import { choose, demo, go, launch, leavingAsks, open, serve } from "./harness.js";
import { SIDE, drag, mark, newVisit, otherThan, review, reviewed, value } from "./reviewing.js";

test("who comes back from another screen can undo, and sees what was before", async (t) => {
  const { page } = await reviewed(t);
  const first = await value(page, "craniovertebral_angle").textContent();
  await drag(page, "c7", 30, 20);
  const moved = await otherThan(page, "craniovertebral_angle", first);
  await go(page, "#/compare", "Compare visits");
  await page.getByRole("listitem").filter({ hasText: "intake" }).getByText("not saved").waitFor();
  assert.equal(await page.getByRole("listitem").filter({ hasText: "follow-up" }).getByText("not saved").count(), 0);
  assert.ok(await leavingAsks(page), "an unsaved visit is asked about on every screen");
  await go(page, "#/visits/v1", /intake/);
  await page.getByRole("button", { name: SIDE }).click();
  assert.equal(await value(page, "craniovertebral_angle").textContent(), moved);
  assert.equal(await page.locator('tr[data-measure="craniovertebral_angle"] td.before').first().textContent(), first);
  await page.getByRole("button", { name: "Undo" }).click();
  assert.equal(await otherThan(page, "craniovertebral_angle", moved), first);
  await page.getByRole("button", { name: "Redo" }).click();
  await otherThan(page, "craniovertebral_angle", first);
  await page.getByRole("button", { name: "Save to the record" }).click();
  await page.getByText("Nothing unsaved").waitFor();
  assert.equal(await leavingAsks(page), false);
  await go(page, "#/compare", "Compare visits");
  assert.equal(await page.getByText("not saved", { exact: true }).count(), 0);
});

test("what another window moved meanwhile is not undone by who comes back", async (t) => {
  const { page, context, served } = await reviewed(t);
  const first = await value(page, "craniovertebral_angle").textContent();
  await drag(page, "c7", 30, 20);
  await otherThan(page, "craniovertebral_angle", first);
  await go(page, "#/visits", "Visits");
  const other = await context.newPage();
  await other.goto(`${served.origin}/`);
  await other.getByRole("heading", { level: 1 }).waitFor();
  await review(other);
  await mark(other, "c7").focus();
  const known = await value(other, "craniovertebral_angle").textContent();
  await other.keyboard.press("Shift+ArrowDown");
  const latest = await otherThan(other, "craniovertebral_angle", known);
  await page.bringToFront();
  await review(page);
  assert.equal(await value(page, "craniovertebral_angle").textContent(), latest);
  assert.ok(await page.getByRole("button", { name: "Undo" }).isDisabled());
  assert.equal(await page.locator("tr.moved").count(), 0);
});

test("the browser asks before an unsaved visit is closed", async (t) => {
  const { page, context, served } = await reviewed(t);
  await drag(page, "c7", 20, 10);
  await page.getByText("Not saved", { exact: true }).waitFor();
  // A page that is loaded later knows of it too.
  const later = await context.newPage();
  const told = later.waitForResponse(/\/api\/visits$/);
  await later.goto(`${served.origin}/`);
  await (await told).finished();
  await later.getByRole("heading", { level: 1 }).waitFor();
  assert.ok(await leavingAsks(later));
  await go(page, "#/", /Posture/);
  const asked = page.waitForEvent("dialog");
  await page.close({ runBeforeUnload: true });
  const dialog = await asked;
  assert.equal(dialog.type(), "beforeunload");
  await dialog.dismiss();
});

test("facts that were typed and not kept are there again", async (t) => {
  const { page, context, served } = await reviewed(t);
  await page.getByRole("button", { name: "Facts", exact: true }).click();
  const limit = page.getByLabel("Limit for raising the arm, in degrees");
  await limit.fill("90");
  await page.getByText("Not kept so far: limit 90° (kept: none).").waitFor();
  assert.ok(await leavingAsks(page));
  await go(page, "#/visits", "Visits");
  await go(page, "#/visits/v1", /intake/);
  assert.equal(await limit.inputValue(), "90");
  // Another window keeps one first: both are told, and none is lost.
  const other = await context.newPage();
  await other.goto(`${served.origin}/`);
  await other.getByRole("heading", { level: 1 }).waitFor();
  await review(other);
  await other.getByRole("button", { name: "Facts", exact: true }).click();
  await other.getByLabel("Limit for raising the arm, in degrees").fill("70");
  await other.getByRole("button", { name: "Keep these facts" }).click();
  await other.getByText("The facts are kept").first().waitFor();
  await page.bringToFront();
  await page.getByRole("button", { name: "Keep these facts" }).click();
  await page.getByRole("alert").waitFor();
  await page.getByText("Not kept so far: limit 90° (kept: 70°).").waitFor();
  await page.getByRole("button", { name: "Cancel" }).click();
  assert.ok(await limit.isHidden());
  await page.getByRole("button", { name: "Facts", exact: true }).click();
  assert.equal(await limit.inputValue(), "70");
});

test("photos go on being added while another screen is looked at", async (t) => {
  const served = await serve(t);
  const { page } = await open(t, await launch(t), served);
  await newVisit(page);
  await choose(page, "Add photos", ["side-right.jpg", "side-left.jpg", "front.jpg"].map((file) => demo("intake", file)));
  await page.getByText(/Looking at side-right\.jpg, 1 of 3/).first().waitFor();
  await go(page, "#/visits", "Visits");
  await go(page, "#/visits/v1", /week 8/);
  await page.getByText("3 photos added.").first().waitFor({ timeout: 120_000 });
  assert.equal(await page.locator(".thumb").count(), 3);
  await go(page, "#/visits", "Visits");
  await page.locator(".visit").getByText("3 photos").waitFor();
});
