// Keeping, setting aside, naming: each change is written into picks.yaml at once.

import { Refused, send } from "./ask.js";
import { $, fill, h } from "./dom.js";
import { store, current, shown, entryHere, isAlong } from "./store.js";

let say = () => {};
let redraw = () => {};

export function begin(told, drawn) {
  say = told;
  redraw = drawn;
  $("conflict").addEventListener("close", () => $("conflict").answer?.($("conflict").returnValue));
  $("conflict-leave").addEventListener("click", () => $("conflict").close("leave"));
  $("conflict-write").addEventListener("click", () => $("conflict").close("write"));
}

// Change the entry of a find over the path that is shown. `was` is what the change began from.
export async function change(what, told, { find = current(), step = shown(), was = entryHere() } = {}) {
  if (!find) return false;
  return written("/picks", { find: find.label, ohm: step?.ohm ?? null, was, change: what }, `${find.label}: ${told}`);
}

export function keep(find = current()) {
  if (find?.lone) return say("It's what one pad's lead does alone: nothing can be built of that.");
  return change({ set_aside: false }, "kept");
}

export function setAside() {
  const find = current();
  if (find?.lone) return say("It's what one pad's lead does alone: nothing can be built of that.");
  // Without another path asked for it is the sound that goes, over whichever path it was kept.
  const was = entryHere() ?? (isAlong() ? null : store.picks.of[find?.label]?.entry ?? null);
  return change({ set_aside: true }, "set aside", { was });
}

// Change an entry whatever it stands for: one of the person's own values, too.
export const rewrite = (was, now, told) => written("/undo", { was, now }, told);

export async function undo() {
  const last = store.undo.pop();
  if (!last) return say("Nothing to undo.");
  const done = await written("/undo", { was: last.now, now: last.was }, `taken back: ${last.told}`, false);
  if (!done) store.undo.push(last);
  redraw();
  return done;
}

async function written(address, asked, told, canUndo = true) {
  for (;;) {
    try {
      const done = await send(address, asked);
      if (canUndo && JSON.stringify(done.was) !== JSON.stringify(done.now)) {
        store.undo.push({ was: done.was, now: done.now, told });
      }
      if (done.picks) store.picks = done.picks;
      say(told);
      await redraw(!done.picks);
      return true;
    } catch (trouble) {
      if (!(trouble instanceof Refused) || trouble.status !== 409) {
        say(trouble.message);
        return false;
      }
      if ((await whichCounts(trouble)) !== "write") {
        say("picks.yaml stays as it is");
        await redraw(true);
        return false;
      }
      address = "/undo";
      asked = { was: trouble.more.theirs, now: trouble.more.mine };
    }
  }
}

function whichCounts(trouble) {
  const { mine, theirs } = trouble.more;
  $("conflict-said").textContent = trouble.message;
  fill($("conflict-theirs"), told(theirs, mine));
  fill($("conflict-mine"), told(mine, theirs));
  return new Promise((answer) => {
    $("conflict").answer = answer;
    $("conflict").returnValue = "leave";
    $("conflict").showModal();
  });
}

function told(entry, other) {
  if (!entry) return [h("div", {}, h("dt", {}, "entry"), h("dd", { class: "differs" }, "taken out"))];
  return Object.entries(entry).filter(([name, value]) => value || other?.[name]).map(([name, value]) => h("div", {},
    h("dt", {}, name.replace("_", " ")),
    h("dd", { class: other && other[name] !== value ? "differs" : "" }, String(value || "none"))));
}
