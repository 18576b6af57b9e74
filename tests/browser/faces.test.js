// Faces are covered in the pictures that are looked at: each picture is decoded, laid on the photo
// that it was made from, and looked at where the photo's truth says that the face is.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import { choose, demo, go, launch, open, serve, toPhoto } from "./harness.js";

/** A face is of many colours, a cover of one: parts of the area that have its commonest colour, about. */
const COVERED = 0.95;
const SHOWN = 0.75;
const ALIKE = 14;

/** The middle of eyes and chin, with a part of the face around it, in pixels of the photo. */
function faceIn(visit, file) {
  const { landmarks } = JSON.parse(readFileSync(demo(visit, "truth.json"), "utf8")).photos[file];
  const { eye_outer_left: left, eye_outer_right: right, chin, head_top: top } = landmarks;
  const middle = (axis) => (left[axis] + right[axis] + chin[axis]) / 3;
  return { x: middle("x"), y: middle("y"), r: 0.25 * Math.hypot(chin.x - top.x, chin.y - top.y) };
}

const photoOf = (visit, file) => readFileSync(demo(visit, file)).toString("base64");

/** Run in the page: how much of a disc has about the commonest colour, or with `lines` that of a drawn line. */
async function evenPart({ jpeg, disc, alike, lines }) {
  const bytes = Uint8Array.from(atob(jpeg), (c) => c.charCodeAt(0));
  const bitmap = await createImageBitmap(new Blob([bytes]));
  const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
  const context = canvas.getContext("2d");
  context.drawImage(bitmap, 0, 0);
  const { data } = context.getImageData(0, 0, canvas.width, canvas.height);
  const pixels = [];
  for (let y = Math.ceil(disc.y - disc.r); y <= disc.y + disc.r; y += 1) {
    for (let x = Math.ceil(disc.x - disc.r); x <= disc.x + disc.r; x += 1) {
      if (Math.hypot(x - disc.x, y - disc.y) > disc.r) continue;
      const at = 4 * (y * canvas.width + x);
      pixels.push([data[at], data[at + 1], data[at + 2]]);
    }
  }
  const middle = [0, 1, 2].map((i) => pixels.map((pixel) => pixel[i]).sort((a, b) => a - b)[pixels.length >> 1]);
  // Lines are drawn over a cover, blue in white; nothing of a face is either.
  const isLine = ([red, green, blue]) => blue - red > 40 || Math.min(red, green, blue) > 235;
  const isEven = (pixel) => pixel.every((value, i) => Math.abs(value - middle[i]) <= alike);
  const even = pixels.filter((pixel) => isEven(pixel) || (lines && isLine(pixel)));
  return even.length / pixels.length;
}

/** Run in the page: where in the photo a picture was cut out, by the place where the two differ least. */
async function cutFrom({ picture, photo }) {
  const read = async (jpeg) => {
    const bitmap = await createImageBitmap(new Blob([Uint8Array.from(atob(jpeg), (c) => c.charCodeAt(0))]));
    const { width, height } = bitmap;
    const context = new OffscreenCanvas(width, height).getContext("2d");
    context.drawImage(bitmap, 0, 0);
    const { data } = context.getImageData(0, 0, width, height);
    return { width, height, at: (x, y) => data[4 * (y * width + x) + 1] };
  };
  const [small, large] = [await read(picture), await read(photo)];
  const samples = [];
  for (let y = 3; y < small.height; y += 17) for (let x = 3; x < small.width; x += 13) samples.push([x, y]);
  let best = { apart: Infinity };
  for (let top = 0; top <= large.height - small.height; top += 1) {
    for (let left = 0; left <= large.width - small.width; left += 1) {
      let apart = 0;
      // Drawn lines and the cover differ whatever the place; they count for little.
      for (const [x, y] of samples) apart += Math.min(20, Math.abs(small.at(x, y) - large.at(x + left, y + top)));
      if (apart < best.apart) best = { left, top, apart };
    }
  }
  return { ...best, apart: best.apart / samples.length };
}

