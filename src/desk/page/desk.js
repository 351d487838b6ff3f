// Desk: the frame of the page. It enters, keeps the open piece and the screen that shows it, and names both in the address.

import { button, icon, make, refill, sprite } from "./element.js";
import { announce, besideItsField, hasUnsent, isUnsent, notice, noticeBoard, oops, question, unsay, unsent } from "./notice.js";
import { Piece } from "./piece.js";
import { enter, Events, get, newJob, PAGE, send, setAway } from "./server.js";
import { easel } from "./easel.js";
import { loupe } from "./loupe.js";
import { renameOnRoll, sheet, takePictures } from "./sheet.js";
import { shelf } from "./shelf.js";
import { setSpoken, strip } from "./strip.js";
import { ticket } from "./ticket.js";
import { tablesApart, tray } from "./tray.js";
import { wedge } from "./wedge.js";
import { fileStem, loadWords, number, say } from "./words.js";

const SCREENS = { sheet, easel, loupe, ticket, tray, wedge };
const OF_A_PIECE = ["easel", "loupe", "ticket"];
/** How long a run goes on before those who listen hear how far it is, and then again. */
const SAID_MS = 5000;

/** What a new piece begins with: the blank, coating, machine and process that the last one had. */
const lastUsed = {
  get asked() { try { return JSON.parse(localStorage.getItem("last-used")) ?? {}; } catch { return {}; } },
  set asked({ blank = {}, coating, machine, process }) {
    const { shape, margin, surface, coatings } = blank;
    localStorage.setItem("last-used", JSON.stringify({ blank: { shape, margin, surface, coatings }, coating, machine, process }));
  },
};

/** Whether a piece, or a tray's piece, is made with a file of that name. */
function uses(piece, asked) {
  const { process, machine, coating, blank } = (piece.kind === "tray" ? piece.value("piece") : piece.asked) ?? {};
  return [process, machine, coating, ...(blank?.coatings ?? [])].some((one) => (one?.name ?? one) === asked);
}

/** What every screen is handed: the kit, the events, the open piece, and how to go elsewhere. */
class Desk extends EventTarget {
  kit = { blanks: [], coatings: [], machines: [], processes: [], screens: [], fonts: [] };
  piece = null;
  wedge = null;
  view = "sheet";
  leaving = new AbortController();
  said = 0;
  renewals = 0;
  dropped = () => {};
  undecided = () => {};

