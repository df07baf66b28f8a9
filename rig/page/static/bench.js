// The bench: pads held while one presses the toy's keys, steps the resistance and listens.

import { ask, send, Refused } from "./ask.js";
import { $, fill, h } from "./dom.js";
import { current, shown } from "./store.js";

const EVERY_MS = 2000, SOON_MS = 400;
const DONE = ["pointerdown", "pointermove", "keydown", "wheel", "touchstart"]; // somebody is there

let player = null, say = () => {}, changed = () => {};
let hold = null, now = null, telling = 0, active = true, timer = null, heard = 0, source = null;

export const isMine = () => hold !== null;

function play(number) {
  heard = number;
  fetch(`/bench/sound/${number}`).then(async (answer) => {
    if (!answer.ok) return;
    const context = player.ready();
    const buffer = await context.decodeAudioData(await answer.arrayBuffer());
    if (number !== heard) return; // something newer is heard
    source?.stop();
    source = new AudioBufferSourceNode(context, { buffer });
    source.connect(context.destination);
    source.start();
    document.body.dataset.benchHeard = String(number);
  }).catch((trouble) => say(trouble.message));
}

function pair(one) {
  return h("p", { class: "held" }, h("b", {}, one.pair.replace("-", "–")), ` over ${one.path} `,
    h("span", { class: "quiet" }, `${one.at} of ${one.of} from the least up`),
    one.stopped ? h("span", { class: "stopped" }, ` stopped the toy over ${one.stopped}`) : null,
    h("span", { class: "pads" }, one.pads.filter((pad) => pad.note)
      .map((pad) => h("span", {}, h("i", {}, pad.pad), ` ${pad.note}`))));
}

function draw() {
  const is = now?.state ?? "over";
  const held = is === "held";
  document.body.dataset.bench = isMine() ? is : "";
  $("bench").hidden = !isMine() && !now?.told;
  $("bench").className = !held ? "" : now.off ? "off" : now.closed ? "closed" : "open";
  $("bench-is").textContent = { opening: "switching the toy on", leaving: "opening everything", over: "over" }[is]
    ?? (now.off ? "the toy is off" : now.closed ? "closed" : "open");
  $("bench-told").textContent = now?.told ?? "";
  $("bench-cautions").textContent = isMine() ? now?.cautions ?? "" : "";
  fill($("bench-held"), (now?.held ?? []).map(pair));
  fill($("bench-keys"), held ? now.keys.map((key, at) => h("button", {
    type: "button", "data-at": `key-${key}`, class: key === now.key ? "strong" : "", disabled: now.off,
    onclick: () => act("press", key),
  }, key, " ", h("kbd", {}, key === now.key ? "space" : String(at + 1)))) : []);
  $("bench-deck").hidden = !held;
  $("bench-sure").hidden = !now?.asked || !held;
  $("bench-turn").firstChild.textContent = now?.closed ? "Open " : "Close ";
  $("bench-leave").hidden = !isMine();
  $("bench-shut").hidden = isMine();
  for (const one of $("bench-deck").querySelectorAll("button:not(#bench-reset)")) one.disabled = Boolean(now?.off);
  $("do-hold").firstChild.textContent = isMine() ? "Hold this one now " : "Play it now ";
  changed();
}

function take(told) {
  const begins = told.state === "held" && now?.state !== "held";
  now = told;
  if (told.hold) ({ hold } = told);
  if (told.telling !== telling && told.told) say(told.told, false);
  telling = told.telling;
  if (told.sound && told.sound !== heard) play(told.sound);
  if (told.state === "over") end();
  draw();
  // Space presses the toy's key then, and not once more the button that was clicked.
  if (begins && !document.activeElement.closest("input, textarea")) {
    $("bench-keys").querySelector(".strong")?.focus({ preventScroll: true });
  }
}

function end() {
  hold = null;
  clearTimeout(timer);
}

function lost(trouble) {
  if (trouble instanceof Refused && trouble.status !== 409 && trouble.status < 500) {
    say(trouble.message);
    return;
  }
  end();
  now = { ...now, state: "over", held: [], told: trouble instanceof Refused ? trouble.message
    : "The page's server doesn't answer: where it has ended, all pads are open and the toy is off." };
  draw();
}

