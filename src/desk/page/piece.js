// Piece: the job that is open, what is asked of it, its way to the server and back, and every step that can be undone.

import { askedBlank } from "./blank.js";
import { apart } from "./curve.js";
import { boxMm } from "./length.js";
import { get, jobPath, query, Refusal, send } from "./server.js";

const MOST_STEPS = 200;
/** What a tab keeps of a piece lies under this and the piece's name. */
const KEPT = "steps2:";

/** What pieces are called now that were called otherwise while this tab was there: addresses that it comes back to have their old names. */
const CALLED = "called";
const called = () => JSON.parse(sessionStorage.getItem(CALLED)) ?? {};

/** A value of what is asked by its key, "tone.brighten" or "layer.0.text"; undefined where it is absent. */
export function valueAt(asked, key) {
  return key.split(".").reduce((at, part) => (at === undefined || at === null ? undefined : at[part]), asked);
}

/** What is asked, with the changes of a patch; null takes a key out. Nothing of the old one is touched. */
export function patched(asked, patch) {
  const copy = structuredClone(asked);
  for (const [key, value] of Object.entries(patch)) {
    const path = key.split(".");
    const leaf = path.pop();
    let at = copy;
    for (const part of path) {
      if (typeof at[part] !== "object" || at[part] === null) at[part] = {};
      at = at[part];
    }
    if (value !== null) at[leaf] = value;
    else if (Array.isArray(at)) at.splice(Number(leaf), 1);
    else delete at[leaf];
  }
  // What was filled in counts as asked once a person has set it.
  const named = (key) => (key === "blank.shape" ? "blank" : key.split(".").at(-1));
  const said = Object.entries(patch).filter(([, v]) => v !== null).map(([key]) => named(key));
  // A job that was read from a file has them with checksums.
  if (Array.isArray(copy.unsaid)) copy.unsaid = copy.unsaid.filter((key) => !said.includes(key));
  else for (const key of said) delete copy.unsaid?.[key];
  return copy;
}

/** The keys of how large a thing is and of what it is set against, by that of its place, "art.at" or "layer.0.at". */
export function sizeKeys(key) {
  const of = key.slice(0, -"at".length);
  return [of === "art." ? "blank.place" : `${of}place`, `${of}anchor`];
}

/** Whether two things that are asked are the same, whatever the order of their keys. */
export function same(one, other) {
  if (![one, other].every((part) => part && typeof part === "object")) return one === other;
  const keys = new Set([one, other].flatMap(Object.keys));
  return Array.isArray(one) === Array.isArray(other) && [...keys].every((key) => same(one[key], other[key]));
}

/** What is asked here, on top of what was made elsewhere of what was asked `before`: what was not changed here is as it is there. */
export function rebased(theirs, mine, before) {
  if (same(mine, before)) return theirs;
  const all = [theirs, mine, before];
  if (!all.every((part) => part && typeof part === "object" && !Array.isArray(part))) return mine;
  const values = [...new Set(all.flatMap(Object.keys))].map((key) => [key, rebased(theirs[key], mine[key], before[key])]);
  return Object.fromEntries(values.filter(([, value]) => value !== undefined));
}

/** What is asked of a job that is called otherwise: a tray that bore its name as its title bears the new one. */
const retitled = (asked, from, to) => (asked?.title === from ? { ...asked, title: to } : asked);

/** A cell of a CSV file, whichever sign is taken to part its cells. */
const quoted = (cell) => (/[",;\t\n\r]/.test(cell) ? `"${cell.replaceAll('"', '""')}"` : cell);

/** The cells of a row as they are sent: what was never typed and how its spreadsheet shows it is not known keeps the sign of that, and is not marked. */
const signed = ({ cells, unsure }) => cells.map((cell, at) => (unsure?.[at] ? `${unsure[at].sign} ${cell ?? ""}` : cell));

/** A table as CSV, as it is sent again after a cell was mended. */
export const csv = (columns, rows) => [columns, ...rows.map(signed)].map((line) => line.map((c) => quoted(String(c ?? ""))).join(",")).join("\r\n");

/** The bytes of a file as text, which a tab keeps, and back; of longer ones than this it has no room for the text. */
const MOST_KEPT = 2 << 20;
const packed = (bytes) => btoa(Array.from(new Uint8Array(bytes), (byte) => String.fromCharCode(byte)).join(""));
const unpacked = (text) => new Blob([Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0))]);

