// Placing pads and the scale: by mouse, finger or keys; each is written into board.yaml at once.

import { Refused, send } from "./ask.js";
import { whichCounts } from "./deciding.js";
import { $, fill, h } from "./dom.js";
import { store } from "./store.js";
import * as toy from "./board_toy.js";

const ENDS = { from: "one end", to: "the other end" }; // the two points that give the scale
const LATER_MS = 500; // keys that follow sooner are one move
const LETTERS_MS = 900; // letters that follow sooner are one name
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

let on = null; // say, redraw, renew
let view = null;
let queue = Promise.resolve();
let waiting = 0, count = 0; // changes that aren't written yet, and all so far
let moving = null; // a pad that was moved and isn't written yet: { pad, was, timer }
let typed = { text: "", at: 0 };
const ends = {};

export const state = { is: false, open: null };

export function begin(callbacks) {
  on = callbacks;
  fill($("place-what"), toy.WHATS.map(([value, text]) => h("option", { value }, text)));
  $("place-note").addEventListener("input", () => { toy.write(state.open, { note: $("place-note").value }); toy.draw(on.say); });
  $("place-note").addEventListener("change", () => draw());
  $("place-what").addEventListener("change", () => { toy.setWhat(state.open, $("place-what").value); draw(); on.redraw(); });
  $("place-middle").addEventListener("click", () => middle());
  $("place-pads").addEventListener("keydown", (event) => event.key === "Enter" && middle());
  $("place-away").addEventListener("click", () => away());
  $("place-new").addEventListener("click", () => {
    const pad = toy.add();
    return pad ? choose(pad) : on.say("There can be no more pads.");
  });
  $("scale-set").addEventListener("click", () => setScale());
  $("scale-mm").addEventListener("keydown", (event) => event.key === "Enter" && setScale());
}

export const useView = (board) => { view = board.view; };

export function turn(is) {
  flush();
  state.is = is;
  if (is && !state.open) state.open = next(null);
  draw();
  on.redraw();
}

const placeOf = (pad) => (pad in ENDS ? ends[pad] ?? null : store.board.pads[pad] ?? null);

// The next pad without a place.
function next(after) {
  const all = toy.pads(), from = all.indexOf(after) + 1;
  return [...all.slice(from), ...all.slice(0, from)].find((pad) => !placeOf(pad) && !toy.entry(pad).forbidden) ?? after ?? all[0];
}

export function choose(pad, { quietly = false } = {}) {
  flush();
  state.open = pad;
  draw();
  on.redraw();
  if (pad && placeOf(pad)) view?.reveal(placeOf(pad));
  if (!quietly) on.say(pad ? spoken(pad) : "No pad is chosen.", false);
}

export function spoken(pad) {
  const at = placeOf(pad), label = pad in ENDS ? ENDS[pad] : ["pad", pad, toy.entry(pad).note].filter(Boolean).join(" ");
  return `${label}: ${at ? `${round(at.x)}, ${round(at.y)}` : "no place yet"}`;
}

const round = (value) => Number(value.toPrecision(5));

const inside = ({ x, y }) => ({
  x: Math.max(0, Math.min(store.board.frame.width, x)), y: Math.max(0, Math.min(store.board.frame.height, y)),
});

function put(pad, place) {
  if (pad in ENDS) ends[pad] = place;
  else if (place) store.board.pads[pad] = place;
  else delete store.board.pads[pad];
  on.redraw();
}

// -- what is asked for ----------------------------------------------------------------------------

// On the board at a point; `pad` is what is there already.
export function click(point, pad) {
  if (pad && pad !== state.open && !(state.open in ENDS)) return choose(pad);
  if (!state.open) return on.say("Choose a pad first.");
  const { x, y } = inside(point);
  if (x !== point.x || y !== point.y) return null;
  return place(state.open, point);
}

