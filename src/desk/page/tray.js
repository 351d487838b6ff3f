// Tray: many pieces at once, each with its own words. Names come from a spreadsheet; all pieces are seen; one program marks them.

import { button, field, icon, make, refill } from "./element.js";
import { addShared } from "./layers.js";
import { announce, notice, oops } from "./notice.js";
import { csv } from "./piece.js";
import { get, jobPath, newJob } from "./server.js";
import { dropZone } from "./sheet.js";
import { acceptance, outdated, remedies, saveFiles } from "./ticket.js";
import { bytes, count, number, say, sentence, time } from "./words.js";

/** Files that are pictures, by their names: a system need not know the sort of each. */
const PICTURE = /\.(avif|bmp|gif|heic|heif|jpe?g|pdf|png|svg|tiff?|webp)$/i;

/** Files that are tables of names. */
const TABLE = /\.(csv|ods|tsv|txt|xlsx)$/i;

/** Asks for a tray of its own: of `piece`, or from nothing, with a text that each row fills; with a table that was brought already, which is its `cause` then. */
async function begin(desk, { piece, table, cause = table }) {
  const made = await newJob(cause, { tray: true, piece });
  await desk.go("tray", made.name);
  if (table) await desk.dropped([table]);
}

/** Tables among files that were brought where pictures are: each is said to be one, with a tray to begin with it. Answers the others. */
export function tablesApart(desk, files) {
  const piece = desk.piece?.kind === "piece" ? desk.piece.name : undefined;
  for (const table of files.filter(({ name }) => TABLE.test(name))) {
    // Where nobody answers, it is there to be begun with once more.
    const act = () => begin(desk, { piece, table }).catch((refusal) => { oops(refusal); tablesApart(desk, [table]); });
    notice(say("table.here", { name: table.name }), { stays: true, act: [say(piece ? "table.here.piece" : "tray.begin.with", { piece }), act] });
  }
  return files.filter(({ name }) => !TABLE.test(name));
}

/** A cell as it is typed in: a field of one line has no room for a break, which is written as in a text. */
const shownCell = (cell) => (cell ?? "").replace(/\r\n?|\n/g, "\\n");

/** What was typed in place of a cell. One without a break keeps its signs: it may be the path of a picture. */
const typedCell = (typed, before) => (shownCell(before) === (before ?? "") ? typed : typed.replaceAll("\\n", "\n"));

/** The table: every cell can be typed in. A row that cannot be used says why. `retell` shows what is told of the same rows. */
function table(state, put) {
  const { columns, rows } = state;
  const lines = rows.map((row) => ({
    row, number: row.number, says: make("td.says"), node: make("tr", { data: { row: row.number } }),
    inputs: columns.map((column, at) => make("input", {
      type: "text", value: shownCell(row.cells[at]), autocomplete: "off", "aria-label": say("table.cell", { column, row: row.number }),
      on: {
        change: (e) => mend(row, at, e.target),
        // Whoever types what is unsure as it stands there makes it sure, which is no change to a browser.
        input: (e) => { e.target.dataset.typed = "true"; },
        blur: (e) => {
          if (e.target.dataset.typed && row.unsure?.[at]) mend(row, at, e.target);
          delete e.target.dataset.typed;
        },
      },
    })),
  }));
  const mend = (row, at, { value }) => {
    row.cells[at] = typedCell(value, row.cells[at]);
    delete row.unsure?.[at];
    put(csv(columns, rows));
  };
  // Why rows are left off the tray that are sound by themselves, as where their picture is missing.
  let left = new Map();
  const judge = ({ row, node, says, inputs }) => {
    const why = row.says ?? left.get(row.number);
    node.dataset.bad = Boolean(why);
    inputs.forEach((input, at) => {
      why ? input.setAttribute("aria-invalid", "true") : input.removeAttribute("aria-invalid");
      input.title = row.unsure?.[at]?.says ?? "";
      input.dataset.unsure = Boolean(row.unsure?.[at]);
    });
    refill(says, why && [icon("warn"), why]);
    if (why) node.append(says);
    else says.remove();
  };
  const leave = (rows) => {
    left = new Map(rows.map((row) => [row.row, row.says]));
    lines.forEach(judge);
  };
  const remove = (row) => {
    if (!rows.includes(row)) return;
    rows.splice(rows.indexOf(row), 1);
    put(csv(columns, rows));
  };
  for (const line of lines) {
    line.node.append(make("th", { scope: "row" }, line.number), ...line.inputs.map((input) => make("td", {}, input)),
      make("td.out", {}, button(say("table.remove.row", { row: line.number }), () => remove(line.row), { icon: "bin", quiet: true })));
    judge(line);
  }
  const typing = () => lines.some(({ row, inputs }) => inputs.some((input, at) => input === document.activeElement && input.value !== shownCell(row.cells[at])));
  /** False where other rows are told. Where more is on its way to the server, the cells here are newer than what is told. */
  const retell = (told, newer) => {
    const same = String(told.columns) === String(columns) && told.rows.length === lines.length && told.rows.every((row, at) => row.number === lines[at].number);
    if (!same) return false;
    lines.forEach((line, at) => {
      const { cells, says, unsure } = told.rows[at];
      line.row.says = says;
      if (!newer) line.row.unsure = unsure;
      judge(line);
      if (newer) return;
      line.inputs.forEach((input, c) => {
        // A cell that is being typed in keeps its text: it becomes a change when it is left.
        if (input.value === shownCell(line.row.cells[c])) input.value = shownCell(cells[c]);
        line.row.cells[c] = cells[c];
      });
    });
    return true;
  };
  // Rows are counted as in the sheet that they come from, whose first one names the columns.
  const node = make("div.scroll", { tabindex: 0, role: "region", "aria-label": say("table.title") }, make("table.names", {},
    make("thead", {}, make("tr", {}, make("th", { scope: "col" }, "1"), columns.map((c) => make("th", { scope: "col" }, c)), make("th.out", { scope: "col" }, make("span.unseen", {}, say("table.remove"))))),
    make("tbody", {}, lines.map((line) => line.node))));
  return { node, typing, retell, leave };
}

