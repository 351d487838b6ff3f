// Notice: what the page says aside: to screen readers, in passing, or as a question.

import { button, make, refill } from "./element.js";
import { say } from "./words.js";

let polite;
let board;
let last = "";

/** The places where notices appear; they must be on the page before anything is said. */
export function noticeBoard() {
  polite = make("p.unseen", { role: "status", "aria-live": "polite" });
  board = make("div.notices", { "aria-live": "polite" });
  return [polite, board];
}

/** Says a sentence to those who listen to the page. The same sentence is not said twice in a row. */
export function announce(sentence) {
  if (sentence === last) return;
  last = sentence;
  polite.textContent = sentence;
}

/** The most notices that stand there and go away by themselves. */
const PASSING = 3;

/**
 * Shows a sentence that goes away by itself, unless it is news that stays until it is closed, as what went wrong does: all of
 * that stands in one notice.
 * @param {string} sentence what is said
 * @param {{wrong?: boolean, stays?: boolean, act?: [string, function], kind?: string}} [more] whether it went wrong; whether it stays; a
 * button's words and what it does; a `kind` to be found by
 * @returns {function} takes it away
 */
export function notice(sentence, { wrong = false, stays = wrong, act, kind } = {}) {
  unsay(sentence);
  const said = make("p", { data: { says: sentence } }, sentence);
  const close = () => takeAway(said);
  const joined = wrong && !act && board.querySelector(".notice.wrong:not(.asks) .says");
  if (joined) {
    joined.append(said);
    joined.scrollTop = joined.scrollHeight;
    return close;
  }
  const note = make(`div.notice${wrong ? ".wrong" : ""}${stays ? ".stays" : ""}${act ? ".asks" : ""}${kind ? `.${kind}` : ""}`, { role: wrong ? "alert" : null },
    make("div.says", {}, said),
    act && button(act[0], () => { note.remove(); act[1](); }),
    button(say("close"), () => note.remove(), { icon: "close", quiet: true, kind: "bare" }));
  board.append(note);
  const passing = [...board.querySelectorAll(".notice:not(.stays)")];
  for (const old of passing.slice(0, -PASSING)) old.remove();
  if (!stays) setTimeout(close, act ? 12000 : 6000);
  return close;
}

/** Takes sentences away, wherever they stand. */
export function unsay(...sentences) {
  for (const old of board.querySelectorAll("[data-says]")) if (sentences.includes(old.dataset.says)) takeAway(old);
}

/** Takes a sentence away, and its notice with the last one. */
function takeAway(said) {
  const note = said.closest(".notice");
  said.remove();
  if (note && !note.querySelector("[data-says]")) note.remove();
}

/** Shows what a refusal says; other errors too, since a page that says nothing is worse. */
export function oops(error) {
  if (error.name === "AbortError") return () => {};
  if (!error.says) console.error(error);
  const says = error.status === 401 ? say("server.strange") : error.says;
  return notice(says || say("page.failed", { what: error.message }), { wrong: true });
}

/** Shows a sentence beside the field that it is about. Answers whether that is on the page. */
export function besideItsField({ key, says }) {
  const input = key && document.querySelector(`[data-key="${CSS.escape(key)}"]`);
  const wrong = input?.id && document.getElementById(`${input.id}-wrong`);
  if (!wrong) return false;
  input.setAttribute("aria-invalid", "true");
  wrong.textContent = says;
  return true;
}

/** Whether nobody answered, or nobody who knows this tab: what was sent is nowhere but on this page. */
export const isUnsent = (refusal) => [0, 401].includes(refusal.status);

/** Says that files were not taken, which this page alone has and which are gone with it, with a button that takes them `again`. */
export const unsent = (names, again) => notice(say("art.left", { names: names.join(", ") }), { wrong: true, act: [say("art.left.take"), again], kind: "unsent" });

/** Whether there are files that are nowhere but on this page. */
export const hasUnsent = () => Boolean(board?.querySelector(".notice.unsent"));

/**
 * Asks, and answers with the value of the chosen button; with null where it is closed without one, as by Escape. That is no
 * answer, so nothing may be changed by it.
 * @param {string} title the question
 * @param {string|Node} text more about it
 * @param {Array<[string, string]>} answers value and words, the usual one first
 */
export function question(title, text, answers) {
  return new Promise((resolve) => {
    const dialog = make("dialog.question", { "aria-labelledby": "question-title" });
    const end = (value) => { resolve(value); dialog.close(); };
    refill(dialog, make("h2", { id: "question-title" }, title), make("p", {}, text),
      make("div.row", {}, answers.map(([value, words], at) =>
        button(words, () => end(value), { kind: at ? "" : "main" }))));
    dialog.addEventListener("close", () => { dialog.remove(); resolve(null); });
    document.body.append(dialog);
    dialog.showModal();
  });
}
