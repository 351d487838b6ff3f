// Loupe: the piece from the whole to single dots, one look at a time or two side by side.

import { outlineClip } from "./blank.js";
import { button, choice, field, fresh, make, refill } from "./element.js";
import { Glass, Plate } from "./glass.js";
import { announce } from "./notice.js";
import { get, jobPath } from "./server.js";
import { mm, number, say, sentence } from "./words.js";

const LOOKS = ["original", "wanted", "forecast", "dots", "density", "overburn"];

/** A bank card: ISO/IEC 7810, ID-1. */
const CARD_MM = { w: 85.6, h: 53.98 };

/** How many pixels of the screen make one of CSS; the browser's zoom changes it. */
const density = () => devicePixelRatio || 1;

const calibrated = () => Number(localStorage.getItem("screen-pixels-per-mm"));

/** CSS pixels a mm on this screen at the present zoom: as it was calibrated, or as CSS counts inches. */
const screenScale = () => calibrated() / density() || 96 / 25.4;

/** Keeps a scale in pixels of the screen, which stay as large whatever the zoom. */
const keepScale = (scale) => localStorage.setItem("screen-pixels-per-mm", scale * density());

/** Asks for a bank card to be laid on the screen; answers the scale, or null. */
function calibrate() {
  return new Promise((resolve) => {
    const card = make("div.card", { "aria-hidden": "true" });
    const range = make("input", { type: "range", min: 180, max: 900, step: 1, value: Math.round(screenScale() * CARD_MM.w) });
    const paint = () => {
      card.style.width = `${range.value}px`;
      card.style.height = `${(range.value * CARD_MM.h) / CARD_MM.w}px`;
    };
    range.addEventListener("input", paint);
    const dialog = make("dialog.calibrate", { "aria-labelledby": "calibrate-title" });
    const end = (value) => { dialog.close(); dialog.remove(); resolve(value); };
    refill(dialog, make("h2", { id: "calibrate-title" }, say("calibrate.title")), make("p", {}, say("calibrate.text")),
      make("div.bench", {}, card), field(say("calibrate.width"), range),
      make("div.row", {}, button(say("calibrate.done"), () => end(range.value / CARD_MM.w), { kind: "main" }), button(say("cancel"), () => end(null))));
    dialog.addEventListener("cancel", () => { dialog.remove(); resolve(null); });
    document.body.append(dialog);
    paint();
    dialog.showModal();
  });
}

/** The bar that says how long a millimetre is here. */
function ruler(glass) {
  const bar = make("span.bar", { "aria-hidden": "true" });
  const text = make("span");
  const paint = () => {
    const most = 140 / glass.scale;
    const step = [50, 20, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05].find((s) => s <= most) ?? 0.02;
    bar.style.width = `${step * glass.scale}px`;
    // Before the screen was measured its true size is a guess.
    text.textContent = say(calibrated() ? "loupe.scale" : "loupe.scale.about", { bar: mm(step), times: number(glass.scale / screenScale(), glass.scale > 40 ? 0 : 1) });
  };
  return [make("p.ruler", {}, bar, text), paint];
}

/** How far a finger may slip in a tap, px. */
const TAP_PX = 5;

/** The line between two looks: dragged, put where the window is tapped, or moved by keys. */
function divider(host, right, signal) {
  let share = 0.5;
  const handle = make("div.divider", {
    role: "slider", tabindex: 0, "aria-orientation": "horizontal", "aria-label": say("loupe.divider"), "aria-valuemin": 0, "aria-valuemax": 100,
  }, make("span", { "aria-hidden": "true" }));
  const paint = () => {
    const at = `${share * 100}%`;
    handle.style.left = at;
    right.style.clipPath = `inset(0 0 0 ${at})`;
    handle.setAttribute("aria-valuenow", Math.round(share * 100));
    handle.setAttribute("aria-valuetext", say("loupe.divider.at", { share: Math.round(share * 100) }));
  };
  const set = (value) => { share = Math.min(1, Math.max(0, value)); paint(); };
  let held = false;
  handle.addEventListener("pointerdown", (e) => { held = true; handle.setPointerCapture(e.pointerId); e.preventDefault(); handle.focus(); }, { signal });
  handle.addEventListener("pointermove", (e) => {
    if (!held) return;
    const box = host.getBoundingClientRect();
    set((e.clientX - box.left) / box.width);
  }, { signal });
  handle.addEventListener("pointerup", () => { held = false; }, { signal });
  // A tap is a press that does not move; one that moves pans what is seen.
  let pressed = null;
  host.addEventListener("pointerdown", (e) => { pressed = handle.contains(e.target) ? null : e; }, { signal });
  host.addEventListener("pointerup", (e) => {
    const isTap = pressed && Math.hypot(e.clientX - pressed.clientX, e.clientY - pressed.clientY) < TAP_PX;
    pressed = null;
    if (!isTap || handle.hidden) return;
    const box = host.getBoundingClientRect();
    set((e.clientX - box.left) / box.width);
  }, { signal });
  handle.addEventListener("keydown", (e) => {
    const step = e.shiftKey ? 0.1 : 0.02;
    const to = { ArrowLeft: share - step, ArrowDown: share - step, ArrowRight: share + step, ArrowUp: share + step, Home: 0, End: 1 }[e.key];
    if (to === undefined) return;
    e.preventDefault();
    e.stopPropagation();
    set(to);
  }, { signal });
  paint();
  return handle;
}

