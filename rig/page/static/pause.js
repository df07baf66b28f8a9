// Pausing a running sweep, and letting it go on.

import { send } from "./ask.js";
import { $ } from "./dom.js";
import { store } from "./store.js";

let told = { may: false, waits: false, wished: "" };
let say = () => {};

export function show(now) {
  told = now;
  const runs = ["running", "waits"].includes(store.standing?.state);
  $("pause").hidden = !told.wished && !(told.may && runs);
  $("do-pause").textContent = told.wished ? "Let it go on" : "Pause the sweep";
  $("do-pause").classList.toggle("strong", told.waits && Boolean(told.wished));
  $("pause-said").textContent = !told.wished || told.waits ? "" : told.may ? `It pauses once its touch is over (${told.wished}).`
      : `A pause is asked for (${told.wished}): the next sweep waits for it to end.`;
}

async function turn() {
  const wished = !told.wished;
  try {
    show(await send("/pause", { wished }));
    say(wished ? "The sweep pauses once its touch is over." : "The sweep goes on.");
  } catch (trouble) {
    say(trouble.message);
  }
}

export function begin(speak) {
  say = speak;
  $("do-pause").addEventListener("click", turn);
}
