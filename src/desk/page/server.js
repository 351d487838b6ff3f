// Server: every request of the page, and the events that it listens to.

/** A refusal: the server's one sentence, and the job key that it is about where it knows one. */
export class Refusal extends Error {
  constructor(status, answer, away) {
    super(answer.says || away);
    this.status = status;
    this.says = this.message;
    this.key = answer.key;
    this.answer = answer;
  }
}

let away = "";

/** What is said when nobody answers. */
export const setAway = (sentence) => { away = sentence; };

async function ask(path, options) {
  let answer;
  try {
    answer = await fetch(path, { credentials: "same-origin", ...options });
  } catch (cause) {
    if (cause.name === "AbortError") throw cause;
    throw new Refusal(0, {}, away);
  }
  if (answer.ok) return answer;
  const said = await answer.json().catch(() => ({}));
  throw new Refusal(answer.status, said, away);
}

async function body(answer) {
  if (answer.status === 204) return null;
  const kind = answer.headers.get("content-type") || "";
  return kind.includes("json") ? answer.json() : answer.text();
}

/** What tells this page from others that look at the same server. */
export const PAGE = crypto.randomUUID();

/** GET that answers JSON; null for an answer that was overtaken. */
export const get = async (path, signal) => body(await ask(path, { signal }));

/** POST, PUT or DELETE: an object goes as JSON, bytes as they are. */
export async function send(method, path, content, signal, headers = {}) {
  const raw = content instanceof Blob || typeof content === "string";
  const options = { method, signal, headers };
  if (raw) options.body = content;
  else if (content !== undefined) {
    options.body = JSON.stringify(content);
    options.headers = { ...headers, "content-type": "application/json" };
  }
  return body(await ask(path, options));
}

const asked = new WeakMap();

/**
 * Asks for a new job for the sake of `cause`, such as the file that it is made from. However often that is asked, because the
 * answer was lost, there is one job.
 */
export function newJob(cause, content) {
  if (!asked.has(cause)) asked.set(cause, crypto.randomUUID());
  return send("POST", "/api/jobs", content, undefined, { "idempotency-key": asked.get(cause) });
}

/** The path of a job, with what follows its name. */
export const jobPath = (name, rest = "") => `/api/jobs/${encodeURIComponent(name)}${rest}`;

/** A query of the values that are there. */
export function query(values) {
  const there = Object.entries(values).filter(([, v]) => v !== undefined && v !== null);
  return there.length ? `?${new URLSearchParams(there)}` : "";
}

/** Gives the token of the start for the cookie, and takes it out of the address. Answers whether there was one. */
export async function enter() {
  const token = location.hash.slice(1);
  if (!token) return false;
  history.replaceState(history.state, "", location.pathname + location.search);
  await send("POST", "/api/enter", { token });
  return true;
}

const KINDS = [
  "shelf", "progress", "exact", "failed", "version", "sheet", "sheet-done", "wedge", "saved", "kit",
];

/** How long after it was turned away the page knocks again. */
const AGAIN_MS = 2000;

/**
 * Listens to the server's events: each is passed on as an event of this target, `detail` its data. Besides: `away` (nobody
 * answers), `strange` (a server answers, but not to this tab's key), and `here` (after one of these, all is well again).
 */
export class Events extends EventTarget {
  state = "here";

  constructor() {
    super();
    this.#listen();
  }

  #become(state) {
    if (state === this.state) return;
    this.state = state;
    this.dispatchEvent(new CustomEvent(state));
  }

  /** The browser does not come back by itself from an answer that is no stream of events, such as "who are you?". */
  async #knock() {
    try {
      await get("/api/kit");
      this.#listen();
    } catch (refusal) {
      this.#become(refusal.status === 401 ? "strange" : "away");
      setTimeout(() => this.#knock(), AGAIN_MS);
    }
  }

  #listen() {
    this.source = new EventSource("/api/events");
    for (const kind of KINDS) {
      this.source.addEventListener(kind, (event) => {
        let detail = {};
        try { detail = JSON.parse(event.data); } catch { /* a heart-beat has no data */ }
        this.dispatchEvent(new CustomEvent(kind, { detail }));
      });
    }
    this.source.onerror = () => {
      if (this.source.readyState === EventSource.CLOSED) this.#knock();
      else this.#become("away");
    };
    this.source.onopen = () => this.#become("here");
  }
}