async function assertCovered(page, { picture, photo, face, at, name }) {
  const shown = await page.evaluate(evenPart, { jpeg: photo, disc: face, alike: ALIKE });
  assert.ok(shown < SHOWN, `${name}: the photo shows no face there: ${shown}`);
  const covered = await page.evaluate(evenPart, { jpeg: picture, disc: at, alike: ALIKE, lines: true });
  assert.ok(covered > COVERED, `${name}: the face shows: ${covered} of it is covered`);
}

for (const [view, file] of [["side", "side-reach.jpg"], ["front", "front-reach.jpg"]]) {
  test(`the picture of a check from the ${view} shows no face`, async (t) => {
    const served = await serve(t);
    const { page } = await open(t, await launch(t), served);
    await toPhoto(page, view);
    await choose(page, "Choose a photo", demo("intake", file));
    await page.locator("img.picture").waitFor({ timeout: 60_000 });
    const picture = await page.evaluate(async () => {
      const bytes = new Uint8Array(await (await fetch(document.querySelector("img.picture").src)).arrayBuffer());
      return btoa(bytes.reduce((text, byte) => text + String.fromCharCode(byte), ""));
    });
    const photo = photoOf("intake", file);
    const { left, top, apart } = await page.evaluate(cutFrom, { picture, photo });
    assert.ok(apart < 5, `the picture was not found in the photo: ${apart}`);
    const face = faceIn("intake", file);
    await assertCovered(page, { picture, photo, face, at: { ...face, x: face.x - left, y: face.y - top }, name: file });
  });
}

/** The map x → scale·x + shift that takes one list of places to another, and how far off it is at most. */
function fit(from, to) {
  const mean = (places) => [0, 1].map((axis) => places.reduce((sum, place) => sum + place[axis], 0) / places.length);
  const [a, b] = [mean(from), mean(to)];
  const spread = (places, middle) => Math.sqrt(places.reduce((sum, p) => sum + (p[0] - middle[0]) ** 2 + (p[1] - middle[1]) ** 2, 0));
  const scale = spread(to, b) / spread(from, a);
  const apply = (place) => [0, 1].map((axis) => b[axis] + scale * (place[axis] - a[axis]));
  const off = Math.max(...from.map((place, i) => Math.hypot(apply(place)[0] - to[i][0], apply(place)[1] - to[i][1])));
  return { scale, apply, off };
}

test("the report of a comparison shows no face", async (t) => {
  const served = await serve(t, ["intake", "follow-up"]);
  const { page } = await open(t, await launch(t), served);
  await go(page, "#/compare", "Compare visits");
  await page.getByRole("button", { name: "Compare", exact: true }).click();
  const report = page.frameLocator("iframe.report");
  await report.getByRole("heading", { level: 1 }).waitFor({ timeout: 60_000 });
  const pictures = await report.locator("svg.photo").evaluateAll((all) => all.map((svg) => ({
    jpeg: svg.querySelector("image").getAttribute("href").split("base64,")[1],
    ends: [...svg.querySelectorAll("path.stroke")].flatMap((path) => path.getAttribute("d").slice(1).split("L")
      .map((place) => place.split(" ").map(Number))),
  })));
  // The lines of a picture tell which photo it is, and where in it each pixel lies.
  const photos = await page.evaluate(async () => {
    const visits = await Promise.all(["v1", "v2"].map((id) => fetch(`/api/visits/${id}`).then((answer) => answer.json())));
    return visits.flatMap(({ facts, photos }) => photos.map(({ file, lines }) => ({
      visit: facts.label, file, ends: lines.flatMap(({ from, to }) => [from, to]),
    })));
  });
  for (const { jpeg, ends } of pictures) {
    const found = photos.filter((photo) => photo.ends.length === ends.length)
      .map((photo) => ({ ...photo, ...fit(photo.ends, ends) })).filter(({ off }) => off < 1);
    assert.equal(found.length, 1, "each picture is of one photo");
    const [{ visit, file, scale, apply }] = found;
    const face = faceIn(visit, file);
    const [x, y] = apply([face.x, face.y]);
    await assertCovered(page, { picture: jpeg, photo: photoOf(visit, file), face, at: { x, y, r: scale * face.r }, name: `${visit}, ${file}` });
  }
  assert.equal(pictures.length, photos.length);
});
