// Wedge: a test piece that measures the machine. It is drawn, burnt, photographed, and read here beside its photo.

import { button, choice, field, icon, make, refill } from "./element.js";
import { lengthText } from "./length.js";
import { announce, besideItsField, isUnsent, notice, oops, question, unsent } from "./notice.js";
import { get, PAGE, query, send } from "./server.js";
import { dropZone } from "./sheet.js";
import { spoken } from "./strip.js";
import { moment, number, say, sentence, time } from "./words.js";

const KINDS = ["combined", "exposure", "tone", "timing"];
const ACCEPT = "image/*,.heic";

/** Where the points are to begin with, as shares of the photo: the corners of the wedge, clockwise, and two of a sheet of paper beside it. */
const USUAL = {
  "wedge.corners": [[0.15, 0.15], [0.85, 0.15], [0.85, 0.85], [0.15, 0.85]],
  "wedge.white": [[0.02, 0.4], [0.1, 0.6]],
};

/** How wide the enlarged view is and how far from the finger, px; and how much larger than the photo on the page. */
const [LENS, BESIDE, NEARER] = [132, 44, 4];

/** How far a press goes before it is one that drags, px; how long an arrow is pressed before it goes on, and how soon again, ms. */
const [SLIP, HELD_MS, AGAIN_MS] = [4, 400, 80];