/** The most rows that are named in a sentence. */
const NAMED = 12;

/** Which rows of the table are left off the tray; nothing where all are on it. */
function leftOff(rows) {
  if (!rows.length) return null;
  const named = rows.slice(0, NAMED).map((row) => row.row).join(", ") + (rows.length > NAMED ? ", …" : "");
  return make("li.finding.warn", {}, make("p", {}, make("span.level", {}, icon("warn"), say("level.warn")), " ", count("tray.left", rows.length, { rows: named })));
}

/** All pieces, in the order of the table. Those out of sight cost nothing: the browser skips them, and their pictures come when they are near; those made with a kit that was renewed have another address. */
function pieces(trays, { renewed }) {
  return trays.map((tray) => make("section.pieces", {},
    make("h3", {}, trays.length > 1 ? say("tray.number", { n: tray.number }) : say("tray.pieces"), tray.seconds ? make("small", {}, time(tray.seconds)) : null),
    make("ol", {}, [...tray.pieces].sort((a, b) => (a.row ?? 0) - (b.row ?? 0) || a.number - b.number).map((p) => make("li.spot", { data: { number: p.number } },
      make("span.edge", {}, number(p.number)),
      p.picture ? make("img", { src: renewed ? `${p.picture}&renewed=${renewed}` : p.picture, alt: say("tray.piece", { name: p.name ?? p.number }), loading: "lazy", decoding: "async", width: 220, height: Math.round((220 * (p.height_mm || 1)) / (p.width_mm || 1)) }) : make("span.waiting"),
      make("b", {}, p.name ?? ""), (p.says ?? []).map((says) => make("p.wrong", {}, icon("warn"), sentence(says))))))));
}

