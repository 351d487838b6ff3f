// Words: all texts of the page from one file, and numbers with their units as people read them.

let texts = {};

/** Languages that are written from the right to the left, as in src/texts.rs. */
const FROM_RIGHT = ["ar", "arc", "ckb", "dv", "fa", "he", "iw", "ji", "ks", "nqo", "ps", "sd", "syr", "ug", "ur", "yi"];

/** Fetches the texts, which name their language. */
export async function loadWords() {
  const answer = await fetch("/page/texts.json");
  texts = await answer.json();
  const lang = say("lang");
  document.documentElement.lang = lang;
  if (FROM_RIGHT.includes(lang.split("-")[0].toLowerCase())) document.documentElement.dir = "rtl";
}

/** The text of a key, with `{names}` filled in. A key without a text shows itself, so that a test finds it. */
export function say(key, filling = {}) {
  const text = texts[key];
  if (text === undefined) return key;
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in filling ? String(filling[name]) : whole));
}

/** `key.one` or `key.many`, as the count asks for; `{n}` is the count. */
export function count(key, n, filling = {}) {
  return say(`${key}.${n === 1 ? "one" : "many"}`, { n: number(n), ...filling });
}

/** Whether there is a text of that key. */
export const knows = (key) => key in texts;

/**
 * A number with at most so many digits behind the point, without idle zeros. It is written as the program writes it in its own
 * sentences and on the ticket, in every language: with a point, and thousands apart by a narrow space, which nobody takes for one.
 */
export function number(value, digits = 0) {
  return new Intl.NumberFormat("en", { maximumFractionDigits: digits }).format(value).replaceAll(",", "\u202f");
}

/** What is read from the left to the right among words that are not. */
export const fromLeft = (text) => (document.documentElement.dir === "rtl" ? `\u2066${text}\u2069` : text);

/** Millimetres, to a hundredth. */
export const mm = (value) => fromLeft(`${number(value, 2)} mm`);

/** Width and height in millimetres, to a hundredth. */
export const size = (width, height) => fromLeft(`${number(width, 2)} × ${number(height, 2)} mm`);

/** Decibels, with their sign. */
export const db = (value) => fromLeft(`${number(value, 1)} dB`);

/** A time as it is said at the bench: hours and minutes, or minutes and seconds. */
export function time(seconds) {
  const s = Math.round(seconds);
  if (s < 60) return say("time.s", { s });
  if (s < 3600) return say(s % 60 ? "time.min" : "time.min.even", { min: Math.floor(s / 60), s: s % 60 });
  const min = Math.round(s / 60);
  return say(min % 60 ? "time.h" : "time.h.even", { h: Math.floor(min / 60), min: min % 60 });
}

/** How finely a time is told that is an estimate, s. */
export const grain = (seconds) => (seconds < 600 ? 10 : seconds < 3600 ? 60 : 300);

/** A time that is an estimate. */
export function about(seconds) {
  const step = grain(seconds);
  return say("time.about", { time: time(Math.max(1, Math.round(seconds / step)) * step) });
}

/** When what takes so many seconds ends if it begins now, by the clock here; with its day where that is another. */
export function ends(seconds) {
  const [now, end] = [new Date(), new Date(Date.now() + 1000 * seconds)];
  const day = now.toDateString() === end.toDateString() ? {} : { weekday: "long" };
  return end.toLocaleString(document.documentElement.lang, { ...day, hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
}

/** A day and a time of it, by the clock as everywhere. */
export const moment = (at) => new Intl.DateTimeFormat(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short", hourCycle: "h23" }).format(at);

/** A file's size. */
export function bytes(n) {
  return fromLeft(n < 1000 ? `${n} B` : n < 1e6 ? `${number(n / 1e3)} kB` : `${number(n / 1e6, 1)} MB`);
}

/** What a file is called by those who made it: "../../machines/turner.toml" is "turner". */
export const fileStem = (path) => path.split("/").at(-1).replace(/\.toml$/, "");

/** A file's name that begins what is said of it: "camera.jpg: read as a photo". */
const NAMED_FILE = /^[^:]*\.[a-z][a-z0-9]{1,4}: /i;

/** What the program says, as a sentence of its own: a capital, where it does not begin with a file's name, a full stop, and squares as people write them. */
export function sentence(text) {
  const squared = String(text).trim().replace(/\bmm2\b/g, "mm²");
  const begun = NAMED_FILE.test(squared) ? squared : squared.charAt(0).toUpperCase() + squared.slice(1);
  return /[.!?]$/.test(begun) ? begun : `${begun}.`;
}
