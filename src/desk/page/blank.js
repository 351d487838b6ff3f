// Blank: its outline in millimetres, read from what is asked, so that the page can draw it before the server answers.

import { lengthMm } from "./length.js";

/**
 * The blank of "round:90mm", "rect:100x60mm", "rect:100x100mm:r8mm" or "cylinder:73x100mm": width and height of what is
 * marked, which of a cylinder is the unrolled mantle. Null where it is none of them.
 */
export function blankOf(shape) {
  const [kind, ...rest] = String(shape ?? "").split(":");
  const number = "([\\d.,]+)\\s*(mm|cm|in)?";
  if (kind === "round") {
    const across = lengthMm(rest[0] ?? "");
    return across && { shape: kind, width_mm: across, height_mm: across, across_mm: across, corner_mm: 0 };
  }
  const found = new RegExp(`^${number}[x×]${number}$`, "i").exec((rest[0] ?? "").trim());
  if (!found || !["rect", "cylinder"].includes(kind)) return null;
  const unit = found[4] ?? found[2] ?? "mm";
  const [w, h] = [lengthMm(found[1] + (found[2] ?? unit)), lengthMm(found[3] + unit)];
  const corner = rest.find((part) => /^r[\d.]/.test(part));
  return {
    shape: kind, across_mm: w, width_mm: kind === "cylinder" ? Math.PI * w : w, height_mm: h,
    corner_mm: corner ? lengthMm(corner.slice(1)) ?? 0 : 0,
  };
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
  const margin = lengthMm(asked.margin ?? of?.asked.margin ?? "2.5mm") ?? 2.5;
  return { width_mm: 100, height_mm: 100, corner_mm: 0, shape: "rect", ...blankOf(shape), margin_mm: margin, name: of?.name, line: shape };
}

/** The CSS shape of a blank whose box is `width` by `height` and begins at `x`, `y`: in pixels, or in percent of its node. */
export function outlineClip(blank, { x, y, width, height } = {}) {
  const sized = width !== undefined;
  if (blank.shape === "round") return sized ? `circle(${width / 2}px at ${x + width / 2}px ${y + height / 2}px)` : "circle(50%)";
  const corner = (blank.corner_mm ?? 0) / blank.width_mm;
  if (!sized) return `inset(0 round ${corner * 100}% / ${((blank.corner_mm ?? 0) / blank.height_mm) * 100}%)`;
  // A rectangle that may reach out of its node on every side: path(), since inset() would cut at the node's edges.
  const r = corner * width;
  const arc = (dx, dy) => `a${r} ${r} 0 0 1 ${dx} ${dy}`;
  return `path("M${x + r} ${y}h${width - 2 * r}${arc(r, r)}v${height - 2 * r}${arc(-r, r)}h${2 * r - width}${arc(-r, -r)}v${2 * r - height}${arc(r, -r)}z")`;
}
