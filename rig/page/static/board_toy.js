// What belongs into toy.yaml, which is the person's own: lines to paste, and what to mark first.

import { $, fill, h } from "./dom.js";
import { store } from "./store.js";

const PLAIN = { note: "", kind: "signal", forbidden: false };
const MOST_KEYS = 4;
export const WHATS = [
  ["signal", "any joint"], ["rail", "battery or other supply"], ["clock", "sets the speed"],
  ["key", "key line"], ["alone", "speaker: left alone"],
];

let drafts = {}; // what was written here about pads and isn't in toy.yaml yet

const name = () => `padsweep pads ${store.board.id}`;

export function read() {
  try {
    drafts = JSON.parse(localStorage.getItem(name()) ?? "{}") ?? {};
  } catch {
    drafts = {}; // a browser may keep nothing
  }
}

// What the file says by now needs no draft: from there on the file counts.
export function forget() {
  for (const pad of Object.keys(drafts)) if (pad in store.board.toy && !differs(pad)) delete drafts[pad];
  keep();
}

function keep() {
  try {
    localStorage.setItem(name(), JSON.stringify(drafts));
  } catch { /* then it holds for this tab */ }
}

// The toy's letters, those that are placed, and those that were written about.
export function pads() {
  const { letters, toy, pads: placed } = store.board;
  const last = letters.findLastIndex((pad) => pad in toy || pad in placed || pad in drafts);
  return letters.slice(0, last + 1);
}

export const entry = (pad) => ({ ...PLAIN, ...store.board.toy[pad], ...drafts[pad] });

const isKey = (note) => /\bkey\b/i.test(note);

export function what(pad) {
  const { kind, forbidden, note } = entry(pad);
  return forbidden ? "alone" : kind !== "signal" ? kind : isKey(note) ? "key" : "signal";
}

const differs = (pad) => Object.keys(PLAIN).some((one) => store.board.toy[pad][one] !== entry(pad)[one]);

// Signs that no file of ours may hold.
const UNREADABLE = /[\u0000-\u001f\u007f-\u009f\u2028\u2029\ud800-\udfff\ufeff\ufffe\uffff]/gu;

export function write(pad, changes) {
  const now = { ...entry(pad), ...changes };
  drafts[pad] = { ...now, note: now.note.replace(UNREADABLE, " ") };
  forget();
}

// A further pad: the next letter.
export function add() {
  const pad = store.board.letters[pads().length];
  if (pad) write(pad, {});
  return pad;
}

export function setWhat(pad, is) {
  const { note } = entry(pad);
  write(pad, {
    kind: ["rail", "clock"].includes(is) ? is : "signal", forbidden: is === "alone",
    note: is === "key" && !isKey(note) ? ["key line", note].filter(Boolean).join(", ")
      : is === "alone" && !note ? "speaker" : note,
  });
}

// As YAML has it: JSON's quotes are YAML's, too.
function line(pad) {
  const { note, kind, forbidden, ...rest } = entry(pad);
  const parts = [`note: ${JSON.stringify(note)}`, kind !== "signal" && `kind: ${kind}`, forbidden && "forbidden: true",
    ...Object.entries(rest).map(([name, value]) => value !== null && `${name}: ${JSON.stringify(value)}`)];
  return `  ${pad}: {${parts.filter(Boolean).join(", ")}}\n`;
}

export function lines() {
  const { toy } = store.board;
  return {
    fresh: pads().filter((pad) => !(pad in toy)).map(line).join(""),
    changed: pads().filter((pad) => pad in toy && differs(pad)).map(line).join(""),
  };
}

async function copy(text, say) {
  try {
    await navigator.clipboard.writeText(text);
    say("Copied.");
  } catch {
    say("The browser lets nothing be copied: choose the lines and copy them by hand.");
  }
}

export function draw(say) {
  const { fresh, changed } = lines();
  for (const [id, text] of [["fresh", fresh], ["changed", changed]]) {
    $(`paste-${id}`).hidden = !text;
    $(`paste-${id}`).querySelector("pre").textContent = text;
    $(`paste-${id}`).querySelector("button").onclick = () => copy(text, say);
  }
  $("paste").hidden = !fresh && !changed;
  advice();
}

function advice() {
  const all = pads().map((pad) => ({ pad, is: what(pad) }));
  const of = (is) => all.filter((one) => one.is === is).map((one) => one.pad);
  const rails = of("rail"), clock = of("clock"), alone = of("alone"), keys = of("key");
  const told = (marked) => (marked.length ? `marked: ${marked.join(", ")}` : "");
  fill($("advice").querySelector("ol"), [
    ["Battery minus and plus, and other supply lines", told(rails), rails.length > 1],
    ["The resistor that sets the speed, often beside the chip or blob: a damp finger on it moves the pitch", told(clock), clock.length],
    ["The speaker's two joints, if they have a letter: left alone, since either may be driven", told(alone), alone.length],
    [`Key lines, at most ${MOST_KEYS}`, keys.length > MOST_KEYS ? `${keys.length} are many: ${keys.join(", ")}` : told(keys), keys.length && keys.length <= MOST_KEYS],
    ["Then the likeliest: legs of chips and tracks from a blob to other parts, ends of resistors, the amplifier's input, legs of transistors and lamps", "", false],
    ["Of joints that are one net (beep test, cells out) one alone: the biggest, easiest to solder to", "", false],
  ].map(([text, done, isDone]) => h("li", { class: isDone ? "done" : "" }, text, done && " ", done && h("b", {}, isDone ? `✓ ${done}` : done))));
}
