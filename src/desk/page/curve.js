// Curve: time against likeness, as points to pick from. It is a group of radio buttons laid out as a drawing.

import { draw, fresh, make } from "./element.js";
import { db, say, time } from "./words.js";

/** What kinds of points there are. */
const LINES = { all: "curve.all", between: "curve.between", least: "curve.least", lines: "curve.lines" };
const [WIDTH, HEIGHT, LEFT, BOTTOM] = [560, 240, 56, 40];

/**
 * The curve.
 * @param {Array<{seconds, planned_db, kind, chosen, change}>} points what is offered
 * @param {(point: object) => void} act takes the picked one
 */
export function curve(points, act) {
  const sorted = [...points].sort((a, b) => a.seconds - b.seconds);
  const likeness = (p) => p.planned_db;
  const line = (p) => say(p.chosen ? "curve.now" : LINES[p.kind]);
  const ends = (values) => {
    const [low, high] = [Math.min(...values), Math.max(...values)];
    const room = (high - low || 1) * 0.15;
    return [low - room, high + room];
  };
  const [t0, t1] = ends(sorted.map((p) => p.seconds));
  const [l0, l1] = ends(sorted.map(likeness));
  const x = (p) => LEFT + ((p.seconds - t0) / (t1 - t0)) * (WIDTH - LEFT - 24);
  const y = (p) => HEIGHT - BOTTOM - ((likeness(p) - l0) / (l1 - l0)) * (HEIGHT - BOTTOM - 24);

  const svg = draw("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, "aria-hidden": "true", class: "lines" },
    draw("path", { class: "axis", d: `M${LEFT} 12V${HEIGHT - BOTTOM}H${WIDTH - 8}` }),
    draw("path", { class: "through", d: `M${sorted.map((p) => `${x(p).toFixed(1)} ${y(p).toFixed(1)}`).join("L")}` }),
    draw("text", { x: WIDTH / 2, y: HEIGHT - 6, "text-anchor": "middle" }, say("curve.time")),
    draw("text", { x: LEFT + 8, y: 22 }, say("curve.likeness")),
    draw("text", { x: x(sorted[0]), y: HEIGHT - 24, "text-anchor": "middle" }, time(sorted[0].seconds)),
    draw("text", { x: x(sorted.at(-1)), y: HEIGHT - 24, "text-anchor": "middle" }, time(sorted.at(-1).seconds)));
  const name = fresh("curve");
  return make("fieldset.curve", {}, make("legend", {}, say("curve.title")), make("p.hint", {}, say("curve.line")),
    make("div.plot", {}, svg, sorted.map((point) => {
      const input = make("input", { type: "radio", name, checked: Boolean(point.chosen), on: { change: () => act(point) },
        "aria-label": say("curve.point", { time: time(point.seconds), db: db(likeness(point)), line: line(point) }) });
      input.style.left = `${(x(point) / WIDTH) * 100}%`;
      input.style.top = `${(y(point) / HEIGHT) * 100}%`;
      return input;
    })),
    make("ul.points", {}, sorted.map((p) => make("li", { data: { chosen: Boolean(p.chosen) } },
      make("b", {}, time(p.seconds)), make("span", {}, db(likeness(p))), make("span", {}, line(p))))));
}
