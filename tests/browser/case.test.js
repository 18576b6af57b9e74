// A case on the page: screening by keys, a hold, the plan, its approval, the sheet for home.

import assert from "node:assert/strict";
import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { test } from "node:test";
import { choose, demo, DESKTOP, go, launch, leavingAsks, open, PHONE, pagesOf, serveCase } from "./harness.js";
import { graveFaults, tooSmall, tooWide } from "./looks.js";

const kept = (page) => page.getByRole("heading", { level: 1, name: /^Plan for demo-01/ });

async function screening(page) {
  await go(page, "#/case/screening", /^Screening of demo-01/);
  return page.locator("form.screening");
}

/** Goes through the form by keys alone; of each question without an answer the first, but what `other` says. */
async function answerByKeys(page, other = {}) {
  await page.locator("h1").focus();
  for (let presses = 0; presses < 120; presses += 1) {
    await page.keyboard.press("Tab");
    const here = await page.evaluate(() => {
      const { activeElement: at } = document;
      return { kind: at.type ?? at.tagName, name: at.name, checked: at.checked, words: at.innerText };
    });
    if (here.kind === "radio" && here.name in other) {
      await page.keyboard.press("Space");
      for (let step = 0; step < other[here.name]; step += 1) await page.keyboard.press("ArrowDown");
    } else if (here.kind === "radio" && !here.checked) {
      await page.keyboard.press("Space");
    } else if (/Keep the screening/.test(here.words ?? "")) {
      await page.keyboard.press("Enter");
      return;
    }
  }
  assert.fail("Tab does not lead to the end of the form");
}

const proposed = (page) => page.getByRole("heading", { level: 2, name: "The proposal" }).waitFor({ timeout: 120_000 });

test("screened by keys, stopped by a hold, then planned, approved and printed", { timeout: 300_000 }, async (t) => {
  const served = await serveCase(t);
  const { page, outside, complaints } = await open(t, await launch(t), served);
  await go(page, "#/case", "Case demo-01");
  await page.getByRole("link", { name: "Screen today" }).click();
  await page.getByRole("heading", { level: 1, name: /^Screening of demo-01/ }).waitFor();
  // Nothing is chosen where an answer can stop everything; the rest is as it was answered last.
  const chosen = (name) => page.locator(`input[name="${name}"]:checked`).count();
  for (const name of ["legs_or_chest", "fever", "wound", "swelling", "pain", "metastases"]) assert.equal(await chosen(name), 0, name);
  for (const name of ["surgery", "axilla", "operated_side"]) assert.equal(await chosen(name), 1, name);
  await answerByKeys(page, { fever: 1 });
  await kept(page).waitFor();
  const halt = page.locator(".halt");
  assert.match(await halt.innerText(), /Ask or refer first/);
  assert.ok(await page.evaluate(() => document.querySelector("main .halt").compareDocumentPosition(document.querySelector("main h1"))
    & Node.DOCUMENT_POSITION_FOLLOWING), "above all");
  await proposed(page);
  assert.equal(await page.getByRole("button", { name: "Approve" }).count(), 0);
  assert.equal(readdirSync(join(served.case, "plans")).some((name) => name.endsWith("-home.html")), false);

  await screening(page);
  await answerByKeys(page);
  await proposed(page);
  assert.equal(await halt.count(), 0);
  await page.frameLocator("iframe.report").getByText("Not approved: not to be handed out").waitFor();
  await page.getByRole("button", { name: "Approve" }).click();
  assert.match(await page.getByRole("alert").innerText(), /initials/);
  await page.getByLabel("Your initials").fill("AB");
  await page.keyboard.press("Enter");
  await page.getByRole("heading", { level: 1, name: "Sheet for home" }).waitFor();
  assert.match(await page.locator(".done").innerText(), /Approved by AB on \d{4}-\d\d-\d\d/);
  const sheet = page.frameLocator("iframe.report");
  await sheet.getByText("How far you may go").waitFor();
  await page.locator("iframe.report").evaluate((frame) => {
    window.printed = [];
    frame.contentWindow.print = () => window.printed.push("sheet");
  });
  await page.getByRole("button", { name: "Print the sheet" }).click();
  await page.keyboard.press("Control+p");
  assert.deepEqual(await page.evaluate(() => window.printed), ["sheet", "sheet"]);
  const download = page.waitForEvent("download");
  await page.getByRole("link", { name: "The sheet as a PDF" }).click();
  const pdf = await download;
  assert.match(pdf.suggestedFilename(), /^\d{4}-\d\d-\d\d-home\.pdf$/);
  assert.deepEqual(readFileSync(await pdf.path()), readFileSync(join(served.case, "plans", pdf.suggestedFilename())));
  await page.emulateMedia({ media: "print" });
  assert.match(await page.locator("main").innerText(), /The sheet is not on this paper/);
  await page.emulateMedia({ media: null });

  await go(page, "#/case/plan", /^Plan for demo-01/);
  await page.getByText(/Approved by AB on/).waitFor();
  assert.equal(await page.getByRole("button", { name: "Approve" }).count(), 0);
  // New answers make a proposal of it.
  await screening(page);
  await answerByKeys(page);
  await proposed(page);
  await page.getByText(/that AB approved on .* no longer holds/).waitFor();
  await go(page, "#/case/home", "There is no sheet for home");
  await page.goto(`${served.origin}/api/case/sheets/plan`);
  assert.ok(pagesOf(await page.pdf({ format: "A4" })) > 1);
  assert.deepEqual(outside, []);
  assert.deepEqual(complaints, []);
});