export function grab(at, pad) {
  if (!state.is) return null;
  const end = Object.keys(ENDS).find((one) => ends[one] && Math.hypot(...["x", "y"].map((axis) => view.toScreen(ends[one])[axis] - at[axis])) < 16);
  const taken = end ?? pad;
  if (!taken) return null;
  const was = placeOf(taken), from = view.toScreen(was);
  const to = (point) => inside(view.toBoard({ x: from.x + point.x - at.x, y: from.y + point.y - at.y }));
  return {
    move(point) {
      if (state.open !== taken) choose(taken, { quietly: true });
      put(taken, to(point));
    },
    end(point) { place(taken, to(point), was, taken); },
    cancel() { put(taken, was); },
  };
}

function place(pad, at, was = placeOf(pad), stay = null) {
  const isNew = !was;
  put(pad, inside(at));
  if (pad in ENDS) {
    if (isNew) choose(pad === "from" && !ends.to ? "to" : pad);
    else draw();
    return on.say(spoken(pad));
  }
  const done = written(pad, was, placeOf(pad));
  if (isNew && !stay) choose(next(pad), { quietly: true });
  else draw();
  return done;
}

function middle() {
  if (!state.open || !store.board.frame) return;
  place(state.open, view.toBoard(view.middle()));
  $("board-seat").focus();
}

function away() {
  const pad = state.open, was = pad && placeOf(pad);
  if (!was) return on.say("It has no place.");
  flush();
  put(pad, null);
  draw();
  return pad in ENDS ? null : written(pad, was, null);
}

// Keys on the board; gives whether the key was one of these.
export function key(event) {
  if (!state.is) return false;
  const step = STEPS[event.key], pad = state.open;
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") {
    flush();
    on.undo();
  } else if (event.ctrlKey || event.metaKey || event.altKey) return false;
  else if (step && pad && placeOf(pad)) nudge(pad, step, event.shiftKey ? 10 : 1);
  else if (event.key === "Enter" && pad) {
    if (!placeOf(pad)) middle();
    else choose(pad in ENDS ? pad : next(pad));
  } else if (event.key === "Delete" || event.key === "Backspace") away();
  else if (event.key === "Escape" && pad) choose(null);
  else if (/^[a-z]$/i.test(event.key)) letter(event.key.toUpperCase());
  else return false;
  return true;
}

function letter(one) {
  const now = performance.now(), all = toy.pads();
  const longer = now - typed.at < LETTERS_MS ? typed.text + one : one;
  const text = all.includes(longer) ? longer : one;
  typed = { text, at: now };
  if (all.includes(text)) choose(text);
  else on.say(`There is no pad ${text}.`);
}

function nudge(pad, [x, y], px) {
  const was = placeOf(pad);
  if (moving && moving.pad !== pad) flush();
  moving = moving ?? { pad, was };
  clearTimeout(moving.timer);
  moving.timer = setTimeout(flush, LATER_MS);
  put(pad, inside({ x: was.x + (x * px) / view.k, y: was.y + (y * px) / view.k }));
  view.reveal(placeOf(pad));
}

// Write what keys have moved.
export function flush() {
  if (!moving) return;
  const { pad, was, timer } = moving;
  clearTimeout(timer);
  moving = null;
  if (pad in ENDS) on.say(spoken(pad));
  else written(pad, was, placeOf(pad));
}

export const isBusy = () => Boolean(moving) || waiting > 0;
export const sentSoFar = () => count;

// -- what is written ------------------------------------------------------------------------------

// One after the other: a pad's place is what the one before has made it.
function written(pad, was, now, told = null) {
  return changed({ address: "/places", body: { frame: store.board.frame, pad, was, now },
    told: told ?? (now ? spoken(pad) : `pad ${pad} has no place any more`),
    // What the server made of it is finer or coarser than what was sent: the next one begins there.
    done: (answer) => { if (now && placeOf(pad) === now) put(pad, answer.now); },
    back: (entry, words) => { put(pad, entry.was); return written(pad, entry.now, entry.was, words); }, isUndo: told !== null });
}

