// Tray: many pieces at once, each with its own words. Names come from a spreadsheet; all pieces are seen; one program marks them.

import { button, field, icon, make, refill } from "./element.js";
import { announce, oops } from "./notice.js";
import { csv } from "./piece.js";
import { get, jobPath, send } from "./server.js";
import { dropZone } from "./sheet.js";
import { bytes, count, number, say, sentence, time } from "./words.js";

/** Asks for a tray of its own: from nothing, with a text that each row fills. */
async function begin(desk) {
  const made = await send("POST", "/api/jobs", { tray: true });
  await desk.go("tray", made.name);
}

/** The table: every cell can be typed in. A row that cannot be used says why. */
function table(piece, state, put) {
  const { columns, rows } = state;
  const cell = (row, at) => make("td", {}, make("input", {
    type: "text", value: row.cells[at] ?? "", autocomplete: "off", "aria-label": say("table.cell", { column: columns[at], row: row.number }),
    "aria-invalid": Boolean(row.says) || null,
    on: { change: (e) => { row.cells[at] = e.target.value; put(csv(columns, rows), "table.csv"); } },
  }));
  return make("div.scroll", { tabindex: 0, role: "region", "aria-label": say("table.title") }, make("table.names", {},
    make("thead", {}, make("tr", {}, make("th", { scope: "col" }, "#"), columns.map((c) => make("th", { scope: "col" }, c)), make("th", { scope: "col" }, make("span.unseen", {}, say("table.remove"))))),
    make("tbody", {}, rows.map((row, at) => make("tr", { data: { row: row.number, bad: Boolean(row.says) } },
      make("th", { scope: "row" }, row.number), columns.map((_, c) => cell(row, c)),
      make("td", {}, button(say("table.remove.row", { row: row.number }), () => { rows.splice(at, 1); put(csv(columns, rows), "table.csv"); }, { icon: "bin", quiet: true })),
      row.says && make("td.says", {}, icon("warn"), row.says))))));
}

/** All pieces, in the order of the table. Those out of sight cost nothing: the browser skips them, and their pictures come when they are near. */
function pieces(trays) {
  return trays.map((tray) => make("section.pieces", {},
    make("h3", {}, trays.length > 1 ? say("tray.number", { n: tray.number }) : say("tray.pieces"), tray.seconds ? make("small", {}, time(tray.seconds)) : null),
    make("ol", {}, [...tray.pieces].sort((a, b) => (a.row ?? 0) - (b.row ?? 0) || a.number - b.number).map((p) => make("li.spot", { data: { number: p.number } },
      make("span.edge", {}, number(p.number)),
      p.picture ? make("img", { src: p.picture, alt: say("tray.piece", { name: p.name ?? p.number }), loading: "lazy", decoding: "async", width: 220, height: Math.round((220 * (p.height_mm || 1)) / (p.width_mm || 1)) }) : make("span.waiting"),
      make("b", {}, p.name ?? ""), p.says && make("p.wrong", {}, icon("warn"), p.says))))));
}