/**
 * The open piece. Events: `asked` (what is wanted changed here), `saved` (the server has it), `exact` (the exact look is
 * there), `likeness` (how alike it is), `times` (what the burn can take), `table` (detail: a tray's
 * table), `refused` (detail: the refusal), `conflict` (detail: the other tab's job and how
 * to answer).
 */
export class Piece extends EventTarget {
  constructor(job, kit) {
    super();
    this.kit = kit;
    this.boxes = { art: null, layers: [] };
    this.job = job;
    this.asked = job.asked;
    this.ticket = null;
    // What the burn can take, and of which piece that was told.
    this.times = null;
    // Why there can be no ticket of what is asked.
    this.lacking = null;
    this.putting = false;
    // A step: what was asked before it, and of a tray whose table it changed that table as CSV, null for none.
    this.undone = [];
    this.done = [];
    this.table = null;
    // Tables that the server has not taken yet, one after the other.
    this.tables = [];
    // At which state of the piece what is asked was asked first, where that is not the one that it was opened at.
    this.since = null;
    this.#agree();
    this.#recall();
    if (this.unsaved) this.put();
  }

  /** From now on the exact look is waited for: a contact sheet comes first and does without. */
  expect() {
    if (this.expected) return;
    this.expected = true;
    this.#await();
  }

  /** The name of a piece of which this tab keeps what the server has not taken yet; nothing where there is none. */
  static get unsaved() {
    const key = Object.keys(sessionStorage).find((k) => k.startsWith(KEPT) && JSON.parse(sessionStorage[k]).unsaved);
    return key?.slice(KEPT.length);
  }

  /** What this tab keeps of a piece goes with it to its new name: `from` it at state `was`, to `job` at `revision`. */
  static renamed({ from, was, job, revision }) {
    const { [job]: _, ...others } = called();
    sessionStorage.setItem(CALLED, JSON.stringify({ ...others, [from]: job }));
    const text = sessionStorage.getItem(KEPT + from);
    if (!text) return;
    const { revision: at, ...kept } = JSON.parse(text, (_, value) => retitled(value, from, job));
    sessionStorage.setItem(KEPT + job, JSON.stringify({ revision: at === was ? revision : at, ...kept }));
    sessionStorage.removeItem(KEPT + from);
  }

  /** Goes on under another name. */
  renamed({ from, was, job, revision }) {
    const now = (asked) => retitled(asked, from, job);
    const steps = (all) => all.map((step) => ({ ...step, asked: now(step.asked) }));
    const saved = this.asked === this.job.asked;
    this.job = { ...this.job, name: job, revision: this.revision === was ? revision : this.revision, asked: now(this.job.asked) };
    this.asked = saved ? this.job.asked : now(this.asked);
    [this.done, this.undone, this.agreed] = [steps(this.done), steps(this.undone), this.agreed.map(steps)];
    this.remember();
    // What was refused under the old name just now is sent, and what was waited for under it is asked for again.
    this.put();
    this.#await();
  }

  /** Fetches a job by its name; one that is called otherwise since, under the name that it has now. */
  static async open(name, kit) {
    try {
      return new Piece(await get(jobPath(name)), kit);
    } catch (refusal) {
      if (refusal.status !== 404) throw refusal;
      sessionStorage.removeItem(KEPT + name);
      const now = called()[name];
      if (now === undefined) throw refusal;
      return Piece.open(now, kit);
    }
  }

  get name() { return this.job.name; }
  get kind() { return this.job.kind; }
  get revision() { return this.job.revision; }

  /** Whether something was asked that the server has not taken yet. */
  get unsaved() { return this.asked !== this.job.asked || this.tables.length > 0; }

  /** What is asked under a key. */
  value(key) { return valueAt(this.asked, key); }

  /** A path of this job at its revision, and after how many renewals of the kit. */
  path(rest, values = {}) {
    return jobPath(this.name, `/${rest}`) + query({ revision: this.revision, renewed: this.kit.renewed, ...values });
  }

  /** The path of a window of the piece (mm), `px` wide, showing `what`. */
  tile(what, { x, y, w, h }, px, more = {}) {
    const round = (v) => Number(v.toFixed(4));
    return this.path("tile", { what, x: round(x), y: round(y), w: round(w), h: round(h), px: Math.round(px), ...more });
  }

