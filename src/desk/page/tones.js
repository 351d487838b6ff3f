// Tones: how the art is read, how light and how hard it is to be, and by which screen it becomes dots.

import { choice, field, make } from "./element.js";
import { number, say } from "./words.js";

const percent = (value) => (value && value !== "off" ? Math.round(Number(String(value).replace("%", ""))) : 0);

/** A part of a hundred, as the page writes it elsewhere. */
const share = (value) => say("percent", { n: number(value) });

/** What a tone is set to, in words; nothing where it is as it is. */
function toneWord(key, value) {
  const n = share(Math.abs(value));
  if (key === "tone.brighten") return value && say(value > 0 ? "tone.lighter" : "tone.darker", { n });
  return value && say(value > 0 ? "tone.harder" : "tone.flatter", { n });
}

function slider(piece, label, key) {
  const out = make("output", {}, share(percent(piece.value(key))));
  const input = make("input", { type: "range", min: -100, max: 100, step: 5, value: percent(piece.value(key)), list: "middle" });
  const tell = (value) => input.setAttribute("aria-valuetext", toneWord(key, value) || say("tone.as-is"));
  tell(Number(input.value));
  input.addEventListener("input", () => {
    const value = Number(input.value);
    out.textContent = share(value);
    tell(value);
    piece.change({ [key]: value ? `${value}%` : "off" }, key);
  });
  const whole = field(label, input, { key });
  whole.querySelector("label").append(" ", out);
  return whole;
}

/** What the tones are, in two words at most. */
export function toneWords(piece) {
  return ["tone.brighten", "tone.contrast"].map((key) => toneWord(key, percent(piece.value(key)))).filter(Boolean);
}

/** The drawer of tones. */
export function tones(desk, piece) {
  const screens = make("select", { on: { change: (e) => piece.change({ "dots.screen": e.target.value }) } },
    desk.kit.screens.map((s) => make("option", { value: s.name }, s.name)));
  screens.value = piece.value("dots.screen") ?? "auto";
  return [
    piece.value("art.file") && choice(say("tone.read"), ["auto", "photo", "drawing", "paper"].map((value) => ({
      value, label: say(`read.${value}`), line: say(`read.${value}.line`),
    })), piece.value("art.read_as") ?? "auto", (value) => piece.change({ "art.read_as": value }), { kind: "cards" }),
    make("div.fields", {},
      slider(piece, say("tone.brighten"), "tone.brighten"),
      slider(piece, say("tone.contrast"), "tone.contrast"),
      make("label.check", {}, make("input", {
        type: "checkbox", checked: Boolean(piece.value("tone.invert")), on: { change: (e) => piece.change({ "tone.invert": e.target.checked }) },
      }), say("tone.invert")),
      field(say("tone.screen"), screens, { hint: desk.kit.screens.find((s) => s.name === screens.value)?.line, key: "dots.screen" })),
  ];
}
