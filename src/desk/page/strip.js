// Strip: what the piece is made of and for, along the lower edge where the hand rests. A label opens the drawer above it.

import { button, choice, draw, field, icon, make, refill } from "./element.js";
import { kitBlank, shapeText } from "./blank.js";
import { boxMm, boxText, lengthMm, lengthText, offsetMm, offsetText } from "./length.js";
import { fileStem, fromLeft, mm, number, say, size } from "./words.js";
import { tones, toneWords } from "./tones.js";
import { layers } from "./layers.js";
import { isUnsent, oops, question, unsent } from "./notice.js";
import { PAGE, query, send } from "./server.js";
import { dropZone } from "./sheet.js";

/** A small drawing of a blank's outline. */
export function outline(blank) {
  const { shape, width_mm: w, height_mm: h } = blank;
  const across = 30 / Math.max(w, h);
  const [x, y] = [w * across, h * across];
  const at = { x: 18 - x / 2, y: 18 - y / 2, width: x, height: y };
  const svg = draw("svg", { viewBox: "0 0 36 36", class: "outline", "aria-hidden": "true" });
  if (shape === "round") svg.append(draw("circle", { cx: 18, cy: 18, r: 15 }));
  else if (shape === "cylinder") {
    svg.append(draw("path", { d: `M${at.x} 7v22a${x / 2} 4 0 0 0 ${x} 0v-22` }), draw("ellipse", { cx: 18, cy: 7, rx: x / 2, ry: 4 }));
  } else if (shape === "cone") {
    const [foot, top] = [blank.foot, blank.top].map((share) => (share * 22) / 2);
    svg.append(
      draw("path", { d: `M${18 - top} 7L${18 - foot} 29a${foot} 4 0 0 0 ${2 * foot} 0L${18 + top} 7` }),
      draw("ellipse", { cx: 18, cy: 7, rx: top, ry: 3.5 }),
    );
  } else svg.append(draw("rect", { ...at, rx: (blank.corner_mm || 0.5) * across }));
  return svg;
}

/** The name of what is asked: a kit's name, or that of a thing written out. */
const nameOf = (asked) => (asked && typeof asked === "object" ? asked.name : asked);

let inOurLanguage = {};

/** What the kit's entries are called in another language than English. */
export const setSpoken = (names) => { inOurLanguage = names; };

/** A kit entry's name as words: "poster-paint" becomes "Poster paint". */
export function spoken(name) {
  const words = inOurLanguage[name] ?? String(name).replaceAll("-", " ");
  return (words.charAt(0).toUpperCase() + words.slice(1)).replace(/(\d)w\b/, "$1 W");
}

/** A field whose text is read before it becomes a change: `wrong` answers what is to be said against it, or nothing. */
export function readField(label, value, wrong, act, { placeholder, inputmode = "text", disabled = false, ...more } = {}) {
  const input = make("input", { type: "text", inputmode, autocomplete: "off", spellcheck: "false", value, placeholder, disabled });
  const whole = field(label, input, more);
  input.addEventListener("change", () => {
    const says = wrong(input.value.trim());
    input.setAttribute("aria-invalid", String(Boolean(says)));
    whole.querySelector(".wrong").textContent = says || "";
    if (!says) act(input.value.trim());
  });
  return whole;
}

/**
 * A typed length that becomes a change when it is one, and says so when it is none. It is handed on as a job file has it,
 * whatever its unit and comma were, and in mm; where it may be left out, an empty text and null. A `side` is longer than nothing;
 * `beyond` answers what is to be said against a length that is none of those that there may be.
 */
export function lengthField(piece, label, value, act, { side = false, beyond, ...more } = {}) {
  const wrong = (typed) => {
    const length = lengthMm(typed);
    if (!typed) return side && say("length.needed");
    if (length === null) return say("length.wrong", { typed });
    return side && length <= 0 ? say("length.side", { typed }) : beyond?.(length, typed);
  };
  return readField(label, value, wrong, (typed) => {
    const length = lengthMm(typed);
    act(length === null ? "" : lengthText(length), length);
  }, more);
}

/** The keys of a job within what is asked: a tray has its piece's below `piece`. */
export const key = (piece, name) => (piece.kind === "tray" ? `piece.${name}` : name);

