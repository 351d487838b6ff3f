// Layers: the texts, borders and pictures that lie above the art.

import { button, field, icon, make } from "./element.js";
import { boxMm, boxText, lengthText, offsetMm, offsetText } from "./length.js";
import { key, lengthField, readField } from "./strip.js";
import { say } from "./words.js";

const ANCHORS = ["middle", "top", "bottom", "left", "right", "top-left", "top-right", "bottom-left", "bottom-right"];

/** A new layer goes behind the others, so that it lies above them. */
export function addLayer(piece, layer) {
  const at = key(piece, "layer");
  piece.change({ [at]: [...(piece.value(at) ?? []), layer] });
}

const BORDER_MM = 0.8;
/** What a new text keeps free of the margin: room for a border, whether it is there yet or not, and a gap to it. */
const CLEAR_MM = BORDER_MM + 1;

/** A border as most are wanted. */
export const newBorder = () => ({ border: `${BORDER_MM}mm` });

/** Between a new text and the next, mm. */
const BETWEEN_MM = 1;

/** From where to where a straight text reaches above the lower margin, of so much between the margins, mm; null of one that has no height of its own. */
function reach(layer, high) {
  const box = boxMm(layer.place);
  if (!box || layer.arc_mm !== undefined) return null;
  const low = { bottom: 0, top: high - box[1] }[sideOf(layer)] ?? (high - box[1]) / 2;
  const [, up] = offsetMm(layer.at);
  return [low + up, low + up + box[1]];
}

/** Which edge a text is set against: "top", "bottom", or neither. */
const sideOf = (layer) => (layer.anchor ?? "middle").split("-")[0];

/**
 * A text as most are wanted: along the lower edge, of a round blank along its rim, cleared of what lies below it. It is laid beside
 * the texts that are there already, as far as the blank has room.
 */
export function newText(piece, text = say("layer.sample")) {
  const { shape, width_mm: w, height_mm: h, margin_mm: margin } = piece.blank;
  const round = shape === "round";
  const [wide, high] = round ? [w * 0.8, w * 0.075] : [(w - 2 * margin) * 0.8, Math.min(8, h * 0.2)];
  const rim = w * 0.48 - margin - CLEAR_MM;
  const room = round ? rim - w * 0.2 : h - 2 * (margin + CLEAR_MM) - high;
  const lines = Array.from({ length: Math.max(1, Math.floor(room / (high + BETWEEN_MM)) + 1) }, (_, n) => n * (high + BETWEEN_MM));
  // Letters stand on their arc: along the upper edge they reach outwards from it, along the lower one inwards.
  const arc = (side, off) => side * tenths(rim - off - (side > 0 ? high : 0));
  const places = round ? [-1, 1].flatMap((side) => lines.map((off) => ({ arc_mm: arc(side, off) })))
    : lines.map((off) => ({ anchor: "bottom", at: `0mm,${tenths(CLEAR_MM + off)}mm` }));
  const where = (layer) => [layer.anchor, layer.arc_mm, ...offsetMm(layer.at)].join();
  const there = (piece.value(key(piece, "layer")) ?? []).filter((layer) => layer.text !== undefined);
  const taken = there.map(where);
  const box = `${tenths(wide)}x${tenths(high)}mm`;
  const crossed = (one) => there.some((layer) => {
    const [a, b] = [one, layer].map((of) => reach({ place: box, ...of }, h - 2 * margin));
    // Along a rim it meets those that are set against that edge.
    if (!a) return b && layer.place && sideOf(layer) === (one.arc_mm < 0 ? "bottom" : "top");
    return b && layer.place && a[0] < b[1] && b[0] < a[1];
  });
  const place = places.find((one) => !taken.includes(where(one)) && !crossed(one)) ?? places[0];
  return { text, place: box, ...place, clear: "0.6mm" };
}

const tenths = (v) => Number(v.toFixed(1));

