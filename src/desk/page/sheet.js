// Contact sheet: every picture as the finished piece, in a handful of versions that differ in what matters. One is taken.

import { askedBlank, outlineClip } from "./blank.js";
import { button, draw, icon, make, refill } from "./element.js";
import { announce, oops } from "./notice.js";
import { Piece, rebased, same } from "./piece.js";
import { get, jobPath, newJob, send } from "./server.js";
import { about, count, db, say, sentence, time } from "./words.js";

/** How long news of another tab takes at most, as a rule. */
const NEWS_MS = 1000;

const TAKEN = "image/*,.svg,.pdf,.heic,.tif,.tiff,.webp";

/** The pictures that were dropped together; they stay together after a reload. */
const roll = {
  get names() { try { return JSON.parse(sessionStorage.getItem("roll")) ?? []; } catch { return []; } },
  set names(names) { sessionStorage.setItem("roll", JSON.stringify(names)); },
};

/** A piece that is called otherwise stays where it is among them. Answers whether it is one of them. */
export function renameOnRoll(from, to) {
  const { names } = roll;
  roll.names = names.map((name) => (name === from ? to : name));
  return names.includes(from);
}

/** What is in the bin is none of them. */
const dropFromRoll = (gone) => { roll.names = roll.names.filter((name) => name !== gone); };

/** The ring of a grease pencil round the frame that was taken: drawn by hand, so it does not quite close. */
function ring() {
  return draw("svg", { class: "ring", viewBox: "0 0 200 200", preserveAspectRatio: "none", "aria-hidden": "true" },
    draw("path", { d: "M52 14C112-2 190 18 194 92s-60 108-112 103S2 150 7 86 66 6 128 9" }));
}

/** Where pictures are dropped or picked; `small` beside a sheet that is there. */
export function dropZone(desk, words, act, { small = false, multiple = true, accept = TAKEN } = {}) {
  const input = make("input", { type: "file", hidden: true, multiple, accept, on: { change: () => { act([...input.files]); input.value = ""; } } });
  const zone = make(small ? "div.drop.small" : "div.drop", {},
    !small && icon("print"), !small && make("p.big", {}, words.title), !small && make("p", {}, words.line),
    button(words.pick, () => input.click(), { icon: "plus", kind: small ? "" : "main" }), input);
  return zone;
}

/** Takes pictures onto the sheet: each becomes a piece, and the first of them is opened. */
export async function takePictures(desk, files) {
  if (!files.length) return;
  const names = await desk.take(files);
  if (!names.length) return;
  roll.names = [...roll.names.filter((n) => !names.includes(n)), ...names].slice(-24);
  desk.go("sheet", names[0]);
}

/** A picture of a whole blank, cut along its outline, as wide as its height lets it be. */
function clipped(img, blank) {
  if (!blank) return img;
  img.style.clipPath = outlineClip(blank);
  img.style.aspectRatio = `${blank.width_mm} / ${blank.height_mm}`;
  return img;
}

/** Closer than this share, two times that are only estimated may stand the other way round. */
const ALIKE = 0.03;

/** Estimated times in words, in their order; those that are too near to each other to be told apart are said alike. Null stays null. */
export function abouts(all) {
  const sorted = all.filter((s) => s !== null).sort((a, b) => a - b);
  const groups = [];
  for (const [at, seconds] of sorted.entries()) {
    if (at > 0 && seconds <= sorted[at - 1] * (1 + ALIKE)) groups.at(-1).push(seconds);
    else groups.push([seconds]);
  }
  const said = new Map(groups.flatMap((group) => group.map((s) => [s, about(group.reduce((sum, one) => sum + one) / group.length)])));
  return all.map((s) => said.get(s) ?? null);
}

/**
 * One frame: the piece, its number on the film's edge, its one line, and about how long it `takes`; of the one that was taken
 * as its `ticket` says once that is there.
 */
function frame(version, at, takes, took, blank, ticket) {
  const { line, why, picture, likeness_db: like, chosen } = version;
  // A quick look tells likeness no finer than this.
  const alike = ticket?.likeness ? say("sheet.likeness.exact", { db: db(ticket.likeness.planned_db) }) : say("sheet.likeness", { db: db(Math.round(like)) });
  const facts = [ticket?.burn ? time(ticket.burn.seconds) : takes, like !== null && alike];
  return make("li", {}, make("button.frame", {
    type: "button", "aria-pressed": Boolean(chosen), data: { version: version.id }, on: { click: () => took(version) },
  },
  make("span.edge", {}, make("span", {}, `${at + 1}`), make("span", {}, chosen ? say("sheet.taken") : at === 0 ? say("sheet.first") : "")),
  make("span.print", {}, picture ? clipped(make("img", { src: picture, alt: "", decoding: "async" }), blank) : make("span.waiting"), chosen && ring()),
  make("span.caption", {}, make("b", {}, line), why && make("span.why", {}, why),
    make("small", {}, facts.filter(Boolean).map((fact) => make("span", {}, fact))))));
}

