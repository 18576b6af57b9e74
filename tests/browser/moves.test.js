// What undo, redo and two windows do to moved landmarks: no browser is needed for that.

import assert from "node:assert/strict";
import { test } from "node:test";
import { Moves } from "../../src/web/page/moves.js";

const at = (x, y) => ({ x, y });

/** A server with one photo, whose net found c7 and not t4. */
class Server {
  constructor() {
    this.hand = {};
    this.edits = [];
  }

  visit() {
    const landmarks = { c7: { x: 10, y: 20, evidence: "landmark_net", original: null } };
    for (const [name, place] of Object.entries(this.hand)) landmarks[name] = { ...place, evidence: "manual" };
    return { photos: [{ landmarks }] };
  }

  async send(edit) {
    await new Promise((resolve) => setTimeout(resolve, 5));
    this.edits.push(edit);
    const have = this.hand[edit.landmark] ?? null;
    if (JSON.stringify(have) !== JSON.stringify(edit.from)) {
      throw Object.assign(new Error("moved elsewhere"), { body: { visit: this.visit() } });
    }
    if (edit.to) this.hand[edit.landmark] = edit.to;
    else delete this.hand[edit.landmark];
    return this.visit();
  }
}

function workplace() {
  const server = new Server();
  const told = [];
  const moves = new Moves(server.visit(), (edit) => server.send(edit), {
    changed: (_, whose) => told.push(whose),
    refused: (trouble) => told.push(trouble.message),
  });
  return { server, moves, told };
}

test("of the places a drag runs through, those that wait are left out, and the last one arrives", async () => {
  const { server, moves } = workplace();
  for (let x = 0; x <= 50; x += 1) moves.move(0, "c7", at(x, 7));
  moves.settle();
  await moves.idle();
  assert.deepEqual(server.hand.c7, at(50, 7));
  assert.ok(server.edits.length <= 2, `${server.edits.length} edits`);
});

test("a drag is undone as one move, and redone", async () => {
  const { server, moves } = workplace();
  moves.move(0, "c7", at(11, 20));
  await moves.idle();
  moves.move(0, "c7", at(15, 20));
  moves.settle();
  moves.move(0, "t4", at(30, 40));
  moves.settle();
  await moves.idle();
  assert.equal(moves.undo().landmark, "t4");
  moves.undo();
  await moves.idle();
  assert.deepEqual(server.hand, {});
  assert.equal(moves.canUndo, false);
  moves.redo();
  moves.redo();
  await moves.idle();
  assert.deepEqual(server.hand, { c7: at(15, 20), t4: at(30, 40) });
  assert.equal(moves.canRedo, false);
});

test("a new move ends what could be redone", async () => {
  const { moves } = workplace();
  moves.move(0, "c7", at(11, 20));
  moves.undo();
  moves.move(0, "c7", at(12, 20));
  moves.settle();
  await moves.idle();
  assert.equal(moves.canRedo, false);
});

test("redo in the middle of a new move redoes nothing, and the new move stays", async () => {
  const { moves } = workplace();
  moves.move(0, "c7", at(11, 20));
  moves.undo();
  moves.move(0, "c7", at(12, 20));
  assert.equal(moves.redo(), null);
  await moves.idle();
  assert.equal(moves.canRedo, false);
  assert.deepEqual(moves.undo().after, at(12, 20));
});

test("a move that ends where it began is none", () => {
  const { moves } = workplace();
  moves.move(0, "c7", null);
  moves.settle();
  assert.equal(moves.canUndo, false);
});

test("a move that is given up goes back to where it began, and is nothing to undo", async () => {
  const { server, moves } = workplace();
  moves.move(0, "c7", at(11, 20));
  await moves.idle();
  moves.cancel();
  await moves.idle();
  assert.deepEqual(server.hand, {});
  assert.equal(moves.canUndo, false);
  moves.move(0, "c7", at(12, 20));
  moves.settle();
  moves.move(0, "c7", at(40, 20));
  await moves.idle();
  moves.cancel();
  await moves.idle();
  assert.deepEqual(server.hand.c7, at(12, 20));
  assert.equal(moves.undo().after.x, 12);
  assert.equal(moves.undo(), null);
});

test("what another window moved is taken over, said, and not undone here", async () => {
  const { server, moves, told } = workplace();
  moves.move(0, "c7", at(11, 20));
  moves.settle();
  moves.move(0, "t4", at(30, 40));
  moves.settle();
  await moves.idle();
  server.hand.c7 = at(99, 99);
  moves.move(0, "c7", at(12, 20));
  moves.settle();
  await moves.idle();
  assert.deepEqual(server.hand.c7, at(99, 99));
  assert.deepEqual(moves.byHand(0, "c7"), at(99, 99));
  assert.deepEqual(told.slice(-2), ["theirs", "moved elsewhere"]);
  assert.equal(moves.undo().landmark, "t4");
  assert.equal(moves.undo(), null);
});
