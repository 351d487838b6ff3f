// Curve: time against likeness, as points to pick from. It is a group of radio buttons laid out as a drawing.

import { draw, fresh, make } from "./element.js";
import { about, db, grain, say, time } from "./words.js";

/** What kinds of points there are. */
const LINES = { all: "curve.all", between: "curve.between", least: "curve.least", lines: "curve.lines" };
const [WIDTH, HEIGHT, LEFT, BOTTOM] = [560, 240, 56, 40];

/** Times that are nearer to each other than this share are one: that is as well as they are estimated. */
const ALIKE = 0.02;

/** What is told apart, the quickest first: the present one, and estimates that are neither it nor one that is longer. */
export function apart(points) {
  const alike = (a, b) => Math.abs(a.seconds - b.seconds) < Math.max(grain(a.seconds), ALIKE * a.seconds);
  const now = points.filter((p) => p.chosen);
  const others = points.filter((p) => !p.chosen).sort((a, b) => b.seconds - a.seconds);
  const kept = others.reduce((all, p) => (all.some((one) => alike(one, p)) ? all : [...all, p]), now);
  return kept.sort((a, b) => a.seconds - b.seconds);
}

/** A point's time: of what is made it is known, of all else estimated. */
const told = (point) => (point.chosen ? time(point.made?.seconds ?? point.seconds) : about(point.seconds));

/**
 * The curve.
 * @param {Array<{seconds, planned_db, kind, chosen, made, change}>} sorted what is offered, told apart; what is `made` stands where it was estimated
 * @param {(point: object) => void} act takes the picked one
 * @returns {HTMLElement|null} null where there is nothing to pick
 */
export function curve(sorted, act) {
  if (sorted.length < 2) return null;
  const likeness = (p) => p.planned_db;
  const alike = (p) => db(p.made?.planned_db ?? likeness(p));
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
    draw("text", { x: x(sorted[0]), y: HEIGHT - 24, "text-anchor": "middle" }, told(sorted[0])),
    draw("text", { x: x(sorted.at(-1)), y: HEIGHT - 24, "text-anchor": "middle" }, told(sorted.at(-1))));
  const name = fresh("curve");
  return make("fieldset.curve", {}, make("legend", {}, say("curve.title")), make("p.hint", {}, say("curve.line")),
    make("div.plot", {}, svg, sorted.map((point) => {
      const input = make("input", { type: "radio", name, checked: Boolean(point.chosen), on: { change: () => act(point) },
        "aria-label": say("curve.point", { time: told(point), db: alike(point), line: line(point) }) });
      input.style.left = `${(x(point) / WIDTH) * 100}%`;
      input.style.top = `${(y(point) / HEIGHT) * 100}%`;
      return input;
    })),
    make("ul.points", {}, sorted.map((p) => make("li", { data: { chosen: Boolean(p.chosen) } },
      make("b", {}, told(p)), make("span", {}, alike(p)), make("span", {}, line(p))))));
}