export const loupe = {
  open(desk, main, signal) {
    const { piece } = desk;
    piece.expect();
    const where = new URLSearchParams(location.search);
    let look = LOOKS.includes(where.get("look")) ? where.get("look") : "forecast";
    let beside = "";
    let versions = [];
    let sheet = null;

    const shapes = [make("div.shape"), make("div.shape")];
    const left = make("div.plate", { "aria-hidden": "true" }, shapes[0]);
    const right = make("div.plate", { "aria-hidden": "true" }, shapes[1]);
    right.hidden = true;
    const hint = fresh("keys");
    const window_ = make("div.glass", { tabindex: 0, role: "group", "aria-label": say("loupe.window"), "aria-describedby": hint }, left, right);
    let { w, h } = piece.whole;
    const line = divider(window_, right, signal);
    line.hidden = true;
    window_.append(line);

    const select = make("select", { on: { change: (e) => { beside = e.target.value; turn(); } } });
    const [scale, paintScale] = ruler({ get scale() { return glass.scale; } });
    const still = make("p.still", { role: "status" });
    const dotScale = () => 8 / (piece.ticket?.dots?.switch_mm || piece.ticket?.dots?.pitch_mm || 0.05);

    main.append(make("div.loupe", {},
      make("div.bar", {},
        choice(say("loupe.look"), LOOKS.map((value) => ({ value, label: say(`look.${value}`) })), look, (value) => {
          look = value;
          const at = new URLSearchParams(location.search);
          at.set("look", look);
          history.replaceState({}, "", `/?${at}`);
          turn();
        }, { kind: "row" }),
        field(say("loupe.beside"), select)),
      make("div.frame", {}, window_, still),
      make("div.bar.under", {},
        make("div.row", { role: "group", "aria-label": say("loupe.nearness") },
          button(say("loupe.out"), () => glass.zoom(1 / 1.6), { icon: "minus", quiet: true }),
          button(say("loupe.in"), () => glass.zoom(1.6), { icon: "plus", quiet: true }),
          button(say("loupe.whole"), () => glass.fit()),
          button(say("loupe.dots"), () => glass.to(dotScale())),
          button(say("loupe.true"), async () => {
            if (!calibrated()) {
              const found = await calibrate();
              if (found === null) return;
              keepScale(found);
            }
            glass.to(screenScale());
            announce(say("loupe.true.now"));
          }),
          button(say("loupe.calibrate"), async () => {
            const found = await calibrate();
            if (found !== null) { keepScale(found); glass.to(screenScale()); }
          }, { icon: "card" })),
        scale),
      make("p", {}, make("b", { id: "meaning" }), " ", make("span.hint", { id: hint }, say("loupe.keys")))));

    const glass = new Glass(window_, { w, h }, 400, signal);
    const path = (what, more = {}) => {
      const revision = piece.revision;
      return (area, px) => piece.tile(what, area, px, { revision, ...more });
    };
    const plates = [new Plate(shapes[0], { w, h }, path(look)), new Plate(shapes[1], { w, h }, path("original"))];
    const lay = () => {
      plates[0].lay(glass);
      if (!right.hidden) plates[1].lay(glass);
      const clip = outlineClip(piece.blank, { x: -glass.x * glass.scale, y: -glass.y * glass.scale, width: w * glass.scale, height: h * glass.scale });
      for (const shape of shapes) shape.style.clipPath = clip;
      paintScale();
    };
    const turn = () => {
      plates[0].turn(path(look));
      right.hidden = !beside;
      line.hidden = !beside;
      if (beside) {
        const [kind, value] = beside.split(":");
        plates[1].turn(kind === "look" ? path(value) : path(look, { version: value, sheet }));
      }
      main.querySelector("#meaning").textContent = say(`look.${look}.line`);
      lay();
    };
    glass.addEventListener("moved", lay, { signal });

    const options = () => {
      const of = (value, words) => make("option", { value }, words);
      refill(select, of("", say("loupe.alone")),
        make("optgroup", { label: say("loupe.looks") }, LOOKS.map((l) => of(`look:${l}`, say(`look.${l}`)))),
        versions.length > 0 && make("optgroup", { label: say("loupe.versions") }, versions.map((v, at) => of(`version:${v.id}`, `${at + 1}  ${v.line}`))));
      select.value = beside;
    };
    options();
    get(jobPath(piece.name, "/sheet"), signal).then((found) => { [sheet, versions] = [found?.sheet ?? null, found?.versions ?? []]; options(); }).catch(() => {});

    // The blank may become another one while it is looked at. What the page and the server compute differs by less than is seen.
    const resize = () => {
      const now = piece.whole;
      if (Math.abs(now.w - w) < 0.05 && Math.abs(now.h - h) < 0.05) return;
      ({ w, h } = now);
      for (const plate of plates) plate.see({ w, h });
      glass.see({ w, h });
      turn();
    };
    const coarse = () => { for (const plate of plates) plate.under(piece.path("coarse")); lay(); };
    const wait = () => { still.textContent = piece.ticket ? "" : piece.lacking ? sentence(piece.lacking) : say("look.coming"); };
    piece.addEventListener("refused", wait, { signal });
    piece.addEventListener("saved", () => { wait(); resize(); coarse(); }, { signal });
    piece.addEventListener("exact", () => { wait(); resize(); turn(); }, { signal });
    wait();
    coarse();
    turn();
  },
};