/** A text alone on a tray's piece. */
const first = ({ width_mm: w, height_mm: h, margin_mm: m }) => ({ place: `${tenths(Math.min(40, 0.9 * (w - 2 * m)))}x${tenths(Math.min(8, 0.4 * (h - 2 * m)))}mm`, anchor: "middle" });

/** How much of its share of the height a text fills, and of the width. */
const [OF_HEIGHT, OF_WIDTH] = [0.8, 0.9];

/** So many texts that share a blank, one below the other, each as high as the others. */
function shares({ shape, width_mm: w, height_mm: h, margin_mm: margin }, many) {
  const share = (h - 2 * margin) / many;
  return Array.from({ length: many }, (_, n) => {
    const up = ((many - 1) / 2 - n) * share;
    const far = Math.abs(up) + (OF_HEIGHT * share) / 2;
    const wide = shape === "round" ? 2 * Math.sqrt((w / 2 - margin) ** 2 - far ** 2) : w - 2 * margin;
    return { place: `${tenths(OF_WIDTH * wide)}x${tenths(OF_HEIGHT * share)}mm`, anchor: "middle", at: offsetText(0, tenths(up)) };
  });
}

/** Whether texts lie as those that share a blank do, whichever it was when they were added. */
function areShares(texts) {
  const at = texts.map((layer) => offsetMm(layer.at)[1]);
  const share = (at[0] - at.at(-1)) / (texts.length - 1);
  const near = (a, b) => Math.abs(a - b) < 0.15;
  return texts.length > 1 && texts.every((layer, n) => layer.anchor === "middle" && layer.arc_mm === undefined && offsetMm(layer.at)[0] === 0
    && near(at[n], ((texts.length - 1) / 2 - n) * share) && near(boxMm(layer.place)?.[1] ?? 0, OF_HEIGHT * share));
}

/**
 * One more text on each piece of a tray, where nobody sees at once how it lies. Texts alone share the blank, as long as nobody
 * placed one of them; else it is laid where none is, clear of a picture.
 */
export function addShared(piece, text) {
  const at = key(piece, "layer");
  const all = piece.value(at) ?? [];
  const texts = all.filter((layer) => layer.text !== undefined);
  const { blank } = piece;
  const alone = !piece.value(key(piece, "art.file")) && all.every((layer) => layer.file === undefined);
  const lies = (layer, as) => ["place", "anchor", "at", "arc_mm"].every((part) => layer[part] === as[part]);
  const unplaced = (layer) => [first(blank), {}, { place: "inside" }].some((as) => lies(layer, as));
  if (!alone || !(areShares(texts) || texts.every(unplaced))) {
    addLayer(piece, newText(piece, text));
    return;
  }
  const now = texts.length ? shares(blank, texts.length + 1) : [first(blank)];
  const placed = all.map((layer) => (layer.text === undefined ? layer : { ...layer, ...now[texts.indexOf(layer)] }));
  piece.change({ [at]: [...placed, { text, ...now.at(-1) }] });
}

/** Room for a text: a width and a height, or a word for as much as the blank has. */
const ROOMS = ["", "inside", "cover"];
const roomText = (typed) => (boxMm(typed) ? boxText(...boxMm(typed)) : typed.toLowerCase() || "inside");
const noRoom = (typed) => !ROOMS.includes(typed.toLowerCase()) && !boxMm(typed) && say("layer.place.wrong", { typed });

/**
 * Where a text or a picture lies and how large it is, by numbers: a tray has no easel to move it on, and not everybody can drag
 * or has a keyboard (WCAG 2.2, 2.5.7).
 */
