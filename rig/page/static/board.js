// The board: in the page with all finds of the present view as lines, and small beside what is heard;
// a ring stands for it where there is no picture.

import { ask } from "./ask.js";
import { Board, DASHES } from "./board_draw.js";
import * as placing from "./board_place.js";
import * as toy from "./board_toy.js";
import * as deciding from "./deciding.js";
import { $, fill, h, mark, s } from "./dom.js";
import * as lists from "./lists.js";
import * as ring from "./ring.js";
import { store, current, stateOf } from "./store.js";
import * as views from "./views.js";

const PAN_PX = 60, ZOOM = 1.4;
const ARROWS = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const KEYS = "Wheel or + and − zoom once the board is chosen, drag or arrows move it, 0 shows it whole.";
const PLACING_KEYS = "On the board: type a letter to choose it; arrows move it by a point, with Shift by ten; "
  + "Enter places it at the middle, then goes on to the next; Delete takes it off; + − 0 zoom; Ctrl Z undoes; Escape lets go of it, then arrows move the board.";

let on = null; // say, hear, viewed
let large = null, small = null;
let finds = []; // of the present view

export function begin(callbacks) {
  on = callbacks;
  placing.begin({ say: on.say, redraw: () => draw(), renew: () => renew(true), undo: () => deciding.undo() });
  const acts = {
    pad: choosePad, find: (find) => on.hear(find), hover: pointAt,
    blank: (point, pad) => placing.click(point, pad), grab: (at, pad) => placing.grab(at, pad),
  };
  large = new Board($("board-seat"), acts);
  placing.useView(large);
  $("board-seat").addEventListener("keydown", key);
  $("board-seat").addEventListener("blur", () => placing.flush());
  const presses = {
    "board-place": () => placing.turn(!placing.state.is), "place-undo": () => deciding.undo(),
    "board-in": () => large.view.zoom(ZOOM), "board-out": () => large.view.zoom(1 / ZOOM),
    "board-whole": () => large.view.whole(),
  };
  for (const [id, act] of Object.entries(presses)) $(id).addEventListener("click", act);
  $("board").addEventListener("toggle", () => draw());
}

function choosePad(pad) {
  views.turn("pad", pad);
  on.viewed();
}

// -- reading ----------------------------------------------------------------------------------

// `anyway`: also while a pad is being moved, whose place is given up then.
export async function renew(anyway = false) {
  const isFirst = store.board === null, sent = placing.sentSoFar();
  const told = await ask("/board");
  // What was placed meanwhile isn't in it: the next look asks again.
  if (!isFirst && !anyway && (placing.isBusy() || placing.sentSoFar() !== sent)) return;
  store.board = told;
  if (isFirst) {
    toy.read();
    if (isBefore()) placing.turn(true);
  }
  toy.forget();
  placing.draw();
  draw();
}

// Read it anew where the server says that it was changed.
export async function follow(stamp) {
  if (stamp !== store.board.stamp && !placing.isBusy()) await renew();
}

const isBefore = () => !store.finds.length && store.standing?.state === "none";

// -- keys -------------------------------------------------------------------------------------

export function go() {
  $("board").open = true;
  const seat = store.board.frame ? $("board-seat") : $("board").querySelector("summary");
  seat.scrollIntoView({ block: "nearest" });
  seat.focus();
}

function key(event) {
  if (!acted(event)) return;
  event.preventDefault();
  event.stopPropagation();
}

function acted(event) {
  if (placing.key(event)) return true;
  if (event.ctrlKey || event.metaKey || event.altKey) return false;
  const step = ARROWS[event.key];
  if (step) large.view.pan(step[0] * PAN_PX, step[1] * PAN_PX);
  else if (event.key === "+" || event.key === "=") large.view.zoom(ZOOM);
  else if (event.key === "-") large.view.zoom(1 / ZOOM);
  else if (event.key === "0") large.view.whole();
  else return false;
  return true;
}

// -- showing ----------------------------------------------------------------------------------

