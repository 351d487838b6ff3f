// Length: what a maker types for a distance, "2.5mm", "1in", "2,5 mm", and back.

const UNITS = { mm: 1, cm: 10, in: 25.4, '"': 25.4 };

/** Millimetres of a typed length, or null where it is none. A number without a unit is none: 3 what? */
export function lengthMm(typed) {
  const found = /^\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(mm|cm|in|")\s*$/i.exec(typed);
  return found ? Number(found[1].replace(",", ".")) * UNITS[found[2].toLowerCase()] : null;
}

/** A length as it stands in a job file: at most four digits behind the point. */
export function lengthText(value) {
  return `${Number(value.toFixed(4))}mm`;
}

/** The two lengths of an offset, "1.5mm,-2mm": to the right and up, in mm. */
export function offsetMm(typed) {
  const parts = (typed ?? "0mm,0mm").split(",").map(lengthMm);
  return parts.length === 2 && parts.every((p) => p !== null) ? parts : [0, 0];
}

/** An offset as it stands in a job file. */
export const offsetText = (right, up) => `${lengthText(right)},${lengthText(up)}`;

/** Width and height of "60x40mm", or null. */
export function boxMm(typed) {
  const found = /^\s*([\d.,]+)\s*(mm|cm|in|")?\s*[x×]\s*([\d.,]+)\s*(mm|cm|in|")\s*$/i.exec(typed ?? "");
  if (!found) return null;
  const unit = found[4];
  const sides = [lengthMm(found[1] + (found[2] || unit)), lengthMm(found[3] + unit)];
  return sides.includes(null) ? null : sides;
}

/** A width and a height as they stand in a job file. */
export const boxText = (width, height) => `${lengthText(width).replace("mm", "")}x${lengthText(height)}`;