/** A tray's blank is one of the kit, or what the piece that it was made of lies on. */
function trayBlank(desk, piece) {
  const { name } = piece.blank;
  // What the piece says of its own blank stands before what the kit says.
  const own = Object.keys(piece.value("piece.blank") ?? {}).filter((part) => part !== "place");
  return [
    !name && make("p", {}, say("blank.of.piece", { name: blankName(desk, piece) })),
    choice(say("strip.blank"), desk.kit.blanks.map((b) => ({ value: b.name, label: spoken(b.name), line: b.line, drawing: outline(b) })),
      name, (blank) => piece.change({ blank, ...Object.fromEntries(own.map((part) => [`piece.blank.${part}`, null])) }), { kind: "cards", quiet: true }),
  ];
}

function blankDrawer(desk, piece) {
  if (piece.kind === "tray") return trayBlank(desk, piece);
  const now = kitBlank(desk.kit, piece.asked.blank);
  const { blank } = piece;
  const own = (shape) => piece.change({ "blank.shape": shape }, null);
  const round = blank.shape === "round";
  // The other sides are those of now: they may have been typed since this was painted.
  const sized = (sides) => own(shapeText({ ...piece.blank, ...sides }));
  // What goes round a rotary is not asked of a machine that has none.
  const machine = desk.kit.machines.find((m) => m.asked === (nameOf(piece.value("machine")) ?? usual(desk, piece, "machine")));
  const still = machine?.turns === false;
  const across = { rect: "blank.width", cone: "blank.foot" }[blank.shape] ?? "blank.diameter";
  const parts = make("div.own", {}, make("h3", {}, say("blank.own")),
    choice(say("blank.form"), ["round", "rect", "cylinder", "cone"].map((value) => ({ value, label: say(`blank.${value}`), disabled: still && ["cylinder", "cone"].includes(value) })), blank.shape, (shape) => {
      // A cone to begin with is as wide at its foot, and a quarter wider at its top.
      sized({ shape, corner_mm: 0, top_mm: blank.top_mm ?? 1.25 * blank.across_mm });
    }, { kind: "row" }),
    still && make("div.row", {}, make("p.hint", {}, say("blank.rotary", { machine: machine.mine ? machine.name : spoken(machine.name) })),
      button(say("blank.rotary.machine"), () => desk.dispatchEvent(new CustomEvent("drawer", { detail: "machine" })), { icon: "change" })),
    make("div.fields", {},
      lengthField(piece, say(across), lengthText(blank.across_mm), (typed, w) => sized({ across_mm: w }), { side: true, key: "blank.shape" }),
      blank.shape === "cone" && lengthField(piece, say("blank.top"), lengthText(blank.top_mm), (typed, w) => sized({ top_mm: w }), { side: true }),
      !round && lengthField(piece, say("blank.height"), lengthText(blank.tall_mm), (typed, h) => sized({ tall_mm: h }), { side: true }),
      lengthField(piece, say("blank.margin"), piece.value("blank.margin") ?? lengthText(blank.margin_mm),
        (typed) => piece.change({ "blank.margin": typed || null }), { hint: say("blank.margin.hint"), key: "blank.margin" })));
  return [
    choice(say("strip.blank"), desk.kit.blanks.map((b) => ({ value: b.name, label: spoken(b.name), line: b.line, drawing: outline(b) })),
      now?.name, (name) => {
        const taken = desk.kit.blanks.find((b) => b.name === name);
        // Its usual coating comes with it.
        piece.change({ coating: null, ...Object.fromEntries(Object.entries(taken.asked).map(([k, v]) => [`blank.${k}`, v])) });
      }, { kind: "cards", quiet: true }),
    parts,
  ];
}

/** Takes away what was said against the file that was brought last, of each sort. */
const unrefused = { machine: () => {}, coating: () => {} };

