// Easel: the art on its blank, moved by hand. While it moves, the page shows what it holds; the forecast follows at rest.

import { button, fresh, make } from "./element.js";
import { outlineClip } from "./blank.js";
import { addLayer, newBorder, newText } from "./layers.js";
import { boxMm, offsetMm, offsetText } from "./length.js";
import { announce } from "./notice.js";
import { sizeKeys } from "./piece.js";
import { mm, number, say, size } from "./words.js";

const STEP_MM = 0.1;
const STRIDE_MM = 1;
/** A hand that moves nothing for so long rests, or is about to let go. */
const STILL_MS = 120;

/**
 * Where a layer is held. A text along a circle is as large as its circle for the server; it is held where its letters are,
 * so that what lies within the circle stays in reach.
 */
function grip(layer, box) {
  const radius = Math.abs(layer.arc_mm ?? 0);
  const [length, high] = boxMm(layer.place) ?? [];
  if (!radius || !length) return { ...box };
  const half = Math.min(length / 2 / radius, Math.PI / 2);
  const width = 2 * radius * Math.sin(half) + high;
  const height = radius * (1 - Math.cos(half)) + 1.6 * high;
  const middle = box.y_mm + box.height_mm / 2;
  const y = layer.arc_mm < 0 ? middle + radius - height + 0.5 * high : middle - radius - 0.8 * high;
  return { x_mm: box.x_mm + (box.width_mm - width) / 2, y_mm: y, width_mm: width, height_mm: height };
}

/** The part of the art that is kept, "10%,0%,80%,100%": left, top, width and height, as shares of it. */
function cropped(typed) {
  const parts = String(typed ?? "").split(",").map((part) => Number.parseFloat(part) / 100);
  return parts.length === 4 && parts.every(Number.isFinite) && parts[2] > 0 && parts[3] > 0 ? parts : [0, 0, 1, 1];
}

/** The art as it lies in its box: cropped, then turned clockwise, then mirrored left to right. The file itself is none of these. */
function picture(piece, box) {
  const turn = piece.value("art.turn") ?? 0;
  const [left, top, width, height] = cropped(piece.value("art.crop"));
  const long = (share) => `${100 * share}%`;
  // What is turned on its side is as wide as its box is high.
  const [w, h] = turn % 180 ? [box.height_mm / box.width_mm, box.width_mm / box.height_mm] : [1, 1];
  const img = make("img", { src: `/api/art/${encodeURIComponent(piece.art)}/picture`, alt: "", draggable: "false" });
  Object.assign(img.style, { left: long(-left / width), top: long(-top / height), width: long(1 / width), height: long(1 / height) });
  const turned = make("div.turned", {}, img);
  Object.assign(turned.style, {
    left: long((1 - w) / 2), top: long((1 - h) / 2), width: long(w), height: long(h),
    transform: `${piece.value("art.mirror") ? "scaleX(-1) " : ""}rotate(${turn}deg)`,
  });
  return turned;
}

/** What can be moved: the art, and each text and picture above it. A border follows the blank's edge. */
function movables(piece) {
  const { art, layers } = piece.boxes;
  const all = [];
  if (piece.art && art) all.push({ key: "art.at", box: { ...art }, label: say("easel.art"), picture: picture(piece, art) });
  (piece.value("layer") ?? []).forEach((layer, at) => {
    const box = layers[at];
    if (layer.border !== undefined || !box) return;
    all.push({ key: `layer.${at}.at`, box: grip(layer, box), label: layer.text ? say("easel.text", { text: layer.text.split("\n")[0] }) : say("easel.layer", { n: at + 1 }) });
  });
  return all;
}