/** A piece's row of the sheet. */
function row(desk, name, signal) {
  const list = make("ol.frames");
  const told = make("p.told", { role: "status" });
  const title = make("h2", {}, make("span", {}, name));
  const next = make("div.row");
  const whole = make("section.roll", { "aria-label": name }, make("div.head", {}, title, told), list, next);
  let piece = desk.piece?.name === name ? desk.piece : null;
  let blank = piece?.blank;
  let sheet = null;
  let versions = [];
  // The version that the piece was last.
  let last = null;
  let done = false;
  // Why there is no version, where there can be none.
  let lacking = null;
  // What a tray is asked for the sake of: the piece as it is now.
  let many = {};

  const open = async () => {
    if (piece && desk.piece === piece) return;
    piece = await Piece.open(name, desk.kit);
    desk.hold(piece);
    watch();
    history.replaceState({}, "", desk.address("sheet", name));
    desk.refoot();
  };

  /** Which version the piece is: an answer that was on its way meanwhile may say otherwise. */
  const compare = () => {
    const now = versions.find((v) => same(v.asked, piece?.asked));
    if (!now) return;
    for (const v of versions) v.chosen = v === now;
    last = now;
  };

  const take = async (version) => {
    try {
      await open();
      // What was changed by hand since it was one of them, of which no frame knows yet, stays as it is.
      compare();
      const before = last ?? versions.find((v) => v.chosen) ?? versions.find((v) => v.id === 0);
      // A sheet that is begun anew in this moment has no frame to be taken.
      if (!before) return;
      for (const v of versions) v.chosen = v.id === version.id;
      const asked = rebased(version.asked, piece.asked, before.asked);
      if (!same(asked, piece.asked)) piece.set(asked);
      announce(say("sheet.took", { line: version.line }));
      paint();
      list.querySelector(`[data-version="${CSS.escape(String(version.id))}"]`)?.focus({ preventScroll: true });
    } catch (refusal) { oops(refusal); }
  };

  // What is pressed stays until it is let go: of a node that was painted anew there is no click.
  let [pressed, late] = [false, false];
  whole.addEventListener("pointerdown", () => { pressed = true; });
  for (const end of ["pointerup", "pointercancel"]) addEventListener(end, () => {
    pressed = false;
    setTimeout(() => { if (late && !signal.aborted) paint(); });
  }, { signal });

  const paint = () => {
    late = pressed;
    if (late) return;
    const held = list.contains(document.activeElement) ? document.activeElement.dataset.version : null;
    const waiting = done ? 0 : Math.max(1, 6 - versions.length);
    const ticket = piece?.unsaved ? null : piece?.ticket;
    // An estimate is off alike for all: beside the exact time of one the others would seem quicker, or slower, than they are.
    const guess = versions.find((v) => v.chosen)?.seconds;
    const off = guess && ticket?.burn ? ticket.burn.seconds / guess : 1;
    const takes = abouts(versions.map((v) => v.seconds && v.seconds * off));
    refill(list, versions.map((v, at) => frame(v, at, takes[at], take, blank, v.chosen && ticket)),
      Array.from({ length: waiting }, () => make("li.empty", { "aria-hidden": "true" }, make("span.frame", {}, make("span.edge"), make("span.print", {}, make("span.waiting"))))));
    if (held) list.querySelector(`[data-version="${CSS.escape(held)}"]`)?.focus({ preventScroll: true });
    if (done) piece?.expect();
    const none = done && !versions.length && desk.events.state === "here";
    told.classList.toggle("wrong", none);
    if (none) refill(told, icon("stop"), sentence(lacking ?? say("sheet.none")));
    else told.textContent = done && versions.length ? count("sheet.done", versions.length) : say(desk.events.state === "here" ? "sheet.coming" : "sheet.away");
    const chosen = versions.some((v) => v.chosen);
    refill(next,
      button(say("sheet.loupe"), () => go("loupe"), { icon: "loupe", kind: chosen ? "main" : "" }),
      button(say("sheet.easel"), () => go("easel"), { icon: "easel" }),
      button(say("sheet.ticket"), () => go("ticket"), { icon: "ticket" }),
      button(say("sheet.tray"), () => makeTray(), { icon: "tray" }),
      done && button(say("sheet.anew"), () => begin(), { icon: "again" }));
  };

  const go = async (view) => { try { await open(); desk.go(view, name); } catch (refusal) { oops(refusal); } };
  const makeTray = async () => {
    try {
      const tray = await newJob(many, { tray: true, piece: name });
      desk.go("tray", tray.name);
    } catch (refusal) { oops(refusal); }
  };

  const read = async () => {
    const found = await get(jobPath(name, "/sheet"), signal);
    if (found?.sheet && (sheet === null || sheet === found.sheet)) {
      [sheet, versions] = [found.sheet, found.versions];
      [done, lacking] = [found.done ?? done, found.says];
      compare();
    }
    paint();
    return found;
  };

  /** A piece that is in the bin is on the sheet no more; the open one stays to be looked at. */
  const leave = () => {
    if (desk.piece?.name === name) return;
    dropFromRoll(name);
    whole.remove();
  };

  /** Says what went wrong. Where another tab called the piece otherwise just now, nothing did: its news is on its way here. */
  const failed = async (refusal) => {
    if (refusal.status === 404) await new Promise((go) => { setTimeout(go, NEWS_MS); });
    if (signal.aborted || (piece && piece.name !== name)) return;
    oops(refusal);
    // It may be its picture that is missing.
    if (refusal.status === 404) get(jobPath(name), signal).catch(({ status }) => { if (status === 404 && !signal.aborted) leave(); });
  };

  /** Once something else is asked, the versions are of the past: new ones are made when the hand rests. */
  const watch = () => {
    let later = 0;
    piece.addEventListener("asked", () => { many = {}; compare(); }, { signal });
    for (const news of ["exact", "likeness"]) piece.addEventListener(news, paint, { signal });
    piece.addEventListener("saved", () => {
      clearTimeout(later);
      later = setTimeout(async () => {
        if (signal.aborted) return;
        blank = piece.blank;
        try {
          const found = await read();
          if (!found?.sheet) await begin();
        } catch (refusal) { failed(refusal); }
      }, 400);
    }, { signal });
  };
  if (piece) watch();

  const begin = async () => {
    try {
      [versions, last, done] = [[], null, false];
      paint();
      sheet = (await send("POST", jobPath(name, "/sheet"))).sheet;
      await read();
    } catch (refusal) { [done, lacking] = [true, refusal.says]; paint(); failed(refusal); }
  };

  desk.events.addEventListener("version", ({ detail }) => {
    if (detail.job !== name || (sheet !== null && detail.sheet !== sheet)) return;
    read().catch(() => {});
  }, { signal });
  desk.events.addEventListener("sheet-done", ({ detail }) => {
    if (detail.job !== name || (sheet !== null && detail.sheet !== sheet)) return;
    done = true;
    read().catch(() => {});
  }, { signal });

  desk.events.addEventListener("shelf", ({ detail }) => { if (detail.job === name && !detail.revision) leave(); }, { signal });

  // A server that was started anew knows nothing of a sheet that was being made.
  for (const gone of ["away", "strange"]) desk.events.addEventListener(gone, paint, { signal });
  const anew = async () => {
    try {
      sheet = null;
      if (!(await read())?.sheet) await begin();
    } catch (refusal) { failed(refusal); }
  };
  desk.events.addEventListener("here", () => { if (!done || !versions.length) anew(); }, { signal });
  // Once a process, machine or coating was replaced, nor does it know of those that were made before.
  desk.events.addEventListener("kit", anew, { signal });

  (async () => {
    paint();
    try {
      blank ??= askedBlank(desk.kit, (await get(jobPath(name), signal)).asked.blank);
      const found = await read();
      if (!found?.sheet) await begin();
    } catch (refusal) { failed(refusal); }
  })();
  return whole;
}

export const sheet = {
  open(desk, main, signal) {
    const words = { title: say("drop.title"), line: say("drop.line"), pick: say("drop.pick") };
    const take = (files) => takePictures(desk, files).catch(oops);
    const { piece } = desk;
    if (!piece) {
      roll.names = [];
      main.append(dropZone(desk, words, take), make("p.safety", {}, say("safety")));
      return;
    }
    const names = roll.names.includes(piece.name) ? roll.names : [piece.name];
    if (names.length === 1) roll.names = names;
    main.append(make("div.contact", {}, names.map((name) => row(desk, name, signal))),
      dropZone(desk, { ...words, pick: say("drop.more") }, take, { small: true }));
  },
};