function listDrawer(desk, piece, what, list) {
  const at = key(piece, what);
  const now = nameOf(piece.value(at)) ?? usual(desk, piece, what);
  const of = list.find((x) => x.asked === now);
  const path = `/api/kit/${what}s`;
  const bring = async (file, replace) => {
    unrefused[what]();
    try {
      const { asked } = await send("POST", path + query({ name: file.name, replace, by: PAGE }), file);
      // Where the piece has it already, it is now another thing of the same name.
      await desk.renewed(asked);
      if (asked !== piece.value(at)) piece.change({ [at]: asked });
    } catch (refusal) {
      if (!refusal.answer?.there) {
        unrefused[what] = isUnsent(refusal) ? unsent([file.name], () => bring(file, replace)) : oops(refusal);
        return;
      }
      const answer = await question(say("own.there"), refusal.says, [["no", say("cancel")], ["yes", say("wedge.replace.yes")]]);
      if (answer === "yes") bring(file, true);
    }
  };
  return [
    choice(say(`strip.${what}`), list.map((x) => ({ value: x.asked, label: x.mine ? x.name : spoken(x.name), line: x.line })),
      now, (name) => piece.change({ [at]: name }), { kind: "cards", quiet: true }),
    make("div.own", {}, make("h3", {}, say(`own.${what}`)), make("p", {}, say("own.line")),
      make("div.row", {},
        of && make("a.button", { href: `${path}/${encodeURIComponent(of.name)}`, download: `${of.name}.toml` }, icon("folder"), make("span", {}, say("own.save", { name: of.mine ? of.name : spoken(of.name) }))),
        dropZone(desk, { pick: say("own.bring") }, ([file]) => file && bring(file, false), { small: true, multiple: false, accept: ".toml,text/plain" }))),
  ];
}

/** What is taken where nobody says. */
function usual(desk, piece, what) {
  if (what === "machine") return desk.kit.usual?.machine ?? desk.kit.machines[0]?.name;
  const blank = desk.kit.blanks.find((b) => b.name === piece.blank.name);
  return piece.value(key(piece, "blank.coatings"))?.[0] ?? blank?.coating ?? desk.kit.usual?.coating ?? desk.kit.coatings[0]?.name;
}

function processDrawer(desk, piece) {
  const at = key(piece, "process");
  const own = desk.kit.processes;
  return [
    choice(say("strip.process"), [
      { value: "", label: say("process.none"), line: say("process.none.line"), stamp: stamp(false) },
      ...own.map((p) => ({ value: p.asked ?? p.name, label: p.name, line: p.line, stamp: stamp(p.measured, p.partly) })),
    ], nameOf(piece.value(at)) ?? "", (name) => piece.change({ [at]: name || null }), { kind: "cards", quiet: true }),
    button(say("process.measure"), () => desk.go("wedge"), { icon: "wedge" }),
  ];
}

/** "Measured" or "assumed", as a rubber stamp says it: by word and by shape, never by colour alone. An exposure wedge measures a part. */
export function stamp(measured, partly = false) {
  const word = measured ? "measured" : partly ? "partly" : "assumed";
  return make(`span.stamp.${word}`, {}, icon(measured || partly ? "measured" : "assumed"), say(word));
}

function sizeDrawer(desk, piece) {
  const place = piece.value("blank.place") ?? "inside";
  const box = boxMm(place);
  // How large the art comes out is told with the exact look; where there can be none, the blank is what there is to begin with.
  const known = piece.boxes.art ?? (piece.lacking ? piece.blank : null);
  const { width_mm: w, height_mm: h } = known ?? { width_mm: 0, height_mm: 0 };
  const coming = !known && !box;
  // What fits as it is must not be asked for a hair larger: it is rounded down.
  const down = (side, digits) => Math.floor(side * 10 ** digits + 1e-6) / 10 ** digits;
  const now = box ?? [down(w, 2), down(h, 2)];
  // It is shown as it stands everywhere else.
  const shown = (box ?? [w, h]).map((side) => lengthText(Number(side.toFixed(box ? 4 : 2))));
  const set = (value) => piece.change({ "blank.place": value });
  const side = (at, length) => set(boxText(...(boxMm(piece.value("blank.place")) ?? now).with(at, length)));
  const seen = piece.ticket?.place;
  const empty = seen && Math.max(w - seen.width_mm, h - seen.height_mm) > 0.01 * Math.max(w, h);
  return [
    choice(say("strip.size"), [
      { value: "inside", label: say("size.inside"), line: say("size.inside.line") },
      { value: "cover", label: say("size.cover"), line: say("size.cover.line") },
      { value: "box", label: say("size.box"), line: say("size.box.line"), disabled: coming },
    ], box ? "box" : place, (value) => set(value === "box" ? boxText(down(w, 1), down(h, 1)) : value), { kind: "cards", quiet: true }),
    make("div.fields", {},
      lengthField(piece, say("size.width"), coming ? "" : shown[0], (typed, length) => side(0, length), { side: true, disabled: coming, key: "blank.place" }),
      lengthField(piece, say("size.height"), coming ? "" : shown[1], (typed, length) => side(1, length), { side: true, disabled: coming })),
    coming && make("p.hint", {}, say("size.coming")),
    empty && make("p.hint", {}, say("size.seen", { whole: size(w, h), seen: size(seen.width_mm, seen.height_mm) })),
  ];
}