export const easel = {
  open(desk, main, signal) {
    const { piece } = desk;
    piece.expect();
    const keys = fresh("keys");
    const look = make("img.look", { alt: say("easel.alt", { name: piece.name }), draggable: "false" });
    const things = make("div.things");
    const board = make("div.blank", {}, things, look, make("div.margin", { "aria-hidden": "true" }));
    const reading = make("p.reading", { role: "status" });
    const bench = make("div.bench", {}, board);

    main.append(make("div.easel", {}, bench,
      make("aside", {},
        make("h2", {}, say("easel.move")), make("p", { id: keys }, say("easel.keys")), reading,
        make("div.row", {},
          piece.art && button(say("easel.middle"), () => piece.change({
            ...(offsetMm(piece.value("art.at")).some(Boolean) && piece.sized("art.at")), "art.at": "0mm,0mm", "art.anchor": "middle",
          })),
          button(say("layer.add.text"), () => { addLayer(piece, newText(piece)); desk.dispatchEvent(new CustomEvent("drawer", { detail: "words" })); }, { icon: "letter" }),
          button(say("layer.add.border"), () => addLayer(piece, newBorder()), { icon: "border" })),
        piece.art && make("div.row", {},
          button(say("easel.size"), () => desk.dispatchEvent(new CustomEvent("drawer", { detail: "size" })), { icon: "measure" }),
          button(say("easel.place"), () => desk.dispatchEvent(new CustomEvent("drawer", { detail: "place" })), { icon: "easel" })))));

    let scale = 1;
    /** The key of what the reading tells of. */
    let read = null;
    /** Whether the look is of what was asked for last. */
    let shown = true;
    /** Whether something changed while a hand held a thing. */
    let due = false;
    const fit = () => {
      const { width_mm: w, height_mm: h, shape, corner_mm: corner, margin_mm: margin } = piece.blank;
      // A phone's width is the limit there, its height elsewhere; the window's where the whole page scrolls, since `main` is then as tall as the board.
      const high = getComputedStyle(main).overflowY === "visible" ? innerHeight : main.clientHeight;
      scale = Math.min(bench.clientWidth / w, Math.max(200, high - 60) / h);
      board.style.width = `${w * scale}px`;
      board.style.height = `${h * scale}px`;
      board.style.setProperty("--corner", shape === "round" ? "50%" : `${corner * scale}px`);
      board.style.clipPath = shape === "cone" ? outlineClip(piece.blank) : "";
      board.style.setProperty("--free", `${margin * scale}px`);
      for (const node of things.children) put(node);
    };

    const put = (node) => {
      const { box } = node.thing;
      node.style.left = `${box.x_mm * scale}px`;
      node.style.top = `${box.y_mm * scale}px`;
      node.style.width = `${box.width_mm * scale}px`;
      node.style.height = `${box.height_mm * scale}px`;
      node.style.transform = `translate(${node.moved.x * scale}px, ${node.moved.y * scale}px)`;
    };

    const tell = (node) => {
      const [right, up] = offsetMm(piece.value(node.thing.key));
      read = node.thing.key;
      const words = say("easel.reading", {
        what: node.thing.label, right: mm(right + node.moved.x), up: mm(up - node.moved.y),
        size: size(node.thing.box.width_mm, node.thing.box.height_mm),
      });
      // What stands there already need not be heard again.
      if (reading.textContent !== words) reading.textContent = words;
    };

    /** Until the server says where a thing lies, it lies where it was put. */
    const lie = ({ thing }, x, y) => {
      [thing.box.x_mm, thing.box.y_mm] = [x, y];
      if (thing.key === "art.at") [piece.boxes.art.x_mm, piece.boxes.art.y_mm] = [x, y];
    };

    /** As much of a move as leaves the middle of a thing within the margin: farther out nothing may be left of it. */
    const within = ({ box }, { x, y }) => {
      const { width_mm: w, height_mm: h, shape, margin_mm: margin } = piece.blank;
      const from = [box.x_mm + (box.width_mm - w) / 2, box.y_mm + (box.height_mm - h) / 2];
      const to = [from[0] + x, from[1] + y];
      // Where it lies farther out already, it may stay.
      const most = [w, h].map((side, at) => Math.max(side / 2 - margin, Math.abs(from[at])));
      const far = shape === "round" ? Math.hypot(...to) / Math.max(w / 2 - margin, Math.hypot(...from)) : 1;
      const [right, down] = to.map((v, at) => Math.min(most[at], Math.max(-most[at], v / Math.max(1, far))) - from[at]);
      const tenths = (v) => Math.trunc(v / STEP_MM + Math.sign(v) * 1e-6) * STEP_MM;
      return { x: tenths(right), y: tenths(down) };
    };

    /** Whether a thing was moved and its place is not asked for yet. */
    const astray = ({ moved }) => Boolean(moved.x || moved.y);

    /**
     * Asks for the place where a thing was put, once the hand rests; `goesOn` where it still holds what it moved before. Answers
     * whether it did: until it is known how large a thing is it lies where it was put.
     */
    const ask = (node, goesOn = false) => {
      if (!astray(node)) return false;
      const sized = piece.sized(node.thing.key);
      if (!sized) {
        shown = false;
        return false;
      }
      const [right, up] = offsetMm(piece.value(node.thing.key));
      const { x, y } = node.moved;
      lie(node, node.thing.box.x_mm + x, node.thing.box.y_mm + y);
      node.moved = { x: 0, y: 0 };
      put(node);
      shown = false;
      piece.change({ ...sized, [node.thing.key]: offsetText(right + x, up - y) }, node.thing.key, goesOn);
      return true;
    };

    const moving = (node) => { board.classList.add("moving"); node.classList.add("held"); };
    const rest = (node) => { node.classList.remove("held"); };

    /** Shows what came while a hand held something. */
    const letGo = () => {
      if (things.querySelector(".held")) return;
      if (shown) board.classList.remove("moving");
      if (due) paint();
    };

    const hold = (node) => {
      let from = null;
      let frame = 0;
      let later = 0;
      /** A hand that holds still is about to let go: its place is asked for already, so that the look is there by then. */
      const pause = () => {
        const { x, y } = node.moved;
        if (!from || !ask(node, from.asked)) return;
        [from.x, from.y, from.asked] = [from.x + x * scale, from.y + y * scale, true];
      };
      node.addEventListener("pointerdown", (event) => {
        if (event.button || from) return;
        event.preventDefault();
        node.focus({ preventScroll: true });
        node.setPointerCapture(event.pointerId);
        const { key } = node.thing;
        const lay = Object.fromEntries([key, ...sizeKeys(key)].map((of) => [of, piece.value(of) ?? null]));
        // What lies where it was put goes on from there.
        const { x, y } = node.moved;
        from = { id: event.pointerId, x: event.clientX - x * scale, y: event.clientY - y * scale, lay, box: { ...node.thing.box }, asked: false };
      });
      node.addEventListener("pointermove", (event) => {
        if (event.pointerId !== from?.id) return;
        moving(node);
        const snap = (v) => Math.round(v / scale / STEP_MM) * STEP_MM;
        node.moved = within(node.thing, { x: snap(event.clientX - from.x), y: snap(event.clientY - from.y) });
        frame ||= requestAnimationFrame(() => { frame = 0; put(node); tell(node); });
        clearTimeout(later);
        later = setTimeout(pause, STILL_MS);
      });
      node.addEventListener("pointerup", (event) => {
        if (event.pointerId !== from?.id) return;
        clearTimeout(later);
        const { asked } = from;
        from = null;
        rest(node);
        ask(node, asked);
        letGo();
      });
      /** Puts it back where it lay before the hand took it. */
      node.giveUp = () => {
        if (!from) return;
        clearTimeout(later);
        const { lay, box, asked } = from;
        from = null;
        node.moved = { x: 0, y: 0 };
        rest(node);
        if (asked) {
          shown = false;
          lie(node, box.x_mm, box.y_mm);
          piece.change(lay, node.thing.key, true);
          return;
        }
        put(node);
        tell(node);
        letGo();
      };
      node.addEventListener("pointercancel", node.giveUp);
      node.addEventListener("keydown", (event) => {
        const by = event.shiftKey ? STRIDE_MM : STEP_MM;
        const way = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, -by], ArrowDown: [0, by] }[event.key];
        if (!way) return;
        event.preventDefault();
        moving(node);
        node.moved = within(node.thing, { x: node.moved.x + way[0], y: node.moved.y + way[1] });
        put(node);
        tell(node);
        clearTimeout(later);
        later = setTimeout(() => { rest(node); ask(node); announce(reading.textContent); }, STILL_MS);
      });
      node.addEventListener("focus", () => tell(node));
    };

    const paint = () => {
      due = false;
      const held = document.activeElement?.thing?.key;
      const moved = new Map([...things.children].map((node) => [node.thing.key, node.moved]));
      things.replaceChildren(...movables(piece).map((thing) => {
        const node = make("div.thing", { tabindex: 0, role: "button", "aria-roledescription": say("easel.movable"), "aria-label": thing.label, "aria-describedby": keys, data: { thing: thing.key } },
          thing.picture);
        Object.assign(node, { thing, moved: moved.get(thing.key) ?? { x: 0, y: 0 } });
        hold(node);
        return node;
      }));
      fit();
      const all = [...things.children];
      for (const node of all) ask(node);
      if (held) all.find((n) => n.thing.key === held)?.focus({ preventScroll: true });
      // What was told of last may lie elsewhere now, or be gone.
      const now = all.find((n) => n.thing.key === read) ?? all[0];
      if (now) tell(now);
      else reading.textContent = "";
    };

    // A second finger means to come nearer, or is the ball of the thumb: nobody moves the art so.
    bench.addEventListener("pointerdown", (event) => {
      if (event.isPrimary) return;
      event.stopPropagation();
      for (const node of things.children) node.giveUp();
    }, { capture: true });
    const watch = new ResizeObserver(fit);
    watch.observe(bench);
    watch.observe(main);
    signal.addEventListener("abort", () => watch.disconnect());
    addEventListener("resize", fit, { signal });
    piece.show(look, Math.min(1400, 700 * (devicePixelRatio || 1)), signal);
    look.addEventListener("load", () => { shown = !piece.unsaved && ![...things.children].some(astray); letGo(); }, { signal });
    for (const event of ["saved", "exact"]) piece.addEventListener(event, () => { due = true; letGo(); }, { signal });
    paint();
  },
};