export const tray = {
  open(desk, main, signal) {
    const { piece } = desk;
    if (piece?.kind !== "tray") {
      main.append(make("section.begin", {}, make("p.big", {}, say("tray.begin.line")),
        make("div.row", {}, button(say("tray.begin"), () => begin(desk).catch(oops), { icon: "tray", kind: "main" }))));
      return;
    }
    const state = { columns: [], rows: [] };
    const names = make("div");
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
        refill(spots, pieces(seen.trays));
        refill(findings, (seen.findings ?? []).map((f) => {
          const level = { caution: "warn" }[f.level] ?? f.level;
          return make(`li.finding.${level}`, {}, make("p", {}, make("span.level", {}, icon(level), say(`level.${level}`)), " ", sentence(f.says)));
        }));
        files(seen);
      } catch (refusal) {
        if (refusal.name === "AbortError") return;
        told.textContent = "";
        if (refusal.says) refill(findings, make("li.finding.stop", {}, make("p", {}, make("span.level", {}, icon("stop"), say("level.stop")), " ", refusal.says)));
        else oops(refusal);
      }
    };

    const files = (seen) => {
      const out = make("p.saved", { role: "status" });
      refill(toTake, make("h2", {}, say("files.title")), make("p", {}, say("tray.program")),
        seen.files?.length ? make("ul", {}, seen.files.map((f) => make("li", {}, make("code", {}, f.name), f.bytes ? make("span", {}, bytes(f.bytes)) : null))) : null,
        make("div.row", {},
          make("a.button.main", { href: jobPath(piece.name, "/files.zip"), download: `${piece.name}.zip` }, icon("zip"), make("span", {}, say("files.zip"))),
          button(say("files.save"), async () => {
            try {
              const saved = await send("POST", jobPath(piece.name, "/save"), {});
              out.textContent = say("files.saved", { folder: saved.folder, n: number(saved.files.length) });
            } catch (refusal) { oops(refusal); }
          }, { icon: "folder" }), button(say("print"), () => print(), { icon: "printer" })), out);
    };

    const put = async (content, name) => {
      try {
        const answer = await piece.putTable(content, name);
        announce(count("table.read", answer.rows.length));
      } catch (refusal) { oops(refusal); }
    };

    const take = (told) => {
      Object.assign(state, told ? { columns: told.columns, rows: told.rows } : { columns: [], rows: [] });
      desk.refoot();
      paint();
      look();
    };

    const paint = () => {
      const held = names.contains(document.activeElement) ? [...names.querySelectorAll("input, button")].indexOf(document.activeElement) : -1;
      refill(names, state.rows.length ? table(piece, state, put) : make("p.hint", {}, say("table.none")));
      if (held >= 0) names.querySelectorAll("input, button")[held]?.focus({ preventScroll: true });
    };

    main.append(make("div.tray", {},
      make("section.list", {}, make("h2", {}, say("table.title")),
        field(say("table.paste"), paste, { hint: say("table.paste.hint") }),
        make("div.row", {},
          button(say("table.take"), () => { if (paste.value.trim()) put(paste.value, "pasted.tsv"); }, { icon: "plus", kind: "main" }),
          dropZone(desk, { pick: say("table.file") }, ([file]) => put(file, file.name), { small: true, multiple: false, accept: ".csv,.tsv,.txt,.xlsx,.ods" })),
        names, words(desk, piece)),
      make("section.seen", {}, told, findings, spots, toTake)));

    paste.addEventListener("paste", (event) => {
      const text = event.clipboardData.getData("text/plain");
      if (text.includes("\n") && !paste.value) { event.preventDefault(); paste.value = text; put(text, "pasted.tsv"); }
    });
    desk.dropped = ([file]) => put(file, file.name);
    signal.addEventListener("abort", () => waiting?.abort());
    piece.addEventListener("saved", look, { signal });
    piece.addEventListener("table", (event) => take(event.detail), { signal });
    paint();
    get(jobPath(piece.name, "/table"), signal).then((t) => {
      piece.tabled(t?.columns ? t : null);
      if (t?.columns) take(t);
    }).catch(oops);
  },
};

/** The texts that each row fills: `{name}` stands for the column of that name. */
function words(desk, piece) {
  const all = piece.value("piece.layer") ?? [];
  const at = (n) => field(say("tray.text", { n: n + 1 }), make("input", {
    type: "text", value: all[n].text, autocomplete: "off", on: { change: (e) => piece.change({ [`piece.layer.${n}.text`]: e.target.value }) },
  }), { key: `piece.layer.${n}.text` });
  return make("section.words", {}, make("h3", {}, say("tray.words")), make("p.hint", {}, say("tray.words.hint")),
    make("div.fields", {}, all.map((layer, n) => (layer.text === undefined ? null : at(n)))),
    button(say("layer.add.text"), () => {
      piece.set({ ...piece.asked, piece: { ...piece.asked.piece, layer: [...all, { text: "{name}", place: "40x8mm", anchor: all.length ? "bottom" : "middle" }] } });
      piece.addEventListener("saved", () => desk.go("tray", piece.name, { replace: true, focus: false }), { once: true });
    }, { icon: "letter" }));
}
