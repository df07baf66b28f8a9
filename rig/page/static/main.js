// Brings the page's parts together.

import { ask } from "./ask.js";
import * as build from "./build.js";
import * as deciding from "./deciding.js";
import { $, h } from "./dom.js";
import * as ear from "./ear.js";
import * as follow from "./follow.js";
import * as keyboard from "./keyboard.js";
import * as lists from "./lists.js";
import * as ring from "./ring.js";
import { Player, RATE_HZ } from "./sound.js";
import * as spectrogram from "./spectrogram.js";
import { store, take, orderAnew, isStale, current, shown, entryHere, isAlong } from "./store.js";
import * as views from "./views.js";

const player = new Player();
const shape = new ear.Shape($("shape"));
const SHOWN_MS = 5000;
const HANDS_OFF_MS = 60_000; // so long after the last press the order may be renewed by itself
const LEVELS = ["level", "cut"]; // here the level is what was changed

let fades = null;
let handsOn = performance.now();
for (const one of ["keydown", "pointerdown", "wheel"]) {
  window.addEventListener(one, () => { handsOn = performance.now(); }, { passive: true, capture: true });
}

// Tell what happened: read out always, shown where it isn't to be seen anyway.
function say(text, seen = true) {
  $("told").textContent = text;
  $("told").classList.toggle("seen", seen);
  clearTimeout(fades);
  fades = setTimeout(() => $("told").classList.remove("seen"), SHOWN_MS);
}

// -- looking ----------------------------------------------------------------------------------

function drawNow() {
  lists.pointOut();
  ear.draw(act);
  showSpectrogram();
  ring.point();
  views.writeAddress();
}

function drawAll() {
  follow.standing();
  views.offer();
  lists.draw(act);
  ring.draw(choosePad);
  if ($("pairs").open) lists.matrix(act);
  drawNow();
  build.renew(act);
}

async function look(find, step = null, { quietly = false } = {}) {
  store.label = find?.label ?? null;
  store.step = step;
  drawNow();
  if (!quietly) {
    lists.bringIntoView();
    say(ear.spoken(), false);
  }
}

function go(steps) {
  const there = lists.order();
  if (!there.length) return say("No find is shown.");
  const at = there.findIndex((one) => one.label === store.label);
  const next = there[at < 0 ? 0 : at + steps];
  if (!next) return say(steps > 0 ? "That was the last." : "That was the first.");
  player.stop();
  return look(next).then(() => play("both"));
}

function nextFamily() {
  const there = lists.order();
  const at = there.findIndex((one) => one.label === store.label);
  const seen = new Set(there.slice(0, at + 1).map((one) => one.family));
  const next = there.slice(at + 1).find((one) => !seen.has(one.family));
  return next ? look(next).then(() => play("both")) : say("No other family comes behind this one.");
}

function along(steps) {
  const find = current();
  if (!find) return say("No find is shown.");
  let at = (store.step ?? find.at) + steps;
  while (find.steps[at] && find.steps[at].touch === null && !find.steps[at].other) at += steps;
  const step = find.steps[at];
  if (!step) return say(`Nothing is heard over ${steps < 0 ? "less" : "more"}.`);
  return chooseStep(step, at);
}

function chooseStep(step, at) {
  if (step.touch === null && step.other) {
    const other = store.byLabel.get(step.other);
    const to = other?.steps.findIndex((one) => one.ohm === step.ohm);
    return other && look(other, to === other.at ? null : to).then(() => play("both"));
  }
  return look(current(), at === current().at ? null : at).then(() => play("both"));
}

function choosePad(pad) {
  views.setPad(pad);
  viewed();
}

function viewed() {
  lists.draw(act);
  ring.draw(choosePad);
  views.writeAddress();
  say(`${lists.order().length} shown`);
}

// The list follows the person's taste, but never while their hands are on it.
function anew() {
  if (!isStale()) return say("The order is already that of what you kept.");
  orderAnew();
  lists.draw(act);
  lists.bringIntoView();
  return say("The list is ordered anew, by what you kept and set aside.");
}

// -- hearing ----------------------------------------------------------------------------------