function placeFields(piece, at, layer) {
  const set = (more) => piece.change(Object.fromEntries(Object.entries(more).map(([k, v]) => [`${at}.${k}`, v])));
  const now = () => offsetMm(piece.value(`${at}.at`));
  const sized = () => (piece.kind === "tray" ? {} : piece.sized(`${at}.at`));
  const moved = (label, side) => lengthField(piece, say(label), lengthText(now()[side]),
    (typed, length) => piece.change({ ...sized(), [`${at}.at`]: offsetText(...now().with(side, length ?? 0)) }));
  const anchor = make("select", { on: { change: (e) => set({ anchor: e.target.value }) } },
    ANCHORS.map((a) => make("option", { value: a }, say(`anchor.${a}`))));
  anchor.value = layer.anchor ?? "middle";
  return [
    readField(say("layer.place"), layer.place ?? "inside", noRoom, (typed) => set({ place: roomText(typed) }), { hint: say("layer.place.hint"), key: `${at}.place` }),
    field(say("layer.anchor"), anchor),
    moved("place.right", 0), moved("place.up", 1),
  ];
}

function textOf(piece, at, layer, desk) {
  const set = (more) => piece.change(Object.fromEntries(Object.entries(more).map(([k, v]) => [`${at}.${k}`, v])));
  const words = make("textarea", { rows: 2, value: layer.text, on: { change: (e) => set({ text: e.target.value }) } });
  const font = desk.kit.fonts.length > 1 && make("select", { on: { change: (e) => set({ font: e.target.value }) } },
    desk.kit.fonts.map((f) => make("option", { value: f }, f)));
  if (font) font.value = layer.font ?? desk.kit.fonts[0];
  return make("div.fields", {},
    field(say("layer.text"), words, { key: `${at}.text` }),
    placeFields(piece, at, layer),
    lengthField(piece, say("layer.arc"), layer.arc_mm === undefined ? "" : lengthText(layer.arc_mm), (typed, radius) => {
      set({ arc_mm: radius === null ? null : Number(radius.toFixed(4)) });
    }, { hint: say("layer.arc.hint"), key: `${at}.arc_mm` }),
    font && field(say("layer.font"), font),
    make("label.check", {}, make("input", { type: "checkbox", checked: Boolean(layer.bold), on: { change: (e) => set({ bold: e.target.checked }) } }), say("layer.bold")),
    make("label.check", {}, make("input", { type: "checkbox", checked: Boolean(layer.bare), on: { change: (e) => set({ bare: e.target.checked }) } }), say("layer.bare")));
}

/** The drawer of texts and borders. */
export function layers(desk, piece) {
  const of = key(piece, "layer");
  const all = piece.value(of) ?? [];
  const rows = all.map((layer, n) => {
    const at = `${of}.${n}`;
    const kind = layer.text !== undefined ? "text" : layer.border !== undefined ? "border" : "file";
    const remove = () => piece.change({ [at]: null });
    return make("li.layer", {}, make("div.head", {}, make("h3", {}, icon(kind === "text" ? "letter" : kind === "border" ? "border" : "piece"), say(`layer.${kind}`)),
      button(say("layer.remove", { n: n + 1 }), remove, { icon: "bin", quiet: true })),
    kind === "text" ? textOf(piece, at, layer, desk)
      : kind === "border" ? make("div.fields", {},
        lengthField(piece, say("layer.width"), layer.border, (typed) => piece.change({ [`${at}.border`]: typed || "0.8mm" }), { key: `${at}.border` }),
        lengthField(piece, say("layer.inset"), layer.inset ?? "", (typed) => piece.change({ [`${at}.inset`]: typed || null }), { hint: say("layer.inset.hint") }))
        : make("div.fields", {}, make("p", {}, layer.file), placeFields(piece, at, layer)));
  });
  return [
    make("div.row", {},
      // What a row of the table fills is begun beside the table.
      piece.kind !== "tray" && button(say("layer.add.text"), () => addLayer(piece, newText(piece)), { icon: "letter" }),
      button(say("layer.add.border"), () => addLayer(piece, newBorder()), { icon: "border" })),
    all.length > 0 && make("ul.layers", {}, rows),
  ];
}