export const tray = {
  open(desk, main, signal) {
    const { piece } = desk;
    if (piece?.kind !== "tray") {
      main.append(make("section.begin", {}, make("p.big", {}, say("tray.begin.line")),
        make("div.row", {}, button(say("tray.begin"), () => begin(desk, { cause: signal }).catch(oops), { icon: "tray", kind: "main" }))));
      return;
    }
    const state = { columns: [], rows: [] };
    let shown = null;
    // The last table that was told while a cell was being typed in, and whether one was told since the screen was opened.
    let late = null;
    let heard = false;
    const names = make("div");
    const said = make("div", { role: "status" });
    const spots = make("div.trays", { role: "region", "aria-label": say("tray.title") });
    const told = make("p.told", { role: "status" });
    const paste = make("textarea", { rows: 4, placeholder: say("table.example"), spellcheck: "false" });
    const findings = make("ul.findings");
    const toTake = make("section.files");
    let waiting = null;

    const look = async () => {
      waiting?.abort();
      if (!state.rows.length) {
        told.textContent = "";
        [spots, findings, toTake].forEach((part) => refill(part));
        return;
      }
      waiting = new AbortController();
      const revision = piece.revision;
      told.textContent = say("tray.coming");
      try {
        const seen = await get(piece.path("tray"), AbortSignal.any([waiting.signal, signal]));
        if (!seen || piece.revision !== revision) return;
        const n = seen.trays.reduce((sum, t) => sum + t.pieces.length, 0);
        told.textContent = count("tray.done", n, { trays: count("tray.trays", seen.trays.length) });
        refill(spots, pieces(seen.trays, piece.kit));
        shown?.leave(seen.bad_rows);
        refill(findings, leftOff(seen.bad_rows), (seen.findings ?? []).map((f) => {
          const level = { caution: "warn" }[f.level] ?? f.level;
          return make(`li.finding.${level}`, {}, make("p", {}, make("span.level", {}, icon(level), say(`level.${level}`)), " ",
            sentence(f.pieces ? `${f.pieces}: ${f.says}` : f.says), f.others && ` ${say("tray.others", { pieces: f.others })}`),
            acceptance(desk, f, "piece.scan.accept"), make("div.row", {}, remedies(desk, f)));
        }));
        files(seen);
        judged();
      } catch (refusal) {
        if (refusal.name === "AbortError") return;
        told.textContent = "";
        if (refusal.status === 422) {
          const { row } = refusal.answer;
          shown?.leave(row ? [{ row, says: refusal.says }] : []);
          judged();
        }
        // What was laid out before is none of what is asked now; where nobody answers, nothing is known of that.
        if (![0, 401].includes(refusal.status)) [spots, toTake].forEach((part) => refill(part));
        if (refusal.says) refill(findings, make("li.finding.stop", {}, make("p", {}, make("span.level", {}, icon("stop"), say("level.stop")), " ", refusal.says)));
        else oops(refusal);
      }
    };

    const files = (seen) => {
      const out = make("p.saved", { role: "status" });
      const of = piece.revision;
      // Nobody takes the files of another tab's names without having seen them; and a name that was typed just now is on its
      // way: until it is on the tray, the files are of what was there before.
      const early = () => outdated(desk, () => piece.revision === of, { elsewhere: "tray.elsewhere", coming: "tray.files.coming" }, signal);
      const zip = { href: piece.path("files.zip"), download: `${piece.name}.zip` };
      const fetchZip = async (event) => {
        event.preventDefault();
        try {
          if (!await early()) make("a", zip).click();
        } catch (refusal) { oops(refusal); }
      };
      refill(toTake, make("h2", {}, say("files.title")), seen.burns ? make("p", {}, say("tray.program")) : make("p.finding.stop", {}, icon("stop"), say("tray.stopped")),
        seen.files?.length ? make("ul", {}, seen.files.map((f) => make("li", {}, make("code", {}, f.name), f.bytes ? make("span", {}, bytes(f.bytes)) : null))) : null,
        make("div.row", {},
          make("a.button.main", { ...zip, on: { click: fetchZip } }, icon("zip"), make("span", {}, say("files.zip"))),
          button(say("files.save"), async () => {
            try {
              if (await early()) return;
              const saved = await saveFiles(piece);
              if (saved) out.textContent = say("files.saved", { folder: saved.folder, n: number(saved.files.length) });
            } catch (refusal) { oops(refusal); }
          }, { icon: "folder" }), button(say("print"), () => print(), { icon: "printer" })), out);
    };

    const put = async (content, name) => {
      if (name) refill(said, make("p.hint", {}, say("table.reading")));
      try {
        const answer = await piece.putTable(content, name);
        announce(count("table.read", answer.rows.length));
        // How a table was taken is seen until it changes.
        refill(said, answer.says && make("p.finding.note", {}, icon("note"), make("span", {}, answer.says)));
      } catch (refusal) {
        refill(said);
        oops(refusal);
      }
    };

    /** Takes the one table among files that were brought. Which of several is meant, only a person knows. */
    const bring = async (files) => {
      const picture = files.find((file) => PICTURE.test(file.name));
      const tables = files.filter((file) => !PICTURE.test(file.name));
      if (picture) notice(say("table.picture", { name: picture.name }), { wrong: true });
      if (tables.length > 1) notice(say("table.several", { names: tables.map((file) => file.name).join(", ") }), { wrong: true });
      else if (tables.length) {
        const [table] = tables;
        // It is read now: it may have to wait for the server, and what cannot be read would wait for good.
        const content = await table.arrayBuffer().catch(() => null);
        if (content) await put(content, table.name);
        else notice(say("table.unreadable", { name: table.name }), { wrong: true });
      }
    };

    /** Whether a row can be used hangs on the texts as well: once they were changed, it is told anew. */
    const judged = async () => {
      try {
        const now = await get(jobPath(piece.name, "/table"), signal);
        if (now?.columns && !piece.tables.length && now.revision === piece.revision) shown?.retell(now, true);
      } catch { /* what was said before stays */ }
    };

    const take = (told) => {
      const more = piece.tables.length > 0;
      if (told && shown?.retell(told, more)) late = null;
      else if (shown?.typing() || (more && shown)) late = { told };
      else {
        late = null;
        Object.assign(state, told ? { columns: told.columns, rows: told.rows } : { columns: [], rows: [] });
        paint();
      }
      look();
    };

    const paint = () => {
      const held = names.contains(document.activeElement) ? [...names.querySelectorAll("input, button")].indexOf(document.activeElement) : -1;
      shown = state.rows.length ? table(state, put) : null;
      refill(names, shown?.node ?? make("p.hint", {}, say("table.none")));
      if (held >= 0) names.querySelectorAll("input, button")[held]?.focus({ preventScroll: true });
    };

    main.append(make("div.tray", {},
      make("section.list", {}, make("h2", {}, say("table.title")),
        field(say("table.paste"), paste, { hint: say("table.paste.hint") }),
        make("div.row", {},
          button(say("table.take"), () => { if (paste.value.trim()) put(paste.value, "pasted.tsv"); }, { icon: "plus", kind: "main" }),
          dropZone(desk, { pick: say("table.file") }, bring, { small: true, multiple: false, accept: ".csv,.tsv,.txt,.xlsx,.ods" })),
        said, names, words(piece, state, () => desk.dispatchEvent(new CustomEvent("drawer", { detail: "words" })), signal)),
      make("section.seen", {}, told, findings, spots, toTake)));

    paste.addEventListener("paste", (event) => {
      const text = event.clipboardData.getData("text/plain");
      if (text.includes("\n") && !paste.value) { event.preventDefault(); paste.value = text; put(text, "pasted.tsv"); }
    });
    names.addEventListener("focusout", () => setTimeout(() => { if (late && !piece.tables.length && !signal.aborted) take(late.told); }));
    desk.dropped = bring;
    desk.events.addEventListener("here", look, { signal });
    signal.addEventListener("abort", () => waiting?.abort());
    piece.addEventListener("saved", look, { signal });
    piece.addEventListener("table", (event) => {
      heard = true;
      // What was said of a table is of no other, as after a step back; of a new one it is said once that is here.
      refill(said);
      take(event.detail);
    }, { signal });
    paint();
    get(jobPath(piece.name, "/table"), signal).then((t) => {
      if (heard) return;
      piece.tabled(t?.columns ? t : null);
      if (t?.columns) take(t);
    }).catch(oops);
  },
};