const ANCHORS = ["top-left", "top", "top-right", "left", "middle", "right", "bottom-left", "bottom", "bottom-right"];

function placeDrawer(desk, piece) {
  const now = () => offsetMm(piece.value("art.at"));
  const [right, up] = now();
  const at = (side, length) => piece.change({ ...piece.sized("art.at"), "art.at": offsetText(...now().with(side, length ?? 0)) });
  return [
    choice(say("place.anchor"), ANCHORS.map((value) => ({ value, label: say(`anchor.${value}`) })),
      piece.value("art.anchor") ?? "middle", (value) => piece.change({ "art.anchor": value }), { kind: "nine" }),
    make("div.fields", {},
      lengthField(piece, say("place.right"), lengthText(right), (typed, v) => at(0, v), { key: "art.at" }),
      lengthField(piece, say("place.up"), lengthText(up), (typed, v) => at(1, v)),
      choice(say("place.turn"), [0, 90, 180, 270].map((value) => ({ value, label: `${value}°` })), piece.value("art.turn") ?? 0,
        (value) => piece.change({ "art.turn": value }), { kind: "row" }),
      make("label.check", {}, make("input", {
        type: "checkbox", checked: Boolean(piece.value("art.mirror")), on: { change: (e) => piece.change({ "art.mirror": e.target.checked }) },
      }), say("place.mirror"))),
    desk.view === "easel" ? null : button(say("place.easel"), () => desk.go("easel"), { icon: "easel" }),
  ];
}

/** The most pieces side by side, and the widest gap between them, that a tray may have. */
const [MOST_ABREAST, WIDEST_GAP_MM] = [100, 200];

function jigDrawer(desk, piece) {
  // Before there is a table nothing is laid out, so there is nothing to show. An emptied field leaves both to the bed again.
  const now = () => /^(\d+)x(\d+)$/.exec(piece.value("tray.grid") ?? "")?.slice(1) ?? ["", ""];
  const grid = now();
  const wrong = (typed) => typed && !(/^\d+$/.test(typed) && typed >= 1 && typed <= MOST_ABREAST) && say("jig.count.wrong", { typed, most: MOST_ABREAST });
  const counted = (label, value, act) => readField(label, value, wrong, (typed) => act(typed && Number(typed)), { placeholder: say("jig.fits"), inputmode: "numeric" });
  const beyond = (gap, typed) => (gap < 0 || gap > WIDEST_GAP_MM) && say("jig.gap.wrong", { typed, most: WIDEST_GAP_MM });
  const set = (at, n) => piece.change({ "tray.grid": n ? now().with(at, n).map((side) => side || 1).join("x") : null });
  return make("div.fields", {},
    counted(say("jig.columns"), grid[0], (n) => set(0, n)),
    counted(say("jig.rows"), grid[1], (n) => set(1, n)),
    lengthField(piece, say("jig.gap"), piece.value("tray.gap") ?? "5mm", (typed) => piece.change({ "tray.gap": typed || null }), { beyond, key: "tray.gap" }));
}

/** A kit blank by its name, one of a maker's own by its size. */
export function blankName(desk, piece) {
  const { name, shape, across_mm: w, top_mm: top, tall_mm: h } = piece.blank;
  const sized = () => say(`blank.${shape}.sized`, { w: number(w, 2), top: number(top ?? w, 2), h: number(h, 2) });
  return name ? spoken(name) : shape === "rect" ? fromLeft(sized()) : sized();
}

/** Names as they are told apart: by their letters and digits. */
const plainName = (name) => String(name ?? "").toLowerCase().replace(/[^\p{L}\p{N}]/gu, "");