/** A button that goes on for as long as it is pressed, as a key does. */
function going(node, act) {
  let again = 0;
  let went = false;
  const on = () => {
    if (!node.isConnected) return;
    went = true;
    act();
    again = setTimeout(on, AGAIN_MS);
  };
  node.addEventListener("pointerdown", (e) => {
    if (e.button) return;
    clearTimeout(again);
    went = false;
    again = setTimeout(on, HELD_MS);
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave", "blur"]) node.addEventListener(end, () => clearTimeout(again));
  // A finger that stays asks for no menu.
  node.addEventListener("contextmenu", (e) => e.preventDefault());
  node.addEventListener("click", () => {
    if (!went) act();
    went = false;
  });
  return node;
}

/** What lies under the finger that covers it, enlarged and beside it: `show` a place on the photo (shares of it) and where the finger is. */
function lens(img, host) {
  const canvas = make("canvas.lens", { "aria-hidden": "true", hidden: true });
  host.append(canvas);
  const show = ([x, y], { clientX, clientY }) => {
    if (!img.naturalWidth) return;
    const box = img.getBoundingClientRect();
    const sharp = devicePixelRatio;
    canvas.width = canvas.height = LENS * sharp;
    const pen = canvas.getContext("2d");
    pen.scale(sharp, sharp);
    const [w, h] = [box.width * NEARER, box.height * NEARER];
    pen.drawImage(img, LENS / 2 - x * w, LENS / 2 - y * h, w, h);
    // The cross is open where the point lies.
    for (const [ink, wide] of [["#fff", 4], ["#000", 2]]) {
      [pen.strokeStyle, pen.lineWidth] = [ink, wide];
      pen.beginPath();
      for (const [from, to] of [[0, 0.42], [0.58, 1]].map((ends) => ends.map((share) => share * LENS))) {
        pen.moveTo(from, LENS / 2);
        pen.lineTo(to, LENS / 2);
        pen.moveTo(LENS / 2, from);
        pen.lineTo(LENS / 2, to);
      }
      pen.stroke();
    }
    // Above the finger, or to its side where that is out of sight.
    const top = Math.max(0, host.closest("main")?.getBoundingClientRect().top ?? 0);
    const isAbove = clientY - BESIDE - LENS >= top;
    const left = clientX - box.left + (isAbove ? -LENS / 2 : x > 0.5 ? -BESIDE - LENS : BESIDE);
    canvas.style.left = `${Math.min(box.width - LENS, Math.max(0, left))}px`;
    canvas.style.top = `${(isAbove ? clientY - BESIDE - LENS : Math.max(top, clientY - LENS / 2)) - box.top}px`;
    canvas.hidden = false;
  };
  return { show, hide: () => { canvas.hidden = true; } };
}

/** Points on the photo, set by hand: dragged; put where the photo is tapped, on the chosen point itself too; or moved by arrows on the keyboard or on the page. In pixels of the photo; what is shown is smaller. `words` is the key of what they are; `before`: where they were put when it was not read. */
function corners(words, src, photo, read, before) {
  const img = make("img", { alt: say("wedge.photo.alt"), draggable: "false" });
  const host = make("div.photo", {}, img);
  const [wide, high] = [() => photo.width ?? img.naturalWidth, () => photo.height ?? img.naturalHeight];
  const placed = before?.split(",").map((px, n) => Number(px) / (n % 2 ? photo.height : photo.width));
  const near = lens(img, host);
  const at = USUAL[words].map((usual, n) => placed?.slice(2 * n, 2 * n + 2) ?? [...usual]);
  // The point that a tap on the photo puts there and that the arrows move.
  let chosen = null;
  const choose = (point) => {
    chosen = point;
    for (const each of points) each.node.classList.toggle("chosen", each === point);
  };
  const pointed = (e) => {
    const box = img.getBoundingClientRect();
    return [(e.clientX - box.left) / box.width, (e.clientY - box.top) / box.height];
  };
  const points = at.map((share, n) => {
    const node = make("button.corner", { type: "button", "aria-label": say("wedge.corner", { n: n + 1 }) }, make("span", { "aria-hidden": "true" }, `${n + 1}`));
    const put = () => {
      node.style.left = `${share[0] * 100}%`;
      node.style.top = `${share[1] * 100}%`;
      // Its number stands beside it, on the photo.
      node.classList.toggle("right", share[0] > 0.5);
      node.setAttribute("aria-label", say("wedge.corner.at", { n: n + 1, x: Math.round(share[0] * wide()), y: Math.round(share[1] * high()) }));
    };
    const set = (x, y) => { share[0] = Math.min(1, Math.max(0, x)); share[1] = Math.min(1, Math.max(0, y)); put(); };
    // From where it is held to the point itself: it does not jump to the finger.
    let held = null;
    node.addEventListener("pointerdown", (e) => {
      const [x, y] = pointed(e);
      held = { off: [share[0] - x, share[1] - y], from: [e.clientX, e.clientY], chosen: chosen === point, dragged: false };
      node.setPointerCapture(e.pointerId);
      node.focus();
      near.show(share, e);
      e.preventDefault();
    });
    node.addEventListener("pointermove", (e) => {
      if (!held) return;
      held.dragged ||= Math.hypot(e.clientX - held.from[0], e.clientY - held.from[1]) >= SLIP;
      if (!held.dragged) return;
      const [x, y] = pointed(e);
      set(x + held.off[0], y + held.off[1]);
      near.show(share, e);
    });
    for (const end of ["pointerup", "pointercancel"]) node.addEventListener(end, (e) => {
      // Its button covers what lies beside it: a tap there chooses the point, and puts it there once it is chosen.
      const tapped = end === "pointerup" && held?.chosen && !held.dragged;
      held = null;
      near.hide();
      if (!tapped) return;
      set(...pointed(e));
      see();
    });
    node.addEventListener("blur", near.hide);
    const move = (x, y) => set(share[0] + x / wide(), share[1] + y / high());
    /** Shows what lies under it, as beside a finger that is on it. */
    const see = () => {
      const box = img.getBoundingClientRect();
      near.show(share, { clientX: box.left + share[0] * box.width, clientY: box.top + share[1] * box.height });
    };
    node.addEventListener("focus", () => choose(point));
    node.addEventListener("keydown", (e) => {
      const px = e.shiftKey ? 10 : 1;
      const way = { ArrowLeft: [-px, 0], ArrowRight: [px, 0], ArrowUp: [0, -px], ArrowDown: [0, px] }[e.key];
      if (!way) return;
      e.preventDefault();
      move(...way);
      see();
    });
    img.addEventListener("load", put);
    const point = { node, set, move, see };
    return point;
  });
  choose(points[0]);
  host.append(...points.map(({ node }) => node));
  img.addEventListener("click", (e) => { chosen.set(...pointed(e)); chosen.see(); });
  let step = 1;
  const arrow = (way, x, y) => going(button(say(`wedge.nudge.${way}`), null, { icon: way, quiet: true }), () => { chosen.move(step * x, step * y); chosen.see(); });
  const arrows = make("div.arrows", { role: "group", "aria-label": say("wedge.nudge") },
    make("div.row", {}, arrow("left", -1, 0), arrow("up", 0, -1), arrow("down", 0, 1), arrow("right", 1, 0)),
    choice(say("wedge.nudge.step"), [1, 10, 50].map((px) => ({ value: px, label: say("wedge.nudge.px", { px }) })), step, (px) => { step = px; }, { kind: "row" }));
  // What is beside the point is of no use once something else is done.
  arrows.addEventListener("focusout", near.hide);
  img.src = src;
  const go = () => read(at.flatMap(([x, y]) => [x * wide(), y * high()]).map((v) => v.toFixed(1)).join(","));
  return make("section.corners", {}, make("h2", {}, say(words)), make("p", {}, say(`${words}.line`)), host,
    arrows, make("div.row", {}, button(say(`${words}.read`), go, { kind: "main" })));
}

/** The place of a sheet of paper, by two of its corners, `x,y,x,y`, as its left, top, width and height. */
function sides(points) {
  const [x1, y1, x2, y2] = points.split(",").map(Number);
  return [Math.min(x1, x2), Math.min(y1, y2), Math.abs(x2 - x1), Math.abs(y2 - y1)].map((v) => v.toFixed(1)).join(",");
}

/** What makes looks known: white paper in the photo, marked there. Nothing of a photo in which they were not looked for, or of which they are known. */
function white(read, again) {
  if (read.absolute !== false || read.doubts?.length) return null;
  const place = make("div");
  const mark = () => refill(place, corners("wedge.white", read.photo_picture, read, (points) => again({ white: sides(points) })));
  return make("section.white", {}, make("p", {}, say("wedge.white.hint")), make("div.row", {}, button(say("wedge.white.mark"), mark, { icon: "measure" })), place);
}

/** A unit as people write it. */
const unit = (text) => (text ?? "").replace("mm2", "mm²");

/** What a photo was read together with, and the choice of another; `again` reads it with that. */
function together(desk, read, again) {
  const usable = desk.kit.processes.filter((p) => p.usable !== false);
  const select = make("select", { on: { change: async () => { await again({ with: select.value }); show(); } } },
    make("option", { value: "" }, say("wedge.alone")), usable.map((p) => make("option", { value: p.asked }, p.name)));
  // What is not there any more cannot be read with again, and where it was refused the reading is still that of before.
  const show = () => { select.value = usable.some((p) => p.asked === read.with) ? read.with : ""; };
  show();
  return [
    read.together && make(read.apart ? "p.finding.warn" : "p", {}, read.apart && icon("warn"), make("span", {}, read.together)),
    usable.length > 0 && field(say("wedge.with"), select, { hint: say("wedge.with.hint") }),
  ];
}

/** The setting to take, of wedges that try settings; nothing of those that measure something else. */
function setting(wedge, { pick, why, doubts }) {
  // Nobody takes a setting from a reading that is not to be used.
  if (doubts?.length || (!pick && !["combined", "exposure"].includes(wedge.kind))) return null;
  return make("div.pick", {}, make("h3", {}, say("wedge.pick")),
    pick ? make("p.big", {}, pick.line) : make("p", {}, say("wedge.pick.none")),
    why && make("p", {}, sentence(why)));
}

/** The reading beside the photo: the pick, why, and each value with how sure it is. `again` reads it with another process. */
function reading(desk, wedge, read, again) {
  const name = make("input", { type: "text", value: wedge.name, autocomplete: "off", spellcheck: "false" });
  const out = make("p.saved", { role: "status" });
  const keep = async (replace) => {
    out.textContent = "";
    try {
      const { asked, name: kept } = await send("POST", `/api/wedges/${encodeURIComponent(wedge.name)}/keep`, { name: name.value.trim(), replace, by: PAGE });
      await desk.renewed(asked);
      out.textContent = say("wedge.kept", { name: kept });
    } catch (refusal) {
      if (refusal.status !== 409) { oops(refusal); return; }
      const answer = await question(say("wedge.replace"), refusal.says, [["no", say("cancel")], ["yes", say("wedge.replace.yes")]]);
      if (answer === "yes") keep(true);
    }
  };
  const figure = (src, words) => src && make("figure", {}, make("img", { src, alt: words }), make("figcaption", {}, words));
  return make("section.reading", {}, make("h2", { tabindex: -1 }, say("wedge.reading")),
    read.doubts?.length ? read.doubts.map((doubt) => make("p.finding.stop", {}, icon("stop"), make("span", {}, sentence(doubt)))) : read.says && make("p", {}, read.says),
    together(desk, read, again),
    make("div.pair", {}, figure(read.photo_picture, say("wedge.photo.alt")), figure(read.reading_picture, say("wedge.reading.alt")), figure(read.curves, say("wedge.curves"))),
    setting(wedge, read),
    make("div.scroll", { tabindex: 0, role: "region", "aria-label": say("wedge.values") }, make("table", {},
      make("thead", {}, make("tr", {}, ["name", "value", "sigma", "standing"].map((h) => make("th", { scope: "col" }, say(`wedge.values.${h}`))))),
      make("tbody", {}, (read.values ?? []).map((v) => make("tr", {}, make("th", { scope: "row" }, v.name),
        make("td", {}, `${typeof v.value === "number" ? number(v.value, 4) : v.value} ${unit(v.unit)}`, v.why && make("small", {}, sentence(v.why))), make("td", {}, v.sigma === null || v.sigma === undefined ? "" : `± ${typeof v.sigma === "number" ? number(v.sigma, 3) : v.sigma} ${unit(v.unit)}`),
        make("td", {}, icon(v.measured ? "measured" : "assumed"), say(v.measured ? "measured" : "assumed"))))))),
    white(read, again),
    read.notes?.length > 0 && make("ul.plain", {}, read.notes.map((n) => make("li", {}, sentence(n)))),
    make("div.keep", {}, field(say("wedge.name"), name, { hint: say("wedge.name.hint") }), button(say("wedge.keep"), () => keep(false), { icon: "measured", kind: "main" }), out));
}

/** What a wedge is asked for with to begin with: what the open piece is made of and for. */
function begins({ kit, piece }) {
  const of = (key) => piece?.value(piece.kind === "tray" ? `piece.${key}` : key);
  const named = (key) => (typeof of(key) === "string" ? of(key) : undefined);
  const blank = piece?.blank;
  // One of a maker's own brings its margin; one of the kit has its own and its usual coating.
  const own = blank && !blank.name;
  return {
    kind: "combined", power: "", speed: "",
    blank: own ? blank.line : blank?.name ?? kit.usual?.blank ?? kit.blanks[0]?.name,
    coating: named("coating") ?? (own && of("blank.coatings")?.[0]) ?? "",
    machine: named("machine") ?? kit.usual?.machine ?? kit.machines[0]?.asked,
    process: named("process") ?? "",
    own: own ? { shape: blank.line, margin: lengthText(blank.margin_mm) } : null,
  };
}

/** The wedges that were drawn, the newest first; `open` opens one. */
function keptList(wedges, now, open) {
  if (!wedges.length) return null;
  return make("section.drawn", {}, make("h2", {}, say("wedge.list")), make("ul.wedges", {}, wedges.map((w) => make("li", {},
    button(w.name, () => open(w.name), { icon: "wedge", "aria-current": w.name === now ? "true" : null }),
    make("p", {}, sentence(w.line ?? w.kind), make("small", {}, [w.drawn && moment(w.drawn), say(w.reading ? "wedge.list.read" : "wedge.list.unread")].filter(Boolean).join(" · ")))))));
}

/** What was found of a wedge, with what helps: a button asks for the same wedge otherwise. Of wedges drawn long ago only what was said is kept. */
function found(level, { says, remedies = [] }, ask) {
  return make(`div.finding.${level}`, {}, make("p", {}, icon(level), " ", sentence(says)),
    remedies.length > 0 && make("div.row", {}, remedies.map(({ line, checked, asks }) => (asks
      ? button(sentence(line).slice(0, -1), () => ask(asks), { icon: checked ? "measured" : "change", kind: "remedy", title: checked ? say("remedy.checked") : null })
      : make("p.advice", {}, sentence(line))))));
}

export const wedge = {
  open(desk, main, signal) {
    const { own, ...asked } = begins(desk);
    const kept = make("div");
    const refused = make("div", { role: "alert" });
    const drawn = make("section.drawn", { "aria-live": "polite" });
    const result = make("div.result");
    const pick = (key, list, empty) => {
      const select = make("select", { on: { change: (e) => { asked[key] = e.target.value; } } },
        empty && make("option", { value: "" }, empty), list.map((x) => make("option", { value: typeof x.asked === "string" ? x.asked : x.name }, x.mine ? x.name : spoken(x.name))));
      select.value = asked[key];
      // What is not there any more is not asked for.
      if (select.selectedIndex < 0 && !empty) select.value = desk.kit.usual?.[key];
      if (select.selectedIndex < 0) select.selectedIndex = 0;
      asked[key] = select.value;
      return select;
    };
    const typed = (key, hint) => make("input", { type: "text", autocomplete: "off", spellcheck: "false", placeholder: hint, on: { change: (e) => { asked[key] = e.target.value.trim(); } } });
    const cut = () => Object.fromEntries(Object.entries({ ...asked, margin: asked.blank === own?.shape ? own.margin : "" }).filter(([k, v]) => v && k !== "kind"));
    // Which field a refusal is about: of what is typed, the one that it quotes.
    const keyOf = ({ key, says }) => key ?? ["power", "speed"].find((one) => (asked[one] ?? "").split("..").some((part) => part && (says?.includes(`'${part}'`) || (/\D$/.test(part) && says?.includes(part)))));
    const drawIt = async (asks) => {
      if (go.disabled) return;
      for (const input of main.querySelectorAll('.ask [aria-invalid="true"]')) {
        input.removeAttribute("aria-invalid");
        document.getElementById(`${input.id}-wrong`).textContent = "";
      }
      announce(say("wedge.drawing"));
      go.disabled = true;
      try {
        show(await send("POST", "/api/wedges", asks));
        await list();
        if (signal.aborted) return;
        drawn.querySelector("h2").focus({ preventScroll: true });
        drawn.scrollIntoView({ block: "start" });
      } catch (refusal) {
        const why = refusal.answer?.found;
        refill(refused, why && found("stop", why, drawIt));
        if (!why && !besideItsField({ key: keyOf(refusal), says: sentence(refusal.says) })) oops(refusal);
      } finally {
        go.disabled = false;
        // A button that is disabled loses the keyboard's place.
        if (document.activeElement === document.body && !signal.aborted) go.focus({ preventScroll: true });
      }
    };
    const go = button(say("wedge.draw"), () => drawIt({ kind: asked.kind, asked: cut() }), { icon: "wedge", kind: "main" });

    const list = async () => {
      try {
        const { wedges } = await get("/api/wedges", signal);
        refill(kept, keptList(wedges, desk.wedge, (name) => { opening = open(name, true); }));
      } catch (refusal) { oops(refusal); }
    };
    const open = async (name, chosen) => {
      try {
        show(await get(`/api/wedges/${encodeURIComponent(name)}`, signal));
        if (chosen) drawn.scrollIntoView({ block: "start" });
      } catch (refusal) {
        if (refusal.status === 404) {
          desk.wedge = null;
          history.replaceState({}, "", desk.address("wedge"));
        }
        oops(refusal);
      }
      list();
    };
    let opening = null;
    let current = null;
    let reads = 0;

    const show = (made) => {
      desk.wedge = made.name;
      history.replaceState({}, "", desk.address("wedge"));
      refill(refused);
      // Meanwhile another wedge may be opened, which has nothing to do with the answer.
      const shown = () => desk.wedge === made.name && !signal.aborted;
      const read = async (photo, at, more = {}) => {
        announce(say("wedge.reading.now"));
        result.classList.add("waiting");
        reads += 1;
        try {
          const answer = await send("POST", `/api/wedges/${encodeURIComponent(made.name)}/photo${query({ corners: at, ...more })}`, photo);
          list();
          if (!shown()) return;
          refill(result, reading(desk, made, answer, again));
          result.querySelector("h2").focus({ preventScroll: true });
          result.scrollIntoView({ block: "start" });
        } catch (refusal) {
          if (photo && isUnsent(refusal)) unsent([photo.name], () => read(photo, at, more));
          else if (!shown()) notice(say("wedge.of", { name: made.name, says: refusal.says || refusal.message }), { wrong: true });
          else if (refusal.answer?.corners_needed) {
            refill(result, make("p.finding.warn", {}, icon("warn"), make("span", {}, sentence(refusal.says))), corners("wedge.corners", refusal.answer.photo_picture ?? URL.createObjectURL(photo), refusal.answer, (c) => read(photo, c), at));
            result.scrollIntoView({ block: "start" });
            announce(refusal.says);
          } else oops(refusal);
        } finally {
          reads -= 1;
          if (shown()) result.classList.remove("waiting");
        }
      };
      const again = (more) => read("", undefined, more);
      result.classList.remove("waiting");
      refill(result, made.reading && reading(desk, made, made.reading, again));
      refill(drawn, make("h2", { tabindex: -1 }, say("wedge.burn")),
        (made.cautions ?? []).map((caution) => found("warn", caution.says ? caution : { says: caution }, drawIt)),
        made.left_out && make("p", {}, sentence(made.left_out)),
        make("div.pair", {}, make("figure", {}, made.picture && make("img", { src: made.picture, alt: say("wedge.picture.alt") }), make("figcaption", {}, made.line ? sentence(made.line) : made.seconds ? say("wedge.takes", { time: time(made.seconds) }) : "")),
          make("div", {}, make("ol.do", {}, [1, 2, 3].map((n) => make("li", {}, say(`wedge.step.${n}`)))),
            make("div.row", {}, made.zip && make("a.button", { href: made.zip, download: `${made.name}.zip` }, icon("zip"), make("span", {}, say("wedge.zip")))),
            dropZone(desk, { title: say("wedge.drop"), line: say("wedge.drop.line"), pick: say("wedge.pick.photo") }, ([photo]) => photo && read(photo), { multiple: false, accept: ACCEPT }))));
      current = read;
    };
    // It may have been read in another tab, or before somebody looked elsewhere and came back.
    desk.events.addEventListener("wedge", ({ detail }) => {
      if (detail.wedge === desk.wedge && !reads) opening = open(detail.wedge);
    }, { signal });
    // A photo of a wedge is no piece, and whose it is only a person knows.
    desk.dropped = async ([photo]) => {
      await opening;
      if (current && photo) current(photo);
      else if (photo) {
        notice(say("wedge.which"), { wrong: true });
        kept.scrollIntoView({ block: "nearest" });
      }
    };

    main.append(make("div.wedge", {}, make("p.lead", {}, say("wedge.lead")),
      make("section.ask", {}, choice(say("wedge.kind"), KINDS.map((value) => ({ value, label: say(`wedge.${value}`), line: say(`wedge.${value}.line`) })), asked.kind, (v) => { asked.kind = v; }, { kind: "cards" }),
        make("div.fields", {},
          field(say("strip.blank"), pick("blank", [...(own ? [{ name: own.shape, mine: true }] : []), ...desk.kit.blanks]), { key: "blank" }),
          field(say("strip.coating"), pick("coating", desk.kit.coatings, say("wedge.usual")), { key: "coating" }),
          field(say("strip.machine"), pick("machine", desk.kit.machines), { key: "machine" }),
          field(say("strip.process"), pick("process", desk.kit.processes.filter((p) => p.usable !== false), say("process.none")), { hint: say("wedge.process.hint"), key: "process" }),
          field(say("wedge.power"), typed("power", "45..100%"), { hint: say("wedge.power.hint"), key: "power" }),
          field(say("wedge.speed"), typed("speed", "7..30mm/s"), { hint: say("wedge.speed.hint"), key: "speed" })), go, refused),
      kept, drawn, result));

    if (desk.wedge) opening = open(desk.wedge);
    else list();
  },
};