/** The texts that each row fills: `{name}` stands for the column of that name; `place` opens where they are laid. They change with the table and by undoing too. */
function words(piece, state, place, signal) {
  const fields = make("div.fields");
  let shown = [];
  const all = () => piece.value("piece.layer") ?? [];
  const texts = () => all().map((layer, n) => [n, layer.text]).filter(([, text]) => text !== undefined);
  const one = ([n, text]) => {
    const input = make("input", { type: "text", value: text, autocomplete: "off", on: { change: (e) => piece.change({ [`piece.layer.${n}.text`]: e.target.value }) } });
    return { n, input, text, node: field(say("tray.text", { n: n + 1 }), input, { key: `piece.layer.${n}.text` }) };
  };
  const paint = () => {
    const now = texts();
    if (String(now.map(([n]) => n)) !== String(shown.map(({ n }) => n))) {
      shown = now.map(one);
      refill(fields, shown.map(({ node }) => node));
      return;
    }
    now.forEach(([, text], at) => {
      const { input, text: before } = shown[at];
      // What is being typed in stays as it is until it becomes a change.
      if (input !== document.activeElement || input.value === before) input.value = text;
      shown[at].text = text;
    });
  };
  const add = () => {
    const lettered = all().map((layer) => layer.text ?? "").join("");
    const column = state.columns.find((name) => !lettered.includes(`{${name}}`)) ?? state.columns[0] ?? "name";
    addShared(piece, `{${column}}`);
  };
  for (const news of ["asked", "saved", "table"]) piece.addEventListener(news, paint, { signal });
  paint();
  return make("section.words", {}, make("h3", {}, say("tray.words")), make("p.hint", {}, say("tray.words.hint")), fields,
    make("div.row", {}, button(say("layer.add.text"), add, { icon: "letter" }), button(say("tray.words.place"), () => place(), { icon: "change" })));
}