// Without `all` only what hangs on the find that is looked at is other than before.
export function draw(all = true) {
  const { board } = store;
  if (!board) return;
  const before = isBefore(), isPlacing = placing.state.is;
  finds = lists.order();
  document.body.classList.toggle("before", before);
  // Before the first sweep the board is what there is to do.
  if (before && $("standing").nextElementSibling !== $("board")) $("standing").after($("board"));
  if (!before && $("finds").previousElementSibling !== $("board")) $("finds").before($("board"));
  document.querySelector(".skip").hash = before ? "#board" : "#best";
  $("board-place").setAttribute("aria-pressed", String(isPlacing));
  $("board").classList.toggle("placing", isPlacing);
  $("board-seat").hidden = !board.frame;
  $("board-none").hidden = Boolean(board.frame);
  $("board-none").textContent = board.trouble
    ?? `There is no photo of the board yet: ${board.missing}; it appears here by itself.`;
  for (const id of ["board-in", "board-out", "board-whole"]) $(id).disabled = !board.frame;
  $("place-undo").disabled = $("do-undo").disabled = !store.undo.length;
  if (board.frame) seats(isPlacing);
  else if (all || !$("ring-lines")) ring.draw(choosePad);
  else ring.point();
  legend(isPlacing);
  pointAt(null);
  $("board-keys").textContent = !board.frame ? "" : isPlacing ? PLACING_KEYS : KEYS;
}

function seats(isPlacing) {
  const { board } = store, now = current();
  const busy = new Set(store.finds.flatMap((one) => one.pads.map((pad) => pad.pad)));
  const mine = new Set((now?.pads ?? []).map((one) => one.pad)), wanted = $("view-pad").value;
  const kindsWith = (is) => (pad) => [
    busy.has(pad) && "busy", toy.entry(pad).forbidden && "unused", wanted === pad && "wanted", is(pad) && "mine",
  ].filter(Boolean).join(" ");
  const { open } = placing.state;
  const shared = {
    frame: board.frame, stamp: board.picture_stamp, pads: new Map(Object.entries(board.pads)),
    kinds: kindsWith((pad) => mine.has(pad)),
    kept: (find) => stateOf(find) === "kept", now, title: (pad) => [pad, toy.entry(pad).note].filter(Boolean).join(": "),
    // What is looked at has its line, even where the view leaves it out.
    finds: now && !finds.includes(now) ? [...finds, now] : finds,
  };
  large.draw(!isPlacing ? shared : {
    ...shared, isPlacing, finds: [], now: null, open, marks: placing.marks(), kinds: kindsWith((pad) => pad === open),
  });
  if (!$("ear-seat")) {
    fill($("ring"), h("div", { id: "ear-seat", class: "seat still" }));
    small = new Board($("ear-seat"), { pad: choosePad, find: (find) => on.hear(find) }, { still: true });
  }
  small.draw(shared);
}

// Say what is pointed at, else what there is.
function pointAt(find, pad = null) {
  const { board } = store;
  if (!board?.frame) return fill($("board-said"));
  if (find) return fill($("board-said"), h("span", {}, `${find.label}: ${find.says}, ${find.range}`));
  if (pad) {
    const count = finds.filter((one) => one.pads.some((other) => other.pad === pad)).length;
    return fill($("board-said"), h("span", {}, h("i", {}, pad), ` ${toy.entry(pad).note || "no note"}`),
      h("span", {}, count === 1 ? "1 find" : `${count} finds`));
  }
  const without = [...new Set(finds.flatMap((one) => one.pads.map((pad) => pad.pad)))].filter((pad) => !board.pads[pad]);
  const bare = toy.pads().filter((pad) => !board.pads[pad] && !toy.entry(pad).forbidden);
  const missing = placing.state.is ? bare : without;
  return fill($("board-said"), [
    placing.state.is && placing.state.open ? placing.spoken(placing.state.open) : "",
    board.trouble,
    missing.length ? `without a place: ${missing.slice(0, 16).join(", ")}${missing.length > 16 ? ` and ${missing.length - 16} more` : ""}`
      : Object.keys(board.pads).length ? "every pad has a place" : "no pad has a place yet",
  ].filter(Boolean).map((one) => h("span", {}, one)));
}

function legend(isPlacing) {
  const counts = new Map();
  for (const find of finds) counts.set(find.mark, (counts.get(find.mark) ?? 0) + 1);
  const wanted = $("view-kind").value;
  if (wanted && !counts.has(wanted)) counts.set(wanted, 0);
  const words = Object.fromEntries([...$("view-kind").options].map((one) => [one.value, one.textContent]));
  fill($("board-legend"), isPlacing || !store.board.frame ? [] : Object.keys(DASHES).filter((one) => counts.has(one)).map((kind) => h("button", {
    type: "button", class: kind, "data-at": `legend-${kind}`, "aria-pressed": String(wanted === kind),
    onclick: () => { views.turn("kind", kind); on.viewed(); },
  }, s("svg", { class: "dash", viewBox: "0 0 44 10", "aria-hidden": "true" },
    s("path", { class: `line ${kind}`, d: "M2 5 H42", "stroke-dasharray": DASHES[kind] })),
  mark({ mark: kind }), `${words[kind]} ${counts.get(kind)}`)));
}