async function play(which) {
  const step = shown(), find = current();
  if (step === null || step.touch === null) return say("There is nothing to hear here.");
  const { plain, touch } = step;
  const order = { both: plain === null ? [touch] : [plain, touch, plain], plain: [plain], bent: [touch] }[which];
  if (order[0] === null) return say("No plain take was recorded with this key.");
  try {
    const together = LEVELS.includes(find.mark);
    const plan = await player.play(order, { match: store.match, together, pair: [plain, touch] });
    if (!plan) return null;
    await showShape(find, step);
    moving();
    return plan;
  } catch (trouble) {
    return say(trouble.message);
  }
}

async function showShape(find, step) {
  const numbers = [step.plain, step.touch];
  const [plain, bent] = await Promise.all(numbers.map(async (one) => (
    one === null ? null : ear.outline((await player.takes.get(one)).getChannelData(0)))));
  if (shown() === step) shape.set(plain, bent, find.mark, step.closed);
}

// Of what is looked at; behind "Numbers", since that is where somebody looks closely.
async function showSpectrogram() {
  const step = shown(), canvas = $("spectrogram");
  canvas.hidden = !$("numbers").open || (step?.touch ?? null) === null;
  if (canvas.hidden) return;
  try {
    player.ready();
    const [plain, bent] = await Promise.all([step.plain, step.touch].map(async (one) => (
      one === null ? null : (await player.takes.get(one)).getChannelData(0))));
    if (shown() === step) canvas.dataset.ms = spectrogram.draw(canvas, plain, bent, RATE_HZ, step.closed).toFixed(1);
  } catch (trouble) {
    say(trouble.message);
  }
}

// Play takes of a control, as loud among each other as they are.
async function playTakes(numbers, together) {
  try {
    if (await player.play(numbers, { match: store.match, together: true, pair: together })) moving();
  } catch (trouble) {
    say(trouble.message);
  }
}

// Look at the find of something that is built, over the path that was kept, and play it.
function hearPick(pick) {
  const find = store.byLabel.get(store.picks.entries.find((one) => one.label === pick.label)?.find);
  const at = find?.steps.findIndex((one) => one.touch === pick.touch) ?? -1;
  if (at < 0) return playTakes([pick.plain, pick.touch].filter((one) => one !== null), [pick.plain, pick.touch]);
  return look(find, at === find.at ? null : at, { quietly: true }).then(() => play("both"));
}

let frame = null;
function moving() {
  cancelAnimationFrame(frame);
  const heard = player.where();
  const number = heard?.number ?? null;
  const isPlain = number === shown()?.plain, isMine = isPlain || number === shown()?.touch;
  document.body.dataset.heard = number === null ? "" : isPlain ? "plain" : isMine ? "bent" : "other";
  shape.draw(number !== null && isMine ? { s: heard.s, isPlain } : null);
  build.point(number);
  if (heard) frame = requestAnimationFrame(moving);
}

function stopOrPlay() {
  if (player.where()) {
    player.stop();
    moving();
    return say("stopped");
  }
  return play("both");
}

function levels() {
  store.match = !store.match;
  ear.draw(act);
  say(store.match ? "Levels are matched." : "Levels are as recorded.");
}

// -- deciding ---------------------------------------------------------------------------------

let began = null; // the entry as it was when somebody began to write

function words() {
  for (const name of ["name", "note", "control"]) {
    const field = $(`word-${name}`);
    field.addEventListener("focus", () => {
      began = { find: current(), step: shown(), was: entryHere(), value: field.value };
    });
    field.addEventListener("change", () => {
      const from = began ?? { find: current(), step: shown(), was: entryHere() };
      const value = field.value.trim();
      deciding.change({ [name]: name === "control" ? value || null : value },
        `${name} ${value ? `“${value}”` : "taken out"}`, from)
        .then(() => { began = { find: current(), step: shown(), was: entryHere(), value }; ear.draw(act); });
    });
    field.addEventListener("keydown", (event) => {
      if (event.key === "Enter") {
        event.preventDefault();
        field.blur();
      } else if (event.key === "Escape" && began) field.value = began.value;
    });
  }
  $("words").addEventListener("submit", (event) => event.preventDefault());
}