function scaled(was, now, told = null) {
  return changed({ address: "/scale", body: { frame: store.board.frame, was, now }, told: told ?? "the scale is set",
    done: (answer) => { store.board.mm_per_unit = answer.now; },
    back: (entry, words) => scaled(entry.now, entry.was, words), isUndo: told !== null });
}

const known = new Map(); // places as the server has them, by what the tab has sent

function changed(one) {
  waiting += 1;
  count += 1;
  queue = queue.then(() => sent(one)).finally(() => { waiting -= 1; draw(); on.redraw(); });
  store.writing = queue;
  return queue;
}

async function sent({ address, body, told, done, back, isUndo }) {
  const name = body.pad ?? address;
  const was = body.was && known.get(name)?.sent === body.was ? known.get(name).is : body.was;
  let asked = { ...body, was };
  for (;;) {
    try {
      const answer = await send(address, asked);
      known.set(name, { sent: body.now, is: answer.now });
      done(answer);
      if (!isUndo && JSON.stringify(answer.was) !== JSON.stringify(answer.now)) {
        store.undo.push({ told, put: () => back(answer, `taken back: ${told}`) });
      }
      on.say(told);
      return true;
    } catch (trouble) {
      if (!(trouble instanceof Refused) || trouble.status !== 409) {
        on.say(trouble.message);
        await on.renew();
        return false;
      }
      if ((await whichCounts(trouble, "board.yaml")) !== "write") {
        await on.renew();
        return false;
      }
      const { theirs } = trouble.more;
      asked = { ...asked, was: body.pad ? theirs : theirs?.mm_per_unit ?? null };
    }
  }
}

function setScale() {
  const mm = Number($("scale-mm").value.replace(",", "."));
  if (!ends.from || !ends.to) return on.say("Place both ends first: choose one, then click the board.");
  if (!(mm > 0)) return on.say("How many mm are between them?");
  const points = [ends.from, ends.to].map(({ x, y }) => ({ x, y }));
  return scaled(store.board.mm_per_unit, { points, mm });
}

// -- what is shown --------------------------------------------------------------------------------

export function marks() {
  return state.is ? Object.keys(ENDS).filter((one) => ends[one])
    .map((one) => ({ name: one, place: ends[one], text: ENDS[one], open: state.open === one })) : [];
}

export function draw() {
  $("placing").hidden = !state.is;
  if (!state.is || !store.board) return;
  const { frame } = store.board, all = toy.pads(), pad = state.open, isPad = pad && !(pad in ENDS);
  const chip = (id, label, title) => h("label", { class: `chip ${placeOf(id) ? "placed" : ""}`, title },
    h("input", { type: "radio", name: "place", value: id, checked: id === pad, "data-at": `place-${id}`, onchange: () => choose(id) }),
    h("span", {}, label));
  fill($("place-pads"), all.map((id) => chip(id, id, spoken(id))));
  fill($("scale-ends"), Object.entries(ENDS).map(([id, label]) => chip(id, label, spoken(id))));
  $("place-of").textContent = isPad ? `Pad ${pad}` : pad ? ENDS[pad] : "No pad is chosen";
  for (const id of ["place-note", "place-what"]) $(id).disabled = !isPad;
  if (isPad && document.activeElement !== $("place-note")) $("place-note").value = toy.entry(pad).note;
  if (isPad) $("place-what").value = toy.what(pad);
  $("place-middle").disabled = !pad || !frame;
  $("place-away").disabled = !pad || !placeOf(pad);
  const scale = store.board.mm_per_unit;
  $("scale-said").textContent = !frame ? "" : scale
    ? `${round(scale)} mm per unit: the picture shows ${(frame.width * scale).toFixed(0)} × ${(frame.height * scale).toFixed(0)} mm`
    : "no scale yet: the sheet can't print the board at true size";
  toy.draw(on.say);
}