test("a half-filled screening is not lost by leaving it", async (t) => {
  const served = await serveCase(t);
  const { page } = await open(t, await launch(t), served);
  await screening(page);
  await page.locator('input[name="fever"]').first().check();
  await page.getByLabel(/Limit for raising/).fill("90");
  await page.getByText("2 entries not kept so far.").waitFor();
  assert.ok(await leavingAsks(page));
  await go(page, "#/case", "Case demo-01");
  await screening(page);
  assert.ok(await page.locator('input[name="fever"]').first().isChecked());
  assert.equal(await page.getByLabel(/Limit for raising/).inputValue(), "90");
  await page.getByRole("button", { name: "Drop it" }).click();
  assert.equal(await page.locator('input[name="fever"]:checked').count(), 0);
  assert.equal(await leavingAsks(page), false);
});

test("a visit begun on the page is filed in the case", async (t) => {
  const served = await serveCase(t);
  const { page } = await open(t, await launch(t), served);
  await go(page, "#/visits/new", "New visit");
  await page.getByLabel("What the visit is called").fill("extra");
  await page.getByLabel("Date").fill("2026-03-12");
  await page.getByRole("button", { name: "Make the visit" }).click();
  await page.getByRole("heading", { level: 1, name: "extra, 2026-03-12" }).waitFor();
  await choose(page, "Add photos", [demo("intake", "side-reach.jpg")]);
  await page.getByText("1 photo added.").first().waitFor({ timeout: 60_000 });
  await page.getByRole("button", { name: "File in the case" }).click();
  await page.getByText("Filed in the case, as 2026-03-12-extra.").first().waitFor({ timeout: 60_000 });
  const folder = join(served.case, "visits/2026-03-12-extra");
  assert.ok(existsSync(join(folder, "side-reach.jpg")));
  assert.equal(JSON.parse(readFileSync(join(folder, "record.json"), "utf8")).visit.arm_limit_deg, undefined, "the screening's own");
  assert.equal(await page.getByRole("button", { name: "File in the case" }).isVisible(), false);
  assert.equal(await leavingAsks(page), false);
});

test("a plan that can't be read is named, with what to do, and the case is shown", async (t) => {
  const served = await serveCase(t);
  mkdirSync(join(served.case, "plans"), { recursive: true });
  writeFileSync(join(served.case, "plans/2026-04-28.json"), "{");
  const { page, complaints } = await open(t, await launch(t), served);
  await go(page, "#/case", "Case demo-01");
  assert.match(await page.locator("section.trouble").innerText(), /plans\/2026-04-28\.json can't be read: .*from a backup/s);
  assert.ok(await page.getByRole("link", { name: /follow-up/ }).isVisible());
  assert.deepEqual(complaints, []);
});

for (const [look, options] of [
  ["desktop, light", { viewport: DESKTOP, colorScheme: "light" }],
  ["phone, dark", { viewport: PHONE, colorScheme: "dark" }],
]) {
  test(`the screens of a case on a ${look}`, { timeout: 300_000 }, async (t) => {
    const served = await serveCase(t);
    const { page, complaints } = await open(t, await launch(t), served, options);
    const faults = [];
    const stop = async (screen) => {
      if (process.env.SHOTS) await page.screenshot({ path: join(process.env.SHOTS, `${look}-${screen}.png`.replaceAll(/[ ,]+/g, "-")), fullPage: true });
      const words = await page.locator("main").innerText();
      assert.doesNotMatch(words, /\[object|\b(null|undefined|NaN)\b/, screen);
      const found = [await page.evaluate(tooWide), await page.evaluate(tooSmall), await graveFaults(page)].flat();
      faults.push(...found.map((fault) => `${screen}: ${fault}`));
    };
    await go(page, "#/case", "Case demo-01");
    await stop("case");
    await screening(page);
    await stop("screening");
    await answerByKeys(page, { fever: 1 });
    await proposed(page);
    await stop("hold");
    await go(page, "#/case", "Case demo-01");
    await stop("case with a hold");
    await screening(page);
    await answerByKeys(page);
    await proposed(page);
    await stop("proposal");
    await page.getByLabel("Your initials").fill("AB");
    await page.keyboard.press("Enter");
    await page.getByRole("heading", { level: 1, name: "Sheet for home" }).waitFor();
    await stop("home");
    await go(page, "#/case/plan", /^Plan for demo-01/);
    await page.getByText(/Approved by AB on/).waitFor();
    await stop("approved");
    assert.deepEqual(faults, []);
    assert.deepEqual(complaints, []);
  });
}