  /** The blank as it is asked for. */
  get blank() {
    if (this.kind !== "tray") return askedBlank(this.kit, this.asked.blank);
    // A tray names a blank of the kit; what its piece says of its own stands before that.
    const { asked: { blank }, kit } = this;
    const named = kit.blanks.find((b) => b.name === blank)?.asked;
    return askedBlank(kit, { ...named, ...this.value("piece.blank") });
  }

  /** The art's file as the server knows it; null where there is none. */
  get art() { return this.value("art.file")?.split("/").at(-1) ?? null; }

  /** The whole blank as a window. */
  get whole() {
    const { width_mm: w, height_mm: h } = this.ticket?.blank ?? this.blank;
    return { x: 0, y: 0, w, h };
  }

  /**
   * What keeps a thing as large as it is where it is moved, whose place is asked for under `key`, as a patch: what is to be as
   * large as its place allows would shrink towards the edge, and is set against no edge. Null as long as its size is not known.
   */
  sized(key) {
    const [place, anchor] = sizeKeys(key);
    if (boxMm(this.value(place))) return {};
    // Of what cannot be made where it lies, its size before is all that is known.
    const box = this.ticket || this.lacking ? this.boxes[key.startsWith("art.") ? "art" : "layers"] : null;
    const one = Array.isArray(box) ? box[key.split(".")[1]] : box;
    return one ? { [place]: one.place, ...(this.value(anchor) && { [anchor]: "middle" }) } : null;
  }

  /** Asks for a change. Changes with the same `run` soon after each other, as of a slider, are one step; of one that `goesOn`, all. */
  change(patch, run = null, goesOn = false) {
    this.set(patched(this.asked, patch), run, goesOn);
  }

  /** Asks for something else as a whole. */
  set(asked, run = null, goesOn = false) {
    const now = Date.now();
    const same = run !== null && run === this.run && (goesOn || now - this.ranAt < 1500);
    if (!same) {
      this.#did({ asked: this.asked });
    }
    [this.run, this.ranAt] = [run, now];
    this.#want(asked);
  }

