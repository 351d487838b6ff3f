// Layers: the texts, borders and pictures that lie above the art.

import { button, field, icon, make } from "./element.js";
import { boxMm, boxText, lengthText, offsetMm } from "./length.js";
import { lengthField, readField } from "./strip.js";
import { say } from "./words.js";

const ANCHORS = ["middle", "top", "bottom", "left", "right", "top-left", "top-right", "bottom-left", "bottom-right"];

/** A new layer goes behind the others, so that it lies above them. */
export function addLayer(piece, layer) {
  piece.set({ ...piece.asked, layer: [...(piece.asked.layer ?? []), layer] });
}

const BORDER_MM = 0.8;
/** What a new text keeps free of the margin: room for a border, whether it is there yet or not, and a gap to it. */
const CLEAR_MM = BORDER_MM + 1;

/** A border as most are wanted. */
export const newBorder = () => ({ border: `${BORDER_MM}mm` });

/** Between a new text and the next, mm. */
const BETWEEN_MM = 1;

/**
 * A text as most are wanted: along the lower edge, of a round blank along its rim, cleared of what lies below it. It is laid beside
 * the texts that are there already, as far as the blank has room.
 */
export function newText(piece) {
  const { shape, width_mm: w, height_mm: h, margin_mm: margin } = piece.blank;
  const round = shape === "round";
  const tenths = (v) => Number(v.toFixed(1));
  const [wide, high] = round ? [w * 0.8, w * 0.075] : [(w - 2 * margin) * 0.8, Math.min(8, h * 0.2)];
  const rim = w * 0.48 - margin - CLEAR_MM;
  const room = round ? rim - w * 0.2 : h - 2 * (margin + CLEAR_MM) - high;
  const lines = Array.from({ length: Math.max(1, Math.floor(room / (high + BETWEEN_MM)) + 1) }, (_, n) => n * (high + BETWEEN_MM));
  const places = round ? [-1, 1].flatMap((side) => lines.map((off) => ({ arc_mm: side * tenths(rim - off) })))
    : lines.map((off) => ({ anchor: "bottom", at: `0mm,${tenths(CLEAR_MM + off)}mm` }));
  const where = (layer) => [layer.anchor, layer.arc_mm, ...offsetMm(layer.at)].join();
  const taken = (piece.value("layer") ?? []).filter((layer) => layer.text !== undefined).map(where);
  const place = places.find((one) => !taken.includes(where(one))) ?? places[0];
  return { text: say("layer.sample"), place: `${tenths(wide)}x${tenths(high)}mm`, ...place, clear: "0.6mm" };
}

/** Room for a text: a width and a height, or a word for as much as the blank has. */
const ROOMS = ["", "inside", "cover"];
const roomText = (typed) => (boxMm(typed) ? boxText(...boxMm(typed)) : typed.toLowerCase() || "inside");
const noRoom = (typed) => !ROOMS.includes(typed.toLowerCase()) && !boxMm(typed) && say("layer.place.wrong", { typed });

function textOf(piece, at, layer, desk) {
  const set = (more) => piece.change(Object.fromEntries(Object.entries(more).map(([k, v]) => [`layer.${at}.${k}`, v])));
  const words = make("textarea", { rows: 2, value: layer.text, on: { change: (e) => set({ text: e.target.value }) } });
  const anchor = make("select", { on: { change: (e) => set({ anchor: e.target.value }) } },
    ANCHORS.map((a) => make("option", { value: a }, say(`anchor.${a}`))));
  anchor.value = layer.anchor ?? "middle";
  const font = desk.kit.fonts.length > 1 && make("select", { on: { change: (e) => set({ font: e.target.value }) } },
    desk.kit.fonts.map((f) => make("option", { value: f }, f)));
  if (font) font.value = layer.font ?? desk.kit.fonts[0];
  return make("div.fields", {},
    field(say("layer.text"), words, { key: `layer.${at}.text` }),
    readField(say("layer.place"), layer.place ?? "inside", noRoom, (typed) => set({ place: roomText(typed) }), { hint: say("layer.place.hint"), key: `layer.${at}.place` }),
    field(say("layer.anchor"), anchor),
    lengthField(piece, say("layer.arc"), layer.arc_mm === undefined ? "" : lengthText(layer.arc_mm), (typed, radius) => {
      set({ arc_mm: radius === null ? null : Number(radius.toFixed(4)) });
    }, { hint: say("layer.arc.hint"), key: `layer.${at}.arc_mm` }),
    font && field(say("layer.font"), font),
    make("label.check", {}, make("input", { type: "checkbox", checked: Boolean(layer.bold), on: { change: (e) => set({ bold: e.target.checked }) } }), say("layer.bold")),
    make("label.check", {}, make("input", { type: "checkbox", checked: Boolean(layer.bare), on: { change: (e) => set({ bare: e.target.checked }) } }), say("layer.bare")));
}

/** The drawer of texts and borders. */
export function layers(desk, piece) {
  const all = piece.value("layer") ?? [];
  const rows = all.map((layer, at) => {
    const kind = layer.text !== undefined ? "text" : layer.border !== undefined ? "border" : "file";
    const remove = () => piece.change({ [`layer.${at}`]: null });
    return make("li.layer", {}, make("div.head", {}, make("h3", {}, icon(kind === "text" ? "letter" : kind === "border" ? "border" : "piece"), say(`layer.${kind}`)),
      button(say("layer.remove", { n: at + 1 }), remove, { icon: "bin", quiet: true })),
    kind === "text" ? textOf(piece, at, layer, desk)
      : kind === "border" ? make("div.fields", {},
        lengthField(piece, say("layer.width"), layer.border, (typed) => piece.change({ [`layer.${at}.border`]: typed || "0.8mm" }), { key: `layer.${at}.border` }),
        lengthField(piece, say("layer.inset"), layer.inset ?? "", (typed) => piece.change({ [`layer.${at}.inset`]: typed || null }), { hint: say("layer.inset.hint") }))
        : make("p", {}, layer.file));
  });
  return [
    make("div.row", {},
      button(say("layer.add.text"), () => addLayer(piece, newText(piece)), { icon: "letter" }),
      button(say("layer.add.border"), () => addLayer(piece, newBorder()), { icon: "border" })),
    all.length > 0 && make("ul.layers", {}, rows),
  ];
}
