// Shelf: the pieces and trays that were begun, newest first; one is taken down, copied, or put into the bin.

import { button, field, icon, make, refill } from "./element.js";
import { notice, oops, question } from "./notice.js";
import { get, jobPath, newJob, send } from "./server.js";
import { say } from "./words.js";

/** Asks for another name, and once more where it was refused: `wrong` says why `typed` was. */
async function askName(job, typed = job.name, wrong = "") {
  const input = make("input", { type: "text", value: typed, autocomplete: "off", spellcheck: "false" });
  const whole = field(say("shelf.name"), input);
  whole.querySelector(".wrong").textContent = wrong;
  input.setAttribute("aria-invalid", String(Boolean(wrong)));
  input.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    // Else it would press what has the focus once the question is gone.
    event.preventDefault();
    input.closest("dialog").querySelector("button").click();
  });
  const answer = question(say("shelf.rename", { name: job.name }), whole, [["yes", say("shelf.rename.yes")], ["no", say("cancel")]]);
  input.focus();
  input.select();
  return (await answer) === "yes" ? input.value.trim() : job.name;
}

/** Calls a job by another name, and the open one goes on under that. */
async function rename(desk, job, typed, wrong) {
  const to = await askName(job, typed, wrong);
  if (to === job.name) return;
  try {
    desk.renamed(await send("POST", jobPath(job.name, "/name"), { name: to }));
  } catch (refusal) {
    // Above the shelf no notice would be seen.
    if (!refusal.says) throw refusal;
    await rename(desk, job, to, refusal.says);
  }
}

/** A row of the shelf: a job that lies there, or says that it is in the bin, with the way back, for as long as the shelf is open. */
function rowOf(job, desk, close, again) {
  const binned = make("p", {}, say("shelf.binned", { name: job.name }));
  const back = button(say("shelf.back"), async () => {
    try {
      await send("POST", jobPath(job.name, "/back"));
      job.binned = false;
      paint();
      row.querySelector(".take").focus();
    } catch (refusal) {
      // Above the shelf no notice would be seen.
      if (refusal.says && row.isConnected) binned.textContent = refusal.says;
      else oops(refusal);
    }
  });
  const bin = async () => {
    try {
      await send("DELETE", jobPath(job.name));
      job.binned = true;
      if (desk.piece?.name === job.name) desk.home();
      paint();
      back.focus();
    } catch (refusal) { oops(refusal); }
  };
  const copy = async () => {
    try {
      // Pressed twice, there is one copy.
      const made = await newJob(job, { copy_of: job.name });
      if (!row.isConnected) return;
      close();
      desk.go(made.kind === "tray" ? "tray" : "sheet", made.name);
    } catch (refusal) { oops(refusal); }
  };
  const row = make("li");
  const paint = () => {
    row.classList.toggle("binned", Boolean(job.binned));
    row.style.minHeight = job.binned ? `${row.offsetHeight}px` : "";
    if (job.binned) {
      // As high as before, and not under the pointer that pressed the bin, which may press twice.
      refill(row, back, binned);
      return;
    }
    refill(row,
      make("button.take", {
        type: "button", "aria-current": desk.piece?.name === job.name ? "true" : null,
        on: { click: () => { close(); desk.go(job.kind === "tray" ? "tray" : "sheet", job.name); } },
      },
      job.picture ? make("img", { src: job.picture, alt: "", loading: "lazy", width: 56, height: 56 }) : icon(job.kind === "tray" ? "tray" : "piece"),
      make("span", {}, make("b", {}, job.name), make("small", {}, job.line))),
      button(say("shelf.copy", { name: job.name }), copy, { icon: "copy", quiet: true }),
      button(say("shelf.rename", { name: job.name }), () => rename(desk, job).then(again, oops), { icon: "pen", quiet: true }),
      button(say("shelf.bin", { name: job.name }), bin, { icon: "bin", quiet: true }));
  };
  paint();
  return row;
}

/** Fills the shelf; those of `before` that are in the bin stay where they were. */
async function fillList(list, desk, close, before = []) {
  const { jobs } = await get("/api/shelf");
  for (const [at, job] of before.entries()) {
    if (job.binned && !jobs.some(({ name }) => name === job.name)) jobs.splice(at, 0, job);
  }
  const again = () => fillList(list, desk, close, jobs).catch(oops);
  refill(list, jobs.length ? jobs.map((job) => rowOf(job, desk, close, again)) : make("li.none", {}, say("shelf.empty")));
}

export const shelf = {
  /** Opens the shelf above the page. */
  open(desk) {
    const list = make("ul");
    const dialog = make("dialog.shelf", { "aria-labelledby": "shelf-title" });
    const close = () => { dialog.close(); dialog.remove(); };
    refill(dialog,
      make("div.head", {}, make("h2", { id: "shelf-title" }, say("shelf.title")), button(say("close"), close, { icon: "close", quiet: true })),
      make("div.row", {},
        button(say("shelf.new"), () => { close(); desk.home(); }, { icon: "plus", kind: "main" }),
        button(say("shelf.words"), async () => {
          try {
            const made = await newJob(dialog, { text: true, asked: await desk.usual() });
            close();
            await desk.go("easel", made.name);
          } catch (refusal) { oops(refusal); }
        }, { icon: "letter" })),
      list);
    dialog.addEventListener("close", () => {
      dialog.remove();
      // For a while it can be brought back without the shelf.
      for (const row of list.querySelectorAll(".binned")) notice(row.querySelector("p").textContent, { act: [say("shelf.back"), () => row.querySelector("button").click()] });
    });
    document.body.append(dialog);
    dialog.showModal();
    fillList(list, desk, close).catch(oops);
  },
};
