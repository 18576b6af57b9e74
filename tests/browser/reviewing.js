// What tests of a visit under review have in common.

import { go, launch, open, serve } from "./harness.js";

export const mark = (page, name) => page.locator(`[data-landmark="${name}"]`);
export const value = (page, measure) => page.locator(`.measures tr[data-measure="${measure}"] td.value`).first();
export const SIDE = /Standing, from the right side/;

export async function review(page, photo = SIDE) {
  await go(page, "#/visits/v1", /intake/);
  await page.getByRole("button", { name: photo }).click();
  await mark(page, "c7").waitFor();
}

/** Waits for the measure to read otherwise and to have come to rest, and says how it reads. */
export async function otherThan(page, measure, before) {
  await page.evaluate(() => delete window.lastValue);
  await page.waitForFunction(([measure, before]) => {
    const now = document.querySelector(`.measures tr[data-measure="${measure}"] td.value`)?.textContent;
    const rested = window.lastValue === now;
    window.lastValue = now;
    return now !== before && rested;
  }, [measure, before], { polling: 400 });
  return value(page, measure).textContent();
}

export async function drag(page, name, dx, dy) {
  const box = await mark(page, name).locator(".dot").boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x + dx, y + dy, { steps: 8 });
  await page.locator(".loupe:not([hidden])").waitFor();
  await page.mouse.up();
}

export async function newVisit(page) {
  await go(page, "#/visits/new", "New visit");
  await page.getByLabel("What the visit is called").fill("week 8");
  await page.getByLabel("Date").fill("2026-05-05");
  await page.getByLabel("Stature, in cm").fill("164");
  await page.getByLabel("Right", { exact: true }).check();
  await page.getByRole("button", { name: "Make the visit" }).click();
  await page.getByRole("heading", { level: 1, name: "week 8, 2026-05-05" }).waitFor();
}

export async function reviewed(t, options) {
  const served = await serve(t, ["intake", "follow-up"]);
  const browser = await launch(t);
  const opened = await open(t, browser, served, options);
  await review(opened.page);
  return { served, browser, ...opened };
}