function write(name) {
  if (!current() || current().lone) return say("Nothing can be written about that.");
  $(`word-${name}`).focus();
  return $(`word-${name}`).select?.();
}

async function decided(read = true) {
  if (read) store.picks = await ask("/picks");
  lists.draw(act);
  ring.draw(choosePad);
  follow.standing();
  drawNow();
  build.renew(act);
}

async function renewed() {
  const step = isAlong() ? shown() : null;
  const pair = current()?.pair;
  take(await ask("/finds"), performance.now() - handsOn > HANDS_OFF_MS);
  if (!current()) {
    store.label = (store.finds.find((one) => one.pair === pair) ?? store.finds[0])?.label ?? null;
    store.step = null;
  } else if (step) {
    const at = current().steps.findIndex((one) => one.ohm === step.ohm);
    store.step = at < 0 ? null : at;
  }
  drawAll();
}

// -- all together -----------------------------------------------------------------------------

const act = {
  hear: (find) => look(find, null, { quietly: true }).then(() => say(ear.spoken(), false)).then(() => play("both")),
  keep: (find) => look(find, null, { quietly: true }).then(() => deciding.keep(find)),
  step: chooseStep, say, playTakes, hearPick, rewrite: deciding.rewrite,
};

const actions = {
  p: () => play("both"), b: () => play("plain"), o: () => play("bent"), " ": stopOrPlay,
  j: () => go(1), i: () => go(-1), ArrowDown: () => go(1), ArrowUp: () => go(-1), f: nextFamily,
  "<": () => along(-1), ">": () => along(1), ",": () => along(-1), ".": () => along(1),
  ArrowLeft: () => along(-1), ArrowRight: () => along(1),
  k: () => deciding.keep(), s: () => deciding.setAside(), u: () => deciding.undo(),
  r: anew, g: () => {
    $("build").open = true;
    $("build").scrollIntoView({ block: "start" });
    $("build").querySelector("summary").focus({ preventScroll: true });
  }, m: () => write("name"), n: () => write("note"), c: () => write("control"), l: levels,
  "/": () => $("view-q").focus(),
  "?": () => { $("help").open = !$("help").open; $("help").scrollIntoView({ block: "nearest" }); },
};
for (let number = 1; number <= 8; number += 1) {
  actions[number] = () => {
    const find = store.byLabel.get(store.best[number - 1]);
    return find ? act.hear(find) : say(`There are only ${store.best.length}.`);
  };
}

const presses = {
  "do-play": () => play("both"), "do-plain": () => play("plain"), "do-bent": () => play("bent"),
  "do-levels": levels, "do-keep": () => deciding.keep(), "do-aside": () => deciding.setAside(),
  "do-undo": () => deciding.undo(), "do-next": () => go(1), "do-back": () => go(-1), anew,
};

async function begin() {
  deciding.begin(say, decided);
  build.begin(act);
  words();
  keyboard.listen(actions);
  views.listen(viewed);
  for (const [id, done] of Object.entries(presses)) $(id).addEventListener("click", done);
  $("numbers").addEventListener("toggle", () => { ear.numbers(); showSpectrogram(); });
  $("pairs").addEventListener("toggle", () => $("pairs").open && lists.matrix(act));
  $("board").addEventListener("toggle", () => {
    if (!$("board").querySelector("img")) {
      $("board").append(h("img", { src: "/photo", alt: "The board",
        onerror: (event) => event.target.replaceWith(h("p", { class: "quiet" }, "There is no photo of the board.")) }));
    }
  });
  window.addEventListener("resize", () => shape.draw(null));
  window.addEventListener("popstate", () => { views.readAddress(); drawAll(); });
  const label = views.readAddress();
  try {
    take(await ask("/finds"));
  } catch (trouble) {
    $("said").textContent = trouble.message;
    return;
  }
  store.label = store.byLabel.has(label) ? label : store.best[0] ?? store.finds[0]?.label ?? null;
  drawAll();
  follow.begin({ renewed, decided, say });
  document.body.dataset.ready = "yes";
}

begin();