  async start() {
    this.theme(localStorage.getItem("theme") || "auto");
    const [drawings] = await Promise.all([sprite(), loadWords()]);
    setAway(say("server.away"));
    this.#frame(drawings);
    // A printed address that is opened in this tab again may differ from it by its key only, so the browser stays.
    addEventListener("hashchange", () => this.#rejoin().catch(oops));
    try {
      await this.#join();
    } catch (refusal) {
      this.#shut(refusal);
      return;
    }
    this.events = new Events();
    this.#listen();
    this.#drops();
    addEventListener("popstate", () => this.#follow());
    addEventListener("keydown", (event) => this.#key(event));
    await this.#follow();
  }

  /** Gives the key of the address, where it has one, and reads the kit. Answers whether it leads to another piece now. */
  async #join() {
    const entered = await enter();
    await this.readKit();
    // The address that a desk prints when it is started anew names no piece: that which waits to be sent is the one to go on with.
    const leads = entered && !location.search && Piece.unsaved;
    if (leads) history.replaceState({}, "", this.address("easel", leads));
    return Boolean(leads);
  }

  /** Goes on with a key that came into the address; loaded anew, the page would lose files that wait on it. The events come by themselves. */
  async #rejoin() {
    if (!this.events) location.reload();
    else if (await this.#join()) await this.#follow();
  }

  /**
   * What a new piece begins with. What the last one had and is not here any more is left out, which is said: a file that was
   * moved away, or a desk on another folder at the same address.
   */
  async usual() {
    await this.readKit();
    const asked = { ...lastUsed.asked };
    const there = (what, name) => this.kit[what].some((one) => one.usable !== false && (one.asked === name || one.name === name));
    const gone = [];
    for (const [key, what] of [["coating", "coatings"], ["machine", "machines"], ["process", "processes"]]) {
      if (typeof asked[key] !== "string" || there(what, asked[key])) continue;
      gone.push(say("usual.one", { what: say(`strip.${key}`), name: fileStem(asked[key]) }));
      delete asked[key];
    }
    const of = asked.blank?.coatings;
    if (of && !of.every((name) => there("coatings", name))) asked.blank = { ...asked.blank, coatings: undefined };
    if (gone.length) notice(say("usual.gone", { gone: gone.join(", ") }), { stays: true });
    return asked;
  }

  /** Reads the kit again, as after a process was kept. */
  async readKit() {
    this.kit = { ...await get("/api/kit"), renewed: this.renewals || undefined };
    setSpoken(this.kit.spoken);
  }

  /** Opens the same piece again, as after something that it is made with was replaced. */
  async again() {
    const name = this.piece?.name;
    this.#letGo();
    await this.go(this.view, name, { replace: true, focus: false });
  }

  /** After a file of the kit was brought or kept, here or in another tab: what is made with it is another thing now. */
  async renewed(asked) {
    // Browsers show a picture that this page has had already without asking for it once more, so it gets another address.
    this.renewals += 1;
    await this.readKit();
    const { piece } = this;
    if (!piece) return;
    piece.kit = this.kit;
    // What is on its way is worked out anew as it is.
    if (piece.unsaved || !uses(piece, asked)) return;
    if (this.view !== "wedge") { await this.again(); return; }
    // A wedge's screen shows nothing of the piece, and what is typed there stays.
    const anew = await Piece.open(piece.name, this.kit);
    if (this.piece !== piece) return;
    if (this.view === "wedge") this.hold(anew);
    else await this.again();
  }

  /** After a piece was called otherwise, here or in another tab: this one goes on with it under its new name. */
  renamed(news) {
    const { from, job } = news;
    if (from === job) return;
    const isOpen = this.piece?.name === from;
    const isSeen = renameOnRoll(from, job) && this.view === "sheet";
    Piece.renamed(news);
    if (isOpen) {
      this.piece.renamed(news);
      history.replaceState({}, "", this.address(this.view));
    }
    // A wedge's screen shows nothing of the piece, and what is typed there stays.
    if (isSeen || (isOpen && this.view !== "wedge")) this.#showLater();
    else if (isOpen) this.refoot();
  }

  /** Shows the screen anew once nothing is being typed in it: what was typed is a change when it is left. The frame is told at once. */
  #showLater() {
    this.#entitle();
    if (!document.activeElement?.matches("main :is(input, textarea), .drawer *")) {
      this.#show(this.view, false);
      return;
    }
    const { signal } = this.leaving;
    addEventListener("focusout", () => setTimeout(() => { if (!signal.aborted) this.#showLater(); }), { once: true, signal });
  }

  /** The address of a screen, and of a piece where one is named; of the wedge that was drawn too, so that it is there again. */
  address(view, name = this.piece?.name) {
    const where = new URLSearchParams();
    if (name) where.set("piece", name);
    where.set("view", view);
    if (this.wedge) where.set("wedge", this.wedge);
    return `/?${where}`;
  }

  /** Opens a screen, and a piece where one is named. The address says so. */
  async go(view, name = this.piece?.name, { replace = false, focus = true } = {}) {
    history[replace ? "replaceState" : "pushState"]({}, "", this.address(view, name));
    await this.#follow(focus);
  }

  /** Lets go of the open piece, and of the run that was shown for it. */
  #letGo() {
    this.piece?.close();
    this.piece = null;
    this.undecided();
    this.#progress(null);
  }

  async #follow(focus = false) {
    const where = new URLSearchParams(location.search);
    const name = where.get("piece");
    let view = where.get("view") || "sheet";
    this.wedge = where.get("wedge") ?? this.wedge;
    if (name !== (this.piece?.name ?? null)) {
      this.#letGo();
      if (name) {
        try {
          this.hold(await Piece.open(name, this.kit));
          if (this.piece.name !== name) history.replaceState({}, "", this.address(view));
        } catch (refusal) {
          oops(refusal);
          history.replaceState({}, "", "/");
        }
      }
    }
    if (!(view in SCREENS) || (!this.piece && OF_A_PIECE.includes(view))) view = "sheet";
    if (this.piece?.kind === "tray" && (view === "sheet" || OF_A_PIECE.includes(view))) view = "tray";
    this.#show(view, focus);
  }

  /** Makes a piece the open one. */
  hold(piece) {
    this.#letGo();
    this.piece = piece;
    // What was refused is told until something else came of what is asked.
    let gone = () => {};
    for (const event of ["saved", "exact"]) piece.addEventListener(event, () => gone());
    piece.addEventListener("asked", () => this.#steps());
    piece.addEventListener("table", () => this.#steps());
    piece.addEventListener("saved", () => { this.#steps(); this.#progress(0); if (piece.kind === "piece") lastUsed.asked = piece.asked; });
    piece.addEventListener("exact", () => { this.#progress(null); announce(say("look.exact")); });
    piece.addEventListener("refused", ({ detail }) => {
      this.#progress(null);
      if (!besideItsField(detail)) gone = oops(detail);
    });
    piece.addEventListener("conflict", ({ detail }) => this.#conflict(detail));
  }

  async #conflict({ theirs, answer }) {
    this.undecided();
    const chosen = await question(say("conflict.title"), say("conflict.text", { name: theirs.name }), [
      ["theirs", say("conflict.theirs")], ["mine", say("conflict.mine")],
    ]);
    if (chosen === null) {
      // Neither is taken before a person says which; what is asked here is sent, and asked about, once more then.
      this.undecided = notice(say("conflict.open"), { wrong: true, act: [say("conflict.choose"), () => this.piece?.put()] });
      return;
    }
    answer(chosen === "mine");
    this.#steps();
    this.#show(this.view, false);
  }

  #show(view, focus) {
    this.leaving.abort();
    this.leaving = new AbortController();
    this.view = view;
    this.dropped = (files) => takePictures(this, files);
    document.body.dataset.view = view;
    this.#entitle();
    refill(this.main);
    const head = make("h1", { tabindex: "-1" }, say(`${view}.title`));
    this.main.append(head);
    SCREENS[view].open(this, this.main, this.leaving.signal);
    strip.open(this, this.foot, this.leaving.signal);
    if (focus) head.focus({ preventScroll: true });
    this.main.scrollTo(0, 0);
    // In low windows it is the page that scrolls.
    scrollTo(0, 0);
  }

  /** The name of the piece that is now open, wherever the frame has it. */
  #entitle() {
    document.title = this.piece ? say("title.piece", { name: this.piece.name }) : say("title");
    this.#tabs();
    this.#steps();
  }

  /** Paints tabs and strip again for the piece that is now open, and leaves the screen as it is. */
  refoot() {
    this.#entitle();
    strip.open(this, this.foot, this.leaving.signal);
  }

  #frame(drawings) {
    document.title = say("title");
    this.tabs = make("nav.film", { "aria-label": say("screens") });
    this.name = make("button.name", { type: "button", on: { click: () => shelf.open(this) } });
    this.back = button(say("undo"), () => this.piece?.undo(), { icon: "undo", quiet: true });
    this.forth = button(say("redo"), () => this.piece?.redo(), { icon: "redo", quiet: true });
    this.light = button(say("theme"), () => this.theme(), { icon: "lamp", quiet: true });
    this.bar = make("progress", { max: 1, "aria-label": say("progress") });
    this.bar.hidden = true;
    this.main = make("main", { id: "main" });
    this.foot = make("footer");
    refill(document.body, drawings,
      make("a.skip", { href: "#main", on: { click: (event) => { event.preventDefault(); this.main.querySelector("h1").focus(); } } }, say("skip")),
      make("header.top", {},
        make("a.brand", { href: "/", on: { click: (event) => { event.preventDefault(); this.home(); } } }, icon("mark"), make("span", {}, "Dotwright")),
        this.name,
        make("div.steps", { role: "group", "aria-label": say("steps") }, this.back, this.forth, this.light)),
      this.tabs, this.bar, this.main, this.foot, noticeBoard());
    this.#steps();
  }

  /** An empty contact sheet, for new pictures. */
  home() {
    this.#letGo();
    history.pushState({}, "", "/");
    this.#show("sheet", true);
  }

  #tabs() {
    const tray = this.piece?.kind === "tray";
    refill(this.tabs, make("ol", {}, Object.keys(SCREENS).map((view, at) => {
      const idle = view !== "wedge" && (tray ? view !== "tray" : !this.piece && OF_A_PIECE.includes(view));
      const go = (event) => { event.preventDefault(); if (!idle) this.go(view); };
      return make("li", {}, make("a", {
        href: this.address(view), "aria-current": view === this.view ? "page" : null, "aria-disabled": idle || null, on: { click: go },
      }, make("small", { "aria-hidden": "true" }, `${11 + at}`), make("span", {}, say(`${view}.tab`))));
    })));
    this.tabs.querySelector("[aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });
  }

  #steps() {
    this.back.disabled = !this.piece?.canUndo;
    this.forth.disabled = !this.piece?.canRedo;
    refill(this.name, make("span", {}, this.piece?.name ?? say("shelf.none")), icon("shelf"));
    this.name.setAttribute("aria-label", say("shelf.open", { name: this.piece?.name ?? say("shelf.none") }));
  }

  #progress(part, stage) {
    this.bar.hidden = part === null || !this.piece?.expected || this.piece.kind === "tray" || Boolean(this.piece.ticket);
    if (this.bar.hidden) return;
    this.bar.value = part;
    if (!stage) this.said = performance.now();
    if (stage && performance.now() - this.said > SAID_MS) {
      this.said = performance.now();
      announce(say("progress.stage", { stage, part: number(Math.round(part * 10) * 10) }));
    }
  }

  #listen() {
    this.events.addEventListener("progress", ({ detail }) => {
      if (detail.job === this.piece?.name && detail.revision === this.piece.revision) this.#progress(detail.part, detail.stage);
    });
    // What this page did itself it sees to in its place: its own word may come late, when the piece has long taken it.
    this.events.addEventListener("kit", ({ detail }) => { if (detail.by !== PAGE) this.renewed(detail.asked).catch(oops); });
    this.events.addEventListener("shelf", ({ detail }) => { if (detail.from) this.renamed(detail); });
    const [away, strange] = [say("server.away"), say("server.strange")];
    const gone = (says) => {
      unsay(away, strange);
      notice(says, { wrong: true });
      this.#progress(null);
    };
    this.events.addEventListener("away", () => gone(away));
    this.events.addEventListener("strange", () => gone(strange));
    this.events.addEventListener("here", () => {
      // A change that could not be sent said it as well.
      unsay(away, strange);
      notice(say("server.back"));
      this.piece?.again();
    });
  }

  #shut(refusal) {
    refill(this.main, make("section.shut", {}, make("h1", {}, say("shut.title")),
      make("p", {}, refusal.status === 401 || refusal.status === 403 ? say("shut.token") : refusal.says || refusal.message)));
  }

  /** Light, dark, or as the system has it; without a name, the next of them. */
  theme(name) {
    const all = ["auto", "light", "dark"];
    const now = document.documentElement.dataset.theme || "auto";
    const next = name ?? all[(all.indexOf(now) + 1) % all.length];
    document.documentElement.dataset.theme = next;
    localStorage.setItem("theme", next);
    if (!name) notice(say(`theme.${next}`));
  }

  /** Files may be dropped or pasted anywhere; the screen says what becomes of them. */
  #drops() {
    const brings = (event) => event.dataTransfer?.types.includes("Files");
    const act = (files) => Promise.resolve(this.dropped(files)).catch(oops);
    addEventListener("dragover", (event) => {
      if (!brings(event)) return;
      event.preventDefault();
      document.body.classList.add("dropping");
    });
    addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.body.classList.remove("dropping"); });
    addEventListener("drop", (event) => {
      document.body.classList.remove("dropping");
      if (!brings(event)) return;
      event.preventDefault();
      act([...event.dataTransfer.files]);
    });
    addEventListener("paste", (event) => { if (event.clipboardData?.files.length) act([...event.clipboardData.files]); });
    addEventListener("beforeunload", (event) => { if (this.piece?.unsaved || hasUnsent()) event.preventDefault(); });
  }

  #key(event) {
    const typing = /^(INPUT|TEXTAREA|SELECT)$/.test(event.target.tagName) && !/^(radio|checkbox|range|button)$/.test(event.target.type);
    if (!(event.ctrlKey || event.metaKey) || typing) return;
    const key = event.key.toLowerCase();
    if (key === "z") { event.preventDefault(); event.shiftKey ? this.piece?.redo() : this.piece?.undo(); }
    if (key === "y") { event.preventDefault(); this.piece?.redo(); }
  }

  /** Takes pictures: each becomes a piece of its own. Answers their names. */
  async take(brought) {
    const names = [];
    const files = tablesApart(this, brought);
    if (!files.length) return names;
    const left = [];
    let usual = null;
    for (const file of files) {
      try {
        usual ??= await this.usual();
        announce(say("art.reading", { name: file.name }));
        const art = await send("POST", `/api/art?name=${encodeURIComponent(file.name)}`, file);
        const job = await newJob(file, { art: art.art, asked: usual });
        names.push(job.name);
      } catch (refusal) {
        if (isUnsent(refusal)) left.push(file);
        else oops(refusal);
      }
    }
    if (left.length) unsent(left.map(({ name }) => name), () => takePictures(this, left).catch(oops));
    return names;
  }
}

new Desk().start().catch(oops);
