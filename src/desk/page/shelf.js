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

async function fillList(list, desk, close) {
  const { jobs } = await get("/api/shelf");
  const again = () => fillList(list, desk, close).catch(oops);
  const bin = async (job) => {
    try {
      await send("DELETE", jobPath(job.name));
      if (desk.piece?.name === job.name) desk.home();
      notice(say("shelf.binned", { name: job.name }), {
        act: [say("shelf.back"), () => send("POST", jobPath(job.name, "/back")).then(again, oops)],
      });
      again();
    } catch (refusal) { oops(refusal); }
  };
  const copy = async (job) => {
    try {
      const made = await newJob(job, { copy_of: job.name });
      close();
      desk.go(made.kind === "tray" ? "tray" : "sheet", made.name);
    } catch (refusal) { oops(refusal); }
  };
  refill(list, jobs.length ? jobs.map((job) => make("li", {},
    make("button.take", {
      type: "button", "aria-current": desk.piece?.name === job.name ? "true" : null,
      on: { click: () => { close(); desk.go(job.kind === "tray" ? "tray" : "sheet", job.name); } },
    },
    job.picture ? make("img", { src: job.picture, alt: "", loading: "lazy", width: 56, height: 56 }) : icon(job.kind === "tray" ? "tray" : "piece"),
    make("span", {}, make("b", {}, job.name), make("small", {}, job.line))),
    button(say("shelf.copy", { name: job.name }), () => copy(job), { icon: "copy", quiet: true }),
    button(say("shelf.rename", { name: job.name }), () => rename(desk, job).then(again, oops), { icon: "pen", quiet: true }),
    button(say("shelf.bin", { name: job.name }), () => bin(job), { icon: "bin", quiet: true }))) : make("li.none", {}, say("shelf.empty")));
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
    dialog.addEventListener("close", () => dialog.remove());
    document.body.append(dialog);
    dialog.showModal();
    fillList(list, desk, close).catch(oops);
  },
};