  #did(step) {
    this.done.push(step);
    if (this.done.length > MOST_STEPS) this.done.shift();
    this.undone = [];
  }

  get canUndo() { return this.done.length > 0; }
  get canRedo() { return this.undone.length > 0; }

  undo() { this.#step(this.done, this.undone); }

  redo() { this.#step(this.undone, this.done); }

  async #step(from, to) {
    const step = this.stepping ? null : from.pop();
    if (!step) return;
    const withTable = step.table !== undefined;
    const now = { asked: this.asked, ...(withTable && { table: this.table }) };
    this.run = null;
    if (withTable) {
      this.stepping = true;
      try {
        if (step.table === null) this.#tabled(null);
        else await this.#sent({ content: step.table });
      } catch (refusal) {
        from.push(step);
        this.#tell("refused", refusal);
        return;
      } finally { this.stepping = false; }
    }
    to.push(now);
    this.#want(step.asked);
  }

  /** Gives a tray another table: text or the bytes of a file that was brought and is called `name`; without a name its own, with cells that were typed in. */
  putTable(content, name) {
    const bytes = content.byteLength;
    const of = bytes <= MOST_KEPT ? { file: packed(content) } : { content: bytes ? new Blob([content]) : content };
    return this.#sent({ ...of, name, isStep: true });
  }

  /** A table goes to the server when those before it are there; where nobody answers it waits, as what is asked does. */
  #sent(table) {
    return new Promise((resolve, reject) => {
      this.tables.push({ ...table, resolve, reject });
      this.remember();
      this.put();
    });
  }

  async #sendTable() {
    const [{ content, file, name, isStep, resolve, reject }] = this.tables;
    const before = { asked: this.asked, table: this.table };
    const at = this.done.length;
    let answer;
    try {
      answer = await send("PUT", this.path("table", { name: name ?? "table.csv", typed: name === undefined }), content ?? unpacked(file));
    } catch (refusal) {
      if ([0, 401, 404, 409].includes(refusal.status)) throw refusal;
      this.tables.shift();
      this.remember();
      reject(refusal);
      return;
    }
    this.tables.shift();
    const { job } = answer;
    [this.job, this.asked] = [job, rebased(job.asked, this.asked, before.asked)];
    // What was asked meanwhile is a step that comes after it.
    const later = this.done.splice(at).map((step) => ({ ...step, asked: rebased(job.asked, step.asked, before.asked) }));
    if (isStep) this.#did(before);
    this.#agree();
    this.done.push(...later);
    this.remember();
    this.#tabled(answer);
    resolve(answer);
  }

  #tabled(told) {
    this.tabled(told);
    this.#tell("table", told);
  }

  /** Keeps the table as it is told; null where there is none. */
  tabled(told) { this.table = told ? csv(told.columns, told.rows) : null; }

  /** Steps outlive a reload of this tab, as far as it has room for them, and so does what the server has not taken yet. They lead from the state that they are kept with. */
  remember() {
    const key = KEPT + this.job.name;
    const last = (steps) => steps.map((all) => all.slice(-50));
    const [done, undone] = last([this.done, this.undone]);
    const unsaved = this.unsaved && { asked: this.asked, agreed: last(this.agreed), table: this.table, tables: this.tables.filter(({ content, file }) => typeof (content ?? file) === "string") };
    if (done.length || undone.length || unsaved) {
      try {
        sessionStorage.setItem(key, JSON.stringify({ revision: this.since ?? this.revision, done, undone, unsaved }));
        return;
      } catch { /* there is no room for them */ }
    }
    sessionStorage.removeItem(key);
  }

  /**
   * What this tab knows from before a reload. Where another tab changed the piece since, a step would take that back unseen; what
   * was asked here and never taken is sent as what it is, asked of the state of then, and a person chooses.
   */
  #recall() {
    try {
      const { revision, done, undone, unsaved } = JSON.parse(sessionStorage.getItem(KEPT + this.job.name));
      const same = revision === this.revision;
      if (same || unsaved) [this.done, this.undone] = [done, undone];
      this.#agree();
      if (!unsaved) return;
      if (!same) this.since = revision;
      [this.asked, this.agreed, this.table] = [unsaved.asked, unsaved.agreed, unsaved.table ?? null];
      const told = { resolve: () => {}, reject: (refusal) => this.#tell("refused", refusal) };
      if (same) this.tables = unsaved.tables.map((table) => ({ ...table, ...told }));
    } catch { /* what cannot be read is as good as nothing */ }
  }

  /** The steps that led to what the server has: where it refuses what is asked next, they are the steps again. */
  #agree(steps = [[...this.done], [...this.undone]]) { this.agreed = steps; }

  #want(asked) {
    this.asked = asked;
    this.remember();
    this.#tell("asked");
    this.put();
  }

  #tell(kind, detail) { this.dispatchEvent(new CustomEvent(kind, { detail })); }

  /** Sends what is asked, and then tables, until the server has the newest. One request is on its way at a time. */
  async put() {
    if (this.putting) return;
    this.putting = true;
    const { name } = this;
    try {
      while (this.unsaved) {
        if (this.asked === this.job.asked) {
          await this.#sendTable();
          continue;
        }
        const asked = this.asked;
        const steps = [[...this.done], [...this.undone]];
        const job = await send("PUT", jobPath(this.name), { revision: this.since ?? this.revision, asked });
        this.since = null;
        this.#agree(steps);
        const overtaken = this.asked !== asked;
        this.#took(job, overtaken);
      }
    } catch (refusal) {
      // What was on its way while the piece was called otherwise is sent to its new name.
      if (refusal.status === 404 && name !== this.name) setTimeout(() => this.put());
      else this.#failed(refusal);
    } finally {
      this.putting = false;
    }
  }

  #took(job, overtaken) {
    const wanted = this.asked;
    // It may be called otherwise since it was sent.
    this.job = { ...job, name: this.name };
    this.asked = overtaken ? wanted : job.asked;
    [this.ticket, this.savedIn, this.lacking] = [null, null, null];
    this.remember();
    this.#tell("saved");
    if (!overtaken) this.#await();
  }

  #failed(refusal) {
    if (!(refusal instanceof Refusal)) throw refusal;
    if (refusal.status === 409) {
      const theirs = refusal.answer.job ?? refusal.answer;
      const mine = this.asked;
      const answer = (keepMine) => {
        [this.job, this.since] = [theirs, null];
        this.asked = keepMine ? mine : theirs.asked;
        if (!keepMine) {
          for (const { reject } of this.tables.splice(0)) reject(new DOMException("", "AbortError"));
          [this.done, this.undone] = [[], []];
          this.#agree();
          this.remember();
        }
        [this.ticket, this.lacking] = [null, null];
        this.#tell("saved");
        if (keepMine) this.put();
        else this.#await();
      };
      this.#tell("conflict", { theirs, answer });
      return;
    }
    if ([0, 401, 404].includes(refusal.status) || refusal.status >= 500) {
      // It is kept here, and sent when the server is there again and knows this tab, or the piece is there again that was put
      // into the bin; one that is there is asked again.
      if (refusal.status === 404) sessionStorage.removeItem(KEPT + this.name);
      this.#tell("refused", refusal);
      clearTimeout(this.later);
      if (refusal.status >= 500) this.later = setTimeout(() => { if (this.unsaved) this.put(); }, 5000);
      return;
    }
    this.asked = this.job.asked;
    [this.done, this.undone] = this.agreed;
    this.#agree();
    this.run = null;
    this.remember();
    this.#tell("asked");
    this.#tell("refused", refusal);
  }

  /** Waits for the exact look of this revision. What was overtaken is dropped. */
  async #await() {
    this.waiting?.abort();
    this.waiting = new AbortController();
    if (this.kind !== "piece" || !this.expected) return;
    const revision = this.revision;
    try {
      const { signal } = this.waiting;
      let ticket = await get(this.path("ticket"), signal);
      // A run may be ended for want of room though nothing newer is asked: it is asked for again.
      while (!ticket && this.revision === revision && !signal.aborted) {
        await new Promise((rest) => { setTimeout(rest, 400); });
        ticket = await get(this.path("ticket"), signal);
      }
      if (!ticket || this.revision !== revision) return;
      this.ticket = ticket;
      this.boxes = { art: ticket.art_box ?? ticket.place, seen: ticket.place, layers: ticket.layer_boxes ?? [] };
      this.#tell("exact");
      const likeness = await get(this.path("likeness"), signal);
      if (!likeness || this.revision !== revision) return;
      ticket.likeness = likeness;
      this.#tell("likeness");
      const times = await get(this.path("times"), signal);
      if (!times || this.revision !== revision) return;
      ticket.times = this.#points(times, ticket);
      this.#tell("times");
    } catch (refusal) {
      if (refusal.name === "AbortError" || this.revision !== revision) return;
      if (!this.ticket && refusal.says && ![0, 401].includes(refusal.status)) this.lacking = refusal.says;
      this.#tell("refused", refusal);
    }
  }

  /**
   * The points of the curve. Once another of them is picked, all stay where they were: estimates that are held against another
   * burn lie elsewhere, beside what was chosen from. The picked one is told as it came out; where that is beyond its neighbours,
   * nothing of the old ones holds.
   */
  #points(times, { burn, likeness }) {
    const { unsaid, burn: { time = null, ...settings } = {}, ...rest } = this.asked;
    const of = { ...rest, burn: settings };
    const old = this.times && same(this.times.of, of) ? this.times.points : [];
    const at = old.findIndex((p) => !p.chosen && p.change["burn.time"] === time);
    const made = { seconds: burn?.seconds, planned_db: likeness?.planned_db };
    const between = (quicker, slower) => !(made.seconds <= quicker?.seconds || made.seconds >= slower?.seconds);
    const points = at >= 0 && between(old[at - 1], old[at + 1])
      ? old.map((p, i) => ({ ...p, chosen: i === at, made: i === at ? made : null }))
      : apart(times).map((p) => (p.chosen ? { ...p, change: { "burn.time": time } } : p));
    this.times = { of, points };
    return points;
  }

  /** Waits again, after the server was away. */
  again() {
    if (this.unsaved) this.put();
    else if (!this.ticket) this.#await();
  }

  /** Lets go of what is under way. */
  close() {
    this.waiting?.abort();
    clearTimeout(this.later);
  }

  /**
   * Keeps a picture at the look of the piece: the coarse one at once, the exact one after.
   * @param {HTMLImageElement} img the picture
   * @param {number} px how wide
   * @param {AbortSignal} signal until when
   */
  show(img, px, signal) {
    let shown = "";
    const swap = async (path, exact) => {
      if (path === shown) return;
      shown = path;
      const next = new Image();
      next.src = path;
      try { await next.decode(); } catch { return; }
      if (shown !== path || signal.aborted) return;
      img.src = path;
      img.dataset.look = exact ? "exact" : "coarse";
    };
    const coarse = () => swap(this.path("coarse"), false);
    const exact = () => swap(this.tile("forecast", this.whole, px), true);
    if (this.ticket) exact();
    else coarse();
    this.addEventListener("saved", coarse, { signal });
    this.addEventListener("exact", exact, { signal });
  }
}