/** What is used of a process: of one of another machine nothing, of one of another coating the beam alone. The ticket knows it for sure. */
function usedOf(desk, piece, process) {
  if (piece.ticket) return piece.ticket.process;
  const same = (what) => {
    const now = nameOf(piece.value(key(piece, what))) ?? usual(desk, piece, what);
    const of = desk.kit[`${what}s`].find((x) => x.asked === now);
    return !process[what] || [now, of?.called].some((name) => plainName(name) === plainName(process[what]));
  };
  if (!same("machine")) return { measured: false, partly: false };
  return same("coating") ? process : { measured: false, partly: process.measured || process.partly };
}

/** The labels: what each is called, what it says now, and its drawer. */
function labels(desk, piece) {
  const tray = piece.kind === "tray";
  const named = (what) => {
    const now = nameOf(piece.value(key(piece, what))) ?? usual(desk, piece, what) ?? "";
    const of = desk.kit[`${what}s`].find((x) => x.mine && x.asked === now);
    return of ? of.name : spoken(fileStem(now));
  };
  const asked = nameOf(piece.value(key(piece, "process")));
  const process = asked && (desk.kit.processes.find((p) => (p.asked ?? p.name) === asked) ?? { name: fileStem(asked), measured: true });
  const used = process && usedOf(desk, piece, process);
  const unused = process && (process.measured || process.partly) && !used.measured && !used.partly;
  const part = used && (used.partly ? say("partly") : unused && say("process.unused"));
  const all = [
    { id: "blank", value: blankName(desk, piece), drawer: blankDrawer },
    { id: "coating", value: named("coating"), drawer: (d, p) => listDrawer(d, p, "coating", d.kit.coatings) },
    { id: "machine", value: named("machine"), drawer: (d, p) => listDrawer(d, p, "machine", d.kit.machines) },
    { id: "process", value: process ? [process.name, part].filter(Boolean).join(", ") : say("assumed"), sign: used?.measured || used?.partly ? "measured" : "assumed", drawer: processDrawer },
  ];
  const several = (piece.value(key(piece, "layer")) ?? []).length;
  const words = { id: "words", value: several ? number(several) : say("words.none"), drawer: layers };
  if (tray) return [...all, words, { id: "jig", value: (piece.value("tray.grid") ?? say("jig.fits")).replace(/^(\d+)x/, "$1 × "), drawer: jigDrawer }];
  // What is seen of it; the whole of a picture that is cut or has empty edges is another size. What was seen before keeps its room.
  const { seen } = piece.boxes;
  const [right, up] = offsetMm(piece.value("art.at"));
  const anchor = say(`anchor.${piece.value("art.anchor") ?? "middle"}`);
  const art = Boolean(piece.value("art.file"));
  const tone = toneWords(piece);
  return [...all,
    art && { id: "size", value: seen ? say("ticket.picture", { size: size(seen.width_mm, seen.height_mm) }) : "", past: !piece.ticket, drawer: sizeDrawer },
    art && { id: "place", value: right || up ? `${anchor} ${number(right, 1)}, ${mm(up)}` : anchor, drawer: placeDrawer },
    { id: "tone", value: tone.length ? tone.join(", ") : say("tone.as-is"), drawer: tones },
    words,
  ].filter(Boolean);
}