async function beat() {
  const mine = hold;
  if (!mine) return;
  try {
    const told = await send("/bench/stay", { hold: mine, active, hidden: document.hidden });
    if (mine !== hold) return;
    active = false;
    take(told);
  } catch (trouble) {
    if (mine === hold) lost(trouble);
  }
  if (isMine()) timer = setTimeout(beat, now.state === "held" ? EVERY_MS : SOON_MS);
}

export async function act(word, given = "") {
  if (!isMine()) return;
  active = true;
  player.ready();
  try {
    take(await send("/bench/do", { hold, word, given }));
  } catch (trouble) {
    lost(trouble);
  }
}

// Hold a sound, such as "C-F 3600 red"; the bench is opened for it where this tab hasn't got it.
export async function holdSound(sound) {
  player.ready();
  if (isMine()) return act("hold", sound);
  try {
    active = true;
    heard = 0;
    telling = 0;
    take(await send("/bench/open", { sound }));
    if (isMine()) timer = setTimeout(beat, SOON_MS);
  } catch (trouble) {
    say(trouble.message);
    now = { state: "over", held: [], told: trouble.message };
    draw();
  }
  return null;
}

// The find that is looked at, over the path that is shown.
export function holdShown() {
  const find = current(), step = shown();
  if (!find) return say("No find is shown.");
  if (find.lone) return say("It's what one pad's lead does alone: nothing can be held.");
  const ohm = step?.ohm ?? null;
  return holdSound([find.pair, ohm === null ? "" : String(Math.round(ohm)), find.key.includes("+") ? "" : find.key]
    .filter(Boolean).join(" "));
}

export function leave() {
  if (isMine()) send("/bench/leave", { hold }).then((told) => isMine() && take(told)).catch(lost);
}

function shut() {
  now = null;
  draw();
}

// As in `padsweep try`; they come before the page's own while the bench is this tab's.
export function keys() {
  if (!isMine()) return {};
  const step = (way) => () => act("step", way);
  const made = {
    " ": () => act("press"), "<": step("down"), ",": step("down"), ">": step("up"), ".": step("up"),
    o: () => act(now.closed ? "open" : "close"), k: () => act("keep"), r: () => act("reset"), q: leave,
    "-": () => act("drop"),
  };
  for (const [at, key] of (now.keys ?? []).slice(0, 9).entries()) made[at + 1] = () => act("press", key);
  return made;
}

async function offer() {
  const facts = await ask("/bench");
  $("touch-why").textContent = facts.refused || "The rig closes it and keeps it closed; press the toy's keys.";
  for (const one of $("touch").querySelectorAll("button, select")) one.disabled = Boolean(facts.refused);
  const pads = facts.pads.map(({ pad, note }) => h("option", { value: pad }, note ? `${pad} ${note}` : pad));
  for (const [id, at] of [["touch-one", 0], ["touch-other", 1]]) {
    const was = $(id).value;
    fill($(id), pads.map((one) => one.cloneNode(true)));
    $(id).value = was || facts.pads[at]?.pad;
  }
  const was = $("touch-over").value;
  fill($("touch-over"), facts.rungs.map(({ ohm, text }) => h("option", { value: String(ohm) }, text)));
  $("touch-over").value = was || String(facts.rungs.at(-1)?.ohm ?? "");
}

export function begin({ speak, sound, redraw }) {
  say = speak;
  player = sound;
  changed = redraw;
  for (const one of DONE) document.addEventListener(one, () => { active = true; }, { passive: true, capture: true });
  const presses = {
    "do-hold": holdShown, "bench-less": () => act("step", "down"), "bench-more": () => act("step", "up"),
    "bench-turn": () => act(now.closed ? "open" : "close"), "bench-keep": () => act("keep"),
    "bench-reset": () => act("reset"), "bench-leave": leave, "bench-shut": shut,
    "bench-sure": () => now?.asked && act(...now.asked),
  };
  for (const [id, done] of Object.entries(presses)) $(id).addEventListener("click", done);
  $("touch").addEventListener("toggle", () => $("touch").open && offer().catch((trouble) => say(trouble.message)));
  $("touch-form").addEventListener("submit", (event) => {
    event.preventDefault();
    holdSound(`${$("touch-one").value}-${$("touch-other").value} ${$("touch-over").value}`);
  });
  window.addEventListener("pagehide", () => {
    if (isMine()) {
      fetch("/bench/leave", { method: "POST", keepalive: true, headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ hold }) });
    }
  });
}
