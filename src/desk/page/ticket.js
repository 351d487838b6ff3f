// Ticket: what to know before the burn, what to change with one tap, and the files to take to the machine.

import { outlineClip } from "./blank.js";
import { button, field, fill, icon, make, refill } from "./element.js";
import { announce, notice, oops, question } from "./notice.js";
import { get, jobPath, send } from "./server.js";
import { curve } from "./curve.js";
import { blankName, stamp } from "./strip.js";
import { bytes, db, ends, fromLeft, knows, mm, number, say, sentence, size, time } from "./words.js";

const TIME_PARTS = ["marks_s", "gaps_s", "runups_s", "turns_s", "dwells_s"];

/** What helps of a finding: buttons where something of what is asked is changed by it, else what is done elsewhere. */
export function remedies(desk, found) {
  if (found.id === "assumed") return button(say("process.measure"), () => desk.go("wedge"), { icon: "wedge" });
  return (found.remedies ?? []).map(({ line, change, checked = found.checked }) => (change && Object.keys(change).length
    ? button(sentence(line).slice(0, -1), () => { announce(say("remedy.taken", { line })); desk.piece.change(change); }, { icon: checked ? "measured" : "change", kind: "remedy", title: checked ? say("remedy.checked") : null })
    : make("p.advice", {}, sentence(line))));
}

/** How large the picture is, as far as it is on the blank, and all that is marked where that is not the same. */
function sizes({ art_box: picture, place, size_mm: whole }) {
  const [one, all] = [size(place.width_mm, place.height_mm), size(...whole)];
  return [picture && say("ticket.picture", { size: one }), (!picture || one !== all) && say("ticket.all", { size: all })];
}

/**
 * That a stop was accepted, with a button that takes it back: what is accepted stands under `key`. Nothing where it was not.
 */
export function acceptance(desk, found, key = "scan.accept") {
  if (!found.accepted) return null;
  const { piece } = desk;
  const others = (piece.value(key) ?? []).filter((one) => (one.name ?? one) !== found.id);
  return make("div.row.accepted", {}, make("span", {}, icon("given"), " ", say("finding.accepted")),
    button(say("finding.accepted.back"), () => piece.change({ [key]: others.length ? others : null }), { kind: "bare" }));
}

/** One finding: a sign with its own shape, the sentence, and its remedies as buttons. */
function finding(desk, found) {
  const { piece } = desk;
  const level = { caution: "warn" }[found.level] ?? found.level;
  const accept = () => {
    // One that does not hold any more makes room.
    const already = (piece.value("scan.accept") ?? []).filter((one) => (one.name ?? one) !== found.accept.name);
    piece.change({ "scan.accept": [...already, found.accept.entry ?? found.accept.name] });
  };
  return make(`li.finding.${level}`, { data: { finding: found.id } },
    make("p", {}, make("span.level", {}, icon(level), say(`level.${level}`)), " ", sentence(found.says)),
    acceptance(desk, found),
    make("div.row", {},
      remedies(desk, found),
      found.accept && button(say("finding.accept"), accept, { kind: "bare" })));
}

const endOf = (seconds) => say("burn.ends", { clock: ends(seconds) });

/** The burn's time in its parts, as a bar and as a table: the bar is for the eye only. */
function burn({ seconds, bound_s, ...parts }, stopped) {
  const there = TIME_PARTS.filter((k) => parts[k] !== undefined && parts[k] !== null);
  const bar = make("div.parts", { "aria-hidden": "true" }, there.map((k) => {
    const part = make(`span.${k}`);
    part.style.flexGrow = String(Math.max(0.001, parts[k]));
    return part;
  }));
  return make("section.burn", {}, make("h2", {}, say("burn.title")), make("p.big", {}, time(seconds)),
    !stopped && make("p.ends", { data: { seconds } }, endOf(seconds)), bar,
    make("dl.facts", {}, there.map((k) => make("div", {}, make("dt", {}, make(`i.key.${k}`, { "aria-hidden": "true" }), say(`burn.${k}`)), make("dd", {}, time(parts[k]))))),
    bound_s ? make("p.hint", {}, say("burn.bound", { time: time(bound_s) })) : null);
}

