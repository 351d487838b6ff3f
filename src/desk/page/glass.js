// Glass: a window that looks at a plane in millimetres, moved and brought nearer by mouse, touch and keys.

/**
 * The window. `x`, `y` (mm) lie at its upper left corner, `scale` is in CSS pixels a mm. Event: `moved`.
 */
export class Glass extends EventTarget {
  /**
   * @param {HTMLElement} host the window on the page; it must be able to have the focus
   * @param {{w: number, h: number}} plane size of what is looked at, mm
   * @param {number} nearest the largest scale, pixels a mm
   * @param {AbortSignal} signal until when it listens
   */
  constructor(host, plane, nearest, signal) {
    super();
    Object.assign(this, { host, plane, nearest, x: 0, y: 0, scale: 1, fingers: new Map(), fitted: true });
    const on = (event, act, more = {}) => host.addEventListener(event, act, { signal, ...more });
    on("wheel", (e) => this.#wheel(e), { passive: false });
    on("pointerdown", (e) => this.#down(e));
    on("pointermove", (e) => this.#move(e));
    on("pointerup", (e) => this.#up(e));
    on("pointercancel", (e) => this.#up(e));
    on("dblclick", (e) => this.zoom(2, this.#at(e)));
    on("keydown", (e) => this.#key(e));
    const watch = new ResizeObserver(() => { this.fitted ? this.fit() : this.#tell(); });
    watch.observe(host);
    signal.addEventListener("abort", () => watch.disconnect());
    this.fit();
  }

  /** Looks at another plane, all of it. */
  see(plane) {
    this.plane = plane;
    this.fit();
  }

  get width() { return this.host.clientWidth; }
  get height() { return this.host.clientHeight; }

  /** The scale at which all is seen. */
  get least() {
    return Math.max(0.1, Math.min((this.width - 24) / this.plane.w, (this.height - 24) / this.plane.h));
  }

  /** All of it, in the middle. */
  fit() {
    this.scale = this.least;
    this.x = (this.plane.w - this.width / this.scale) / 2;
    this.y = (this.plane.h - this.height / this.scale) / 2;
    this.fitted = true;
    this.#tell();
  }

  /** A scale, with the middle of the window kept where it is. */
  to(scale) { this.zoom(scale / this.scale); }

  /** Nearer or farther by a factor; the point `at` (pixels of the window) stays. */
  zoom(factor, at = { x: this.width / 2, y: this.height / 2 }) {
    const scale = Math.min(this.nearest, Math.max(Math.min(this.least * 0.5, 2), this.scale * factor));
    this.x += at.x / this.scale - at.x / scale;
    this.y += at.y / this.scale - at.y / scale;
    this.scale = scale;
    this.fitted = false;
    this.#keep();
  }

  /** Moves what is seen by pixels of the window. */
  pan(dx, dy) {
    this.x -= dx / this.scale;
    this.y -= dy / this.scale;
    this.fitted = false;
    this.#keep();
  }

  /** Something of the piece always stays in the window. */
  #keep() {
    const [w, h] = [this.width / this.scale, this.height / this.scale];
    this.x = Math.min(this.plane.w - w * 0.2, Math.max(-w * 0.8, this.x));
    this.y = Math.min(this.plane.h - h * 0.2, Math.max(-h * 0.8, this.y));
    this.#tell();
  }

  #tell() {
    if (this.told) return;
    this.told = requestAnimationFrame(() => {
      this.told = 0;
      this.dispatchEvent(new Event("moved"));
    });
  }

  #at(event) {
    const box = this.host.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top };
  }

  #wheel(event) {
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 18 : 1;
    this.zoom(Math.exp(-event.deltaY * lines * 0.0018), this.#at(event));
  }

  #down(event) {
    if (event.target.closest("button, [role=slider]")) return;
    this.host.setPointerCapture(event.pointerId);
    this.fingers.set(event.pointerId, this.#at(event));
  }

  #move(event) {
    const before = this.fingers.get(event.pointerId);
    if (!before) return;
    const now = this.#at(event);
    if (this.fingers.size === 1) this.pan(now.x - before.x, now.y - before.y);
    else if (this.fingers.size === 2) {
      const [other] = [...this.fingers].filter(([id]) => id !== event.pointerId).map(([, at]) => at);
      const far = (a) => Math.hypot(a.x - other.x, a.y - other.y) || 1;
      const middle = (a) => ({ x: (a.x + other.x) / 2, y: (a.y + other.y) / 2 });
      this.pan(middle(now).x - middle(before).x, middle(now).y - middle(before).y);
      this.zoom(far(now) / far(before), middle(now));
    }
    this.fingers.set(event.pointerId, now);
  }

  #up(event) { this.fingers.delete(event.pointerId); }

  #key(event) {
    if (event.target !== this.host || event.ctrlKey || event.metaKey || event.altKey) return;
    const step = event.shiftKey ? 240 : 60;
    const acts = {
      ArrowLeft: () => this.pan(step, 0), ArrowRight: () => this.pan(-step, 0),
      ArrowUp: () => this.pan(0, step), ArrowDown: () => this.pan(0, -step),
      "+": () => this.zoom(1.4), "=": () => this.zoom(1.4), "-": () => this.zoom(1 / 1.4), 0: () => this.fit(), Home: () => this.fit(),
    };
    if (!acts[event.key]) return;
    event.preventDefault();
    acts[event.key]();
  }
}

const TILE = 512;

/** Plate: one look at the piece, laid out in tiles of finer and finer levels as the glass comes nearer. */
export class Plate {
  /**
   * @param {HTMLElement} host where its tiles lie
   * @param {{w: number, h: number}} plane size of the piece, mm
   * @param {(window: {x, y, w, h}, px: number) => string} path the address of a tile
   */
  constructor(host, plane, path) {
    Object.assign(this, { host, path });
    this.dense = Math.min(2, window.devicePixelRatio || 1);
    this.see(plane);
  }

  /** Looks at another plane: nothing of the old one would lie where it belongs. */
  see(plane) {
    Object.assign(this, { plane, tiles: new Map(), below: null, old: null, oldAt: null, wanted: null });
    this.base = TILE / Math.max(plane.w, plane.h);
    this.host.replaceChildren();
  }

  /** Another look: old tiles stay beneath until the new ones are there. */
  turn(path) {
    this.path = path;
    for (const tile of this.tiles.values()) tile.img.dataset.old = "true";
    this.old = [...(this.old ?? []), ...[...this.tiles.values()].map((t) => t.img)];
    this.oldAt = [...(this.oldAt ?? []), ...this.tiles.values()];
    this.tiles = new Map();
  }

  /** A picture of the whole that lies beneath all tiles until they are there. */
  under(src) {
    this.below ??= Object.assign(document.createElement("img"), { alt: "", draggable: false, className: "there" });
    this.below.src = src;
    if (!this.below.isConnected) this.host.prepend(this.below);
  }

  /** Lays out what the glass sees. */
  lay(glass) {
    const level = Math.max(0, Math.ceil(Math.log2((glass.scale * this.dense) / this.base / 1.15)));
    const side = TILE / (this.base * 2 ** level);
    const from = (v) => Math.max(0, Math.floor(v / side));
    const to = (v, most) => Math.min(Math.ceil(most / side) - 1, Math.floor(v / side));
    const wanted = new Set(["0/0/0"]);
    const lastX = to(glass.x + glass.width / glass.scale, this.plane.w);
    const lastY = to(glass.y + glass.height / glass.scale, this.plane.h);
    for (let row = from(glass.y); row <= lastY; row++) {
      for (let column = from(glass.x); column <= lastX; column++) wanted.add(`${level}/${column}/${row}`);
    }
    for (const key of wanted) if (!this.tiles.has(key)) this.#fetch(key);
    this.#tidy(wanted);
    for (const tile of [...this.tiles.values(), ...(this.oldAt ?? [])]) this.#put(tile, glass);
    if (this.below) this.#put({ img: this.below, area: { x: 0, y: 0, ...this.plane } }, glass);
  }

  #fetch(key) {
    const [level, column, row] = key.split("/").map(Number);
    const side = TILE / (this.base * 2 ** level);
    const area = { x: column * side, y: row * side };
    area.w = Math.min(side, this.plane.w - area.x);
    area.h = Math.min(side, this.plane.h - area.y);
    if (area.w <= 0.001 || area.h <= 0.001) return;
    const img = document.createElement("img");
    img.alt = "";
    img.draggable = false;
    img.decoding = "async";
    img.style.zIndex = String(level);
    img.src = this.path(area, (TILE * area.w) / side);
    const tile = { img, area, level, there: false };
    img.addEventListener("load", () => { tile.there = true; img.classList.add("there"); this.#tidyOld(); });
    img.addEventListener("error", () => { this.tiles.delete(key); img.remove(); }, { once: true });
    this.tiles.set(key, tile);
    this.host.append(img);
  }

  /** Tiles of other levels go once those that are wanted are there; those far away go at once where there are many. */
  #tidy(wanted) {
    this.wanted = wanted;
    const all = [...wanted].every((key) => !this.tiles.has(key) || this.tiles.get(key).there);
    for (const [key, tile] of this.tiles) {
      if (!wanted.has(key) && (all || this.tiles.size > 160)) { tile.img.remove(); this.tiles.delete(key); }
    }
  }

  #tidyOld() {
    const ready = [...(this.wanted ?? [])].every((key) => !this.tiles.has(key) || this.tiles.get(key).there);
    if (!ready || !this.old) return;
    for (const img of this.old) img.remove();
    [this.old, this.oldAt] = [null, null];
  }

  #put({ img, area }, glass) {
    const left = (area.x - glass.x) * glass.scale;
    const top = (area.y - glass.y) * glass.scale;
    img.style.width = `${area.w * glass.scale + 0.5}px`;
    img.style.height = `${area.h * glass.scale + 0.5}px`;
    img.style.transform = `translate(${left}px, ${top}px)`;
  }

  /** Whether all that is wanted is there. */
  get settled() { return [...(this.wanted ?? [])].every((key) => this.tiles.get(key)?.there); }

  /** Takes it off the page. */
  remove() { this.host.replaceChildren(); this.tiles.clear(); }
}