export const strip = {
  /** Puts the strip into the page's foot; empty where no piece is open. */
  open(desk, foot, signal) {
    const { piece } = desk;
    if (!piece || desk.view === "wedge") { refill(foot); return; }
    const drawer = make("section.drawer", { id: "drawer", tabindex: "-1" });
    drawer.hidden = true;
    const row = make("div.labels", { role: "group", "aria-label": say("strip") });
    let opened = null;
    // The field of the drawer that is being typed in, whether something is pressed, and whether there is news to paint after it.
    let typing = null;
    let pressed = false;
    let late = false;
    // Whether a change is being heard of: a field that is left by a key changes before the next one has the focus, which a node
    // that is thrown away then never gets.
    let changing = false;

    const close = () => {
      if (!opened) return;
      const id = opened;
      opened = null;
      drawer.hidden = true;
      paint();
      row.querySelector(`[data-id="${id}"]`)?.focus();
    };
    const toggle = (label) => {
      if (opened === label.id) { close(); return; }
      opened = label.id;
      paint();
      drawer.focus({ preventScroll: true });
    };
    const paint = () => {
      [typing, late] = [null, false];
      const all = labels(desk, piece);
      const held = document.activeElement?.dataset?.id;
      refill(row, all.map((label) => make("button.label", {
        type: "button", data: { id: label.id }, "aria-expanded": opened === label.id, "aria-controls": "drawer", on: { click: () => toggle(label) },
      }, make("small", {}, say(`strip.${label.id}`)), make(label.past ? "b.past" : "b", {}, label.sign && icon(label.sign), label.value))));
      if (held) row.querySelector(`[data-id="${held}"]`)?.focus();
      const label = all.find((l) => l.id === opened);
      if (!label) { drawer.hidden = true; return; }
      paintDrawer(label);
    };
    const paintDrawer = (label) => {
      drawer.hidden = false;
      drawer.setAttribute("aria-label", say(`strip.${label.id}`));
      const before = trace(drawer);
      refill(drawer, make("div.head", {}, make("h2", {}, say(`strip.${label.id}`)), button(say("close"), close, { icon: "close", quiet: true })),
        make("div.inside", {}, label.drawer(desk, piece)));
      retrace(drawer, before);
    };
    drawer.addEventListener("keydown", (event) => { if (event.key === "Escape") { event.stopPropagation(); close(); } });
    // A field that is being typed in and a slider that is being moved keep their drawer until they are left, and what is
    // pressed stays until it is let go: of a node that was painted anew there is no click.
    const busy = () => {
      const at = document.activeElement;
      return pressed || changing || (drawer.contains(at) && (at === typing || at.type === "range"));
    };
    const later = () => { if (busy()) late = true; else paint(); };
    const rest = () => setTimeout(() => { if (late && !signal.aborted) later(); });
    const release = () => { if (pressed) { pressed = false; rest(); } };
    drawer.addEventListener("input", ({ target }) => { typing = target; });
    drawer.addEventListener("change", ({ target }) => {
      [typing, changing] = [null, true];
      setTimeout(() => { changing = false; });
      rest();
      // What is wrong with it was said of what it held before.
      tell(target, "");
    }, { capture: true });
    drawer.addEventListener("focusout", rest);
    for (const part of [drawer, row]) part.addEventListener("pointerdown", () => { pressed = true; });
    for (const end of ["pointerup", "pointercancel"]) addEventListener(end, release, { signal });
    for (const news of ["saved", "asked", "exact", "table"]) piece.addEventListener(news, later, { signal });
    desk.addEventListener("drawer", ({ detail }) => { const l = labels(desk, piece).find((x) => x.id === detail); if (l && opened !== l.id) toggle(l); }, { signal });
    refill(foot, drawer, row);
    paint();
  },
};

/** Puts a sentence beside a field, or takes away the one that is there. */
function tell(input, says) {
  const wrong = input.id && document.getElementById(`${input.id}-wrong`);
  if (!wrong) return;
  input.setAttribute("aria-invalid", String(Boolean(says)));
  wrong.textContent = says;
}

const INPUTS = "input, button, select, textarea";
const typedIn = (input) => /^(text|textarea)$/.test(input.type);

/** What a drawer's inputs show and what is said beside them, and which holds the focus: to be had again after it was painted anew. */
function trace(drawer) {
  return [...drawer.querySelectorAll(INPUTS)].map((input) => ({
    label: input.labels?.[0]?.textContent, painted: input.painted, typed: input.value,
    says: input.getAttribute("aria-invalid") === "true" ? document.getElementById(`${input.id}-wrong`)?.textContent : "",
    marked: document.activeElement === input && typedIn(input) ? [input.selectionStart, input.selectionEnd] : null,
    focused: document.activeElement === input,
  }));
}

function retrace(drawer, before) {
  const all = [...drawer.querySelectorAll(INPUTS)];
  const held = before.findIndex((old) => old.focused);
  all.forEach((input, at) => {
    input.painted = input.value;
    const old = before[at];
    // It is the same field as long as it is called the same and would show the same.
    if (!old || !typedIn(input) || old.label !== input.labels?.[0]?.textContent || old.painted !== input.painted) return;
    if (old.says) { input.value = old.typed; tell(input, old.says); }
  });
  if (held < 0) return;
  const now = all[held] ?? drawer;
  now.focus({ preventScroll: true });
  const { marked, typed } = before[held];
  if (!marked) return;
  // All of a field is marked where it was come to by a key: what is typed takes the place of what it shows now.
  if (typed && marked[0] === 0 && marked[1] === typed.length) now.select();
  else if (now.value === typed) now.setSelectionRange(...marked);
}