function likeness(told) {
  if (!told) return make("section", {}, make("h2", {}, say("likeness.title")), make("p.hint", {}, say(told === undefined ? "likeness.coming" : "likeness.none")));
  const { planned_db, expected_db } = told;
  return make("section", {}, make("h2", {}, say("likeness.title")),
    make("dl.facts", {},
      make("div", {}, make("dt", {}, say("likeness.planned")), make("dd", {}, db(planned_db))),
      expected_db !== null && expected_db !== undefined && make("div", {}, make("dt", {}, say("likeness.expected")), make("dd", {}, db(expected_db)))),
    make("p.hint", {}, say("likeness.line")));
}

function standing(ticket) {
  const rows = ticket.settings ?? [];
  return make("section.standing", {}, make("h2", {}, say("standing.title")), make("p.head", {}, stamp(ticket.process.measured, ticket.process.partly), make("span", {}, ticket.process.line)),
    rows.length > 0 && make("div.scroll", { tabindex: 0, role: "region", "aria-label": say("standing.title") }, make("table", {}, make("tbody", {}, rows.map((r) => make("tr", {},
      make("th", { scope: "row" }, r.name), make("td", {}, r.value),
      make("td", {}, icon({ measured: "measured", given: "given" }[r.standing] ?? "assumed"), knows(r.standing) ? say(r.standing) : r.standing),
      make("td", {}, r.source ?? "")))))));
}

/** Saves the files into a folder, by that name or by the piece's; null where another's files lie there and shall stay. */
export async function saveFiles(piece, folder, replace = false) {
  try {
    return await send("POST", piece.path("save"), { folder: folder || undefined, replace });
  } catch (refusal) {
    if (!refusal.answer?.there) throw refusal;
    const answer = await question(say("files.there"), refusal.says, [["no", say("cancel")], ["yes", say("wedge.replace.yes")]]);
    return answer === "yes" ? saveFiles(piece, folder, true) : null;
  }
}

/**
 * Whether the files to take are not those that are seen here, which is said then: another tab changed the piece, which is opened
 * anew, or what was changed here is on its way. `words` are the keys of what is said of either.
 */
export async function outdated(desk, isSeen, words, signal) {
  const { piece } = desk;
  if (!piece.unsaved && (await get(jobPath(piece.name), signal)).revision !== piece.revision) {
    notice(say(words.elsewhere), { wrong: true });
    await desk.again();
    return true;
  }
  if (!piece.unsaved && isSeen()) return false;
  notice(say(words.coming));
  return true;
}

function files(desk, ticket, folder, paint, signal) {
  const { piece } = desk;
  const out = make("p.saved", {}, piece.savedIn ? say("files.saved", piece.savedIn) : "");
  const early = () => outdated(desk, () => piece.ticket === ticket, { elsewhere: "files.elsewhere", coming: "files.coming" }, signal);
  const save = async () => {
    try {
      if (await early()) return;
      const answer = await saveFiles(piece, folder.value.trim());
      if (!answer) return;
      piece.savedIn = { folder: answer.folder, n: number(answer.files.length) };
      paint();
      announce(say("files.saved", piece.savedIn));
    } catch (refusal) { oops(refusal); }
  };
  const zip = { href: piece.path("files.zip"), download: `${piece.name}.zip` };
  const fetchZip = async (event) => {
    event.preventDefault();
    try {
      if (!await early()) make("a", zip).click();
    } catch (refusal) { oops(refusal); }
  };
  return make("section.files", {}, make("h2", {}, say("files.title")),
    ticket.stopped.length > 0 && make("p.finding.stop", {}, icon("stop"), say("files.stopped")),
    make("ul", {}, (ticket.files ?? []).map((f) => make("li", {}, make("code", {}, f.name), make("span", {}, f.bytes ? bytes(f.bytes) : ""), f.about ? make("small", {}, f.about) : null))),
    make("div.row", {},
      make("a.button.main", { ...zip, on: { click: fetchZip } }, icon("zip"), make("span", {}, say("files.zip"))),
      button(say("files.save"), save, { icon: "folder" })),
    field(say("files.folder"), folder, { hint: say("files.folder.hint") }), out,
    make("div.row", {}, button(say("print"), () => print(), { icon: "printer" })));
}

