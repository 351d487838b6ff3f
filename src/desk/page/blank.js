// Blank: its outline in millimetres, read from what is asked, so that the page can draw it before the server answers.

import { lengthMm, lengthText } from "./length.js";

/**
 * The blank of "round:90mm", "rect:100x60mm", "rect:100x100mm:r8mm", "cylinder:73x100mm" or "cone:60x78x120mm": width and
 * height of what is marked, which of a round piece is the unrolled mantle; and its sides as they are typed. Null where it
 * is none of them.
 */
export function blankOf(shape) {
  const [kind, typed, ...rest] = String(shape ?? "").split(":");
  const count = { round: 1, rect: 2, cylinder: 2, cone: 3 }[kind];
  const parts = (typed ?? "").split(/[x×]/);
  const unit = /(mm|cm|in)?\s*$/i.exec(typed ?? "")[1] ?? "mm";
  const sides = parts.map((part) => lengthMm(/[a-z]\s*$/i.test(part) ? part : part + unit));
  if (sides.length !== count || sides.some((side) => side === null)) return null;
  const corner = rest.find((part) => /^r[\d.]/.test(part));
  const [across, second, third] = sides;
  const same = { shape: kind, across_mm: across, corner_mm: 0, closed: rest.includes("closed") };
  if (kind === "round") return { ...same, width_mm: across, height_mm: across, tall_mm: across };
  if (kind === "cone") {
    const widest = Math.max(across, second);
    return {
      ...same, top_mm: second, tall_mm: third, width_mm: Math.PI * widest, height_mm: Math.hypot(third, (across - second) / 2),
      // How wide its ends are beside its widest.
      foot: across / widest, top: second / widest,
    };
  }
  const width = kind === "cylinder" ? Math.PI * across : across;
  return { ...same, width_mm: width, height_mm: second, tall_mm: second, corner_mm: corner ? lengthMm(corner.slice(1)) ?? 0 : 0 };
}

/** A blank as it is asked for: its shape and its sides in mm. */
export function shapeText({ shape, across_mm: across, top_mm: top, tall_mm: tall, corner_mm: corner, closed }) {
  const sides = { round: [across], rect: [across, tall], cylinder: [across, tall], cone: [across, top, tall] }[shape];
  const more = shape === "rect" && corner ? `:r${lengthText(corner)}` : ["cylinder", "cone"].includes(shape) && closed ? ":closed" : "";
  return `${shape}:${sides.map((side) => lengthText(side).replace("mm", "")).join("x")}mm${more}`;
}

/** The kit's blank that is asked for, or the usual one where nobody asked; undefined for one of a maker's own. */
export function kitBlank(kit, asked = {}) {
  if (!asked.shape) return kit.blanks.find((b) => b.name === kit.usual?.blank) ?? kit.blanks[0];
  return kit.blanks.find((b) => b.asked.shape === asked.shape && (!asked.surface || b.asked.surface === asked.surface));
}

/** The blank of what is asked, with its margin (mm) and what it is called. */
export function askedBlank(kit, asked = {}) {
  const of = kitBlank(kit, asked);
  const shape = asked.shape ?? of?.asked.shape;
  // Where none is asked for, it is that of the usual blank, whatever the shape.
  const margin = lengthMm(asked.margin ?? kitBlank(kit)?.asked.margin ?? "") ?? 0;
  return { width_mm: 100, height_mm: 100, across_mm: 100, tall_mm: 100, corner_mm: 0, shape: "rect", ...blankOf(shape), margin_mm: margin, name: of?.name, line: shape };
}

/** The CSS shape of a blank whose box is `width` by `height` and begins at `x`, `y`: in pixels, or in percent of its node. */
export function outlineClip(blank, { x, y, width, height } = {}) {
  const sized = width !== undefined;
  if (blank.shape === "round") return sized ? `circle(${width / 2}px at ${x + width / 2}px ${y + height / 2}px)` : "circle(50%)";
  if (blank.shape === "cone") {
    const [w, h, unit] = sized ? [width, height, "px"] : [100, 100, "%"];
    const at = (across, down) => `${(x ?? 0) + w * (0.5 + across / 2)}${unit} ${(y ?? 0) + h * down}${unit}`;
    return `polygon(${at(-blank.top, 0)}, ${at(blank.top, 0)}, ${at(blank.foot, 1)}, ${at(-blank.foot, 1)})`;
  }
  const corner = (blank.corner_mm ?? 0) / blank.width_mm;
  if (!sized) return `inset(0 round ${corner * 100}% / ${((blank.corner_mm ?? 0) / blank.height_mm) * 100}%)`;
  // A rectangle that may reach out of its node on every side: path(), since inset() would cut at the node's edges.
  const r = corner * width;
  const arc = (dx, dy) => `a${r} ${r} 0 0 1 ${dx} ${dy}`;
  return `path("M${x + r} ${y}h${width - 2 * r}${arc(r, r)}v${height - 2 * r}${arc(-r, r)}h${2 * r - width}${arc(-r, -r)}v${2 * r - height}${arc(r, -r)}z")`;
}
