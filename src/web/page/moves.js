// Landmarks placed by hand: what was moved, sent one at a time with the latest place winning, and
// what can be taken back. Knows the server only by the function it is given.

/**
 * @typedef {{x: number, y: number}} Place
 * @typedef {{photo: number, landmark: string, from: ?Place, to: ?Place}} Edit
 * @typedef {{photo: number, landmark: string, before: ?Place, after: ?Place}} Move
 */

const same = (a, b) => (a && b ? Math.abs(a.x - b.x) < 0.02 && Math.abs(a.y - b.y) < 0.02 : !a && !b);
const key = (photo, landmark) => `${photo}/${landmark}`;

export class Moves {
  /**
   * @param {object} visit as the server gave it
   * @param {(edit: Edit) => Promise<object>} send answers the visit as it then is
   * @param {{changed: (visit: object, whose: "ours"|"theirs") => void, refused: (trouble: Error) => void}} tell
   */
  constructor(visit, send, tell) {
    this.visit = visit;
    this.send = send;
    this.tell = tell;
    /** Places that the server doesn't know of so far, in the order they were made. */
    this.wanted = new Map();
    this.past = [];
    this.future = [];
    this.open = null;
    this.sending = null;
  }

  /** Where a landmark lies by hand, what is on its way included; null where no hand placed it. */
  byHand(photo, landmark) {
    const wanted = this.wanted.get(key(photo, landmark));
    return wanted ? wanted.to : this.known(photo, landmark);
  }

  known(photo, landmark) {
    const found = this.visit.photos[photo]?.landmarks[landmark];
    return found?.evidence === "manual" ? { x: found.x, y: found.y } : null;
  }

  /** Moves a landmark; what follows until `settle` is one move to undo. */
  move(photo, landmark, to) {
    if (this.open && (this.open.photo !== photo || this.open.landmark !== landmark)) this.settle();
    this.open ??= { photo, landmark, before: this.byHand(photo, landmark) };
    this.open.after = to;
    this.want(photo, landmark, to);
  }

  /** The move is done: from here it can be undone as one. */
  settle() {
    const move = this.open;
    this.open = null;
    if (!move || same(move.before, move.after)) return;
    this.past.push(move);
    this.future = [];
  }

  /** Gives up the move that is going on: the landmark goes back to where it was. */
  cancel() {
    const move = this.open;
    this.open = null;
    if (move && !same(move.before, move.after)) this.want(move.photo, move.landmark, move.before);
  }

  get canUndo() {
    return this.past.length > 0 || this.open !== null;
  }

  get canRedo() {
    return this.future.length > 0;
  }

  /** @returns {?Move} what was undone */
  undo() {
    this.settle();
    const move = this.past.pop();
    if (!move) return null;
    this.future.push(move);
    this.want(move.photo, move.landmark, move.before);
    return move;
  }

  redo() {
    // A move that is still going on ends what could be redone.
    this.settle();
    const move = this.future.pop();
    if (!move) return null;
    this.past.push(move);
    this.want(move.photo, move.landmark, move.after);
    return move;
  }

  want(photo, landmark, to) {
    // Taken out first, so that the latest wish is also the last in order.
    this.wanted.delete(key(photo, landmark));
    this.wanted.set(key(photo, landmark), { photo, landmark, to });
    this.sending ??= this.sendAll();
  }

  /** Resolves once nothing is on its way. */
  async idle() {
    await this.sending;
  }

  async sendAll() {
    // Let those who asked see their wish first.
    await null;
    while (this.wanted.size) {
      const [id, wish] = this.wanted.entries().next().value;
      const { photo, landmark, to } = wish;
      try {
        const visit = await this.send({ photo, landmark, from: this.known(photo, landmark), to });
        if (this.wanted.get(id) === wish) this.wanted.delete(id);
        this.visit = visit;
        this.tell.changed(visit, "ours");
      } catch (trouble) {
        this.wanted.clear();
        this.open = null;
        if (trouble.body?.visit) this.takeOver(trouble.body.visit);
        else this.forgetLost();
        this.tell.refused(trouble);
      }
    }
    this.sending = null;
  }

  /** Takes the state that another window made. What was moved there can't be undone here. */
  takeOver(visit) {
    this.visit = visit;
    this.forgetLost();
    this.tell.changed(visit, "theirs");
  }

  /** Keeps only moves that still start, or end, where the landmarks lie. */
  forgetLost() {
    this.past = chained(this.past, "after", (move) => this.known(move.photo, move.landmark));
    this.future = chained(this.future, "before", (move) => this.known(move.photo, move.landmark));
  }
}

/** From the newest move back, those of each landmark whose end is where the landmark lies. */
function chained(moves, end, known) {
  const start = end === "after" ? "before" : "after";
  const at = new Map();
  const kept = [];
  for (const move of moves.toReversed()) {
    const id = key(move.photo, move.landmark);
    const here = at.has(id) ? at.get(id) : known(move);
    if (here === undefined || !same(move[end], here)) {
      at.set(id, undefined);
      continue;
    }
    at.set(id, move[start]);
    kept.unshift(move);
  }
  return kept;
}