export const ticket = {
  open(desk, main, signal) {
    const { piece } = desk;
    piece.expect();
    // It is kept when the rest is made anew, so that nothing typed in it is lost.
    const folder = make("input", { type: "text", value: piece.folder ?? "", placeholder: piece.name, autocomplete: "off", spellcheck: "false", on: { input: () => { piece.folder = folder.value; } } });
    const look = make("img", { alt: say("easel.alt", { name: piece.name }) });
    const about = make("div");
    const stub = make("header.stub", {}, make("figure", {}, look), about);
    const body = make("div.docket");
    main.append(body);
    let painted = null;

    const paint = () => {
      const now = piece.ticket;
      if (piece.lacking) {
        // What cannot be made is not on its way.
        refill(body, make("p.finding.stop", {}, icon("stop"), sentence(piece.lacking)));
        painted = null;
        body.classList.remove("waiting");
        body.removeAttribute("aria-busy");
        return;
      }
      if (!now) {
        if (!painted) refill(body, make("p.coming", { role: "status" }, say("look.coming")));
        body.classList.add("waiting");
        body.setAttribute("aria-busy", "true");
        body.querySelector(".files a.button")?.setAttribute("aria-disabled", "true");
        return;
      }
      painted = now;
      body.classList.toggle("waiting", piece.unsaved);
      body.removeAttribute("aria-busy");
      // A stop that was accepted keeps nothing from being burnt.
      const stopped = now.stopped.length > 0;
      const order = { stop: 0, warn: 1, caution: 1, note: 2 };
      const findings = [...(now.findings ?? [])].sort((a, b) => order[a.level] - order[b.level]);
      const focus = document.activeElement;
      const held = body.contains(focus) ? focus.textContent : null;
      const dots = now.dots;
      // Its picture stays where it is: put there once more it had no height for a moment, and all below it would jump.
      if (stub.parentNode !== body) refill(body, stub);
      while (stub.nextSibling) stub.nextSibling.remove();
      refill(about, make("p.kind", {}, say("ticket.kind")), make("h2.what", {}, piece.name),
        make("p", {}, [blankName(desk, piece), ...sizes(now)].filter(Boolean).join(" · ")),
        dots && make("p", {}, say("ticket.dots", { across: number(dots.across), along: number(dots.along), pitch: fromLeft(`${number(dots.pitch_mm, 4)} mm`) })),
        stamp(now.process.measured, now.process.partly));
      fill(body, [
        make("section.findings", {}, make("h2", {}, say("findings.title")),
          findings.length ? make("ul", {}, findings.map((f) => finding(desk, f))) : make("p", {}, say("findings.none"))),
        make("div.columns", {},
          now.burn && burn(now.burn, stopped),
          likeness(now.likeness)),
        now.times?.length > 1 && curve(now.times, (point) => piece.change(point.change)),
        files(desk, now, folder, paint, signal),
        standing(now),
        now.decided?.length > 0 && make("section", {}, make("h2", {}, say("decided.title")), make("ul.plain", {}, now.decided.map((line) => make("li", {}, sentence(line))))),
        // There is nothing to run yet.
        !stopped && now.steps?.length > 0 && make("section.do", {}, make("h2", {}, say("steps.title")), make("ol", {}, now.steps.map((s) => make("li", {}, make("b", {}, s.title), " ", s.text)))),
        make("section.cautions", {}, make("h2", {}, say("cautions.title")), make("ul", {}, (now.cautions?.length ? now.cautions : [say("safety")]).map((c) => make("li", {}, c)))),
      ]);
      if (focus === folder) folder.focus({ preventScroll: true });
      else if (held) [...body.querySelectorAll("button, a")].find((n) => n.textContent === held)?.focus({ preventScroll: true });
    };
    // Now does not stay now.
    const clock = setInterval(() => body.querySelectorAll(".ends").forEach((line) => { line.textContent = endOf(Number(line.dataset.seconds)); }), 10000);
    signal.addEventListener("abort", () => clearInterval(clock));
    const clip = () => { look.style.clipPath = outlineClip(piece.blank); };
    clip();
    piece.show(look, 520, signal);
    piece.addEventListener("saved", () => { clip(); paint(); }, { signal });
    piece.addEventListener("exact", paint, { signal });
    piece.addEventListener("refused", paint, { signal });
    // What is asked now may be long in coming, or never be kept: what stands here is of the past until then.
    piece.addEventListener("asked", () => body.classList.toggle("waiting", piece.unsaved || !piece.ticket), { signal });
    piece.addEventListener("likeness", paint, { signal });
    piece.addEventListener("times", paint, { signal });
    paint();
  },
};
