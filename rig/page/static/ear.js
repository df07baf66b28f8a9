// The find that is looked at: what it is, its shape, its steps, and what was decided about it.

import { $, fill, h } from "./dom.js";
import { facts, state } from "./lists.js";
import { large, words } from "./stairs.js";
import { store, current, shown, entryHere, isAlong } from "./store.js";

export function draw(act) {
  const find = current(), step = shown();
  $("ear").classList.toggle("empty", !find);
  for (const one of $("ear").querySelectorAll("button:not(#do-undo):not(.stair), #words input, #words select")) {
    one.disabled = !find || (find.lone && one.closest("#words, .acts:has(#do-keep)") !== null
      && !["do-next", "do-back"].includes(one.id));
  }
  $("do-next").disabled = $("do-back").disabled = false;
  $("do-undo").disabled = !store.undo.length;
  if (!find) {
    fill($("now"), "Nothing to hear yet");
    for (const one of ["now-says", "now-facts", "now-pads", "stairs"]) fill($(one));
    return;
  }
  fill($("now"), h("b", {}, find.pair.replace("-", "–")), " ",
    h("span", { class: "at" }, step?.text ?? find.range));
  fill($("now-says"), step?.says || find.says, " ", state(find) ?? "");
  fill($("now-facts"), [
    isAlong() && step ? step.often : find.often,
    step?.state === "once" ? "heard too seldom to count" : "",
    step?.after,
    find.alikes ? `like ${find.alike.join(", ")}${find.alikes > find.alike.length ? " …" : ""}` : "",
    store.keys.size > 1 ? `key ${find.key || "none"}` : "",
  ].filter(Boolean).map((one) => h("span", {}, one)));
  fill($("now-pads"), find.pads.map((one) => h("li", {}, h("i", {}, one.pad), ` ${one.note || "no note"}`)));
  fill($("stairs"), large(find, store.step ?? find.at, act.step));
  $("do-plain").disabled = (step?.plain ?? null) === null;
  $("do-bent").disabled = (step?.touch ?? null) === null;
  $("do-play").disabled = $("do-bent").disabled;
  $("do-levels").setAttribute("aria-pressed", String(store.match));
  $("do-levels").firstChild.textContent = store.match ? "Same level " : "As recorded ";
  const entry = entryHere();
  $("do-keep").setAttribute("aria-pressed", String(Boolean(entry && !entry.set_aside)));
  $("do-aside").setAttribute("aria-pressed", String(Boolean(entry?.set_aside)));
  for (const name of ["name", "note", "control"]) {
    const field = $(`word-${name}`);
    if (document.activeElement !== field) field.value = entry?.[name] ?? "";
  }
  if ($("numbers").open) numbers();
}

// What only some look at is made where somebody does.
export function numbers() {
  const find = current();
  if (!find) return;
  const number = (value) => (value === null ? "none" : Number(value).toPrecision(2));
  fill($("numbers").querySelector(".wide"),
    h("p", { class: "facts" }, h("span", {}, `score ${find.score}`), h("span", {}, `p ${number(find.p_value)}`),
      h("span", {}, `q ${number(find.q_value)}`), h("span", {}, `family ${find.family}`)),
    h("table", {}, h("thead", {}, h("tr", {}, ["path", "heard", "score", "take", "plain", "touches"]
      .map((one) => h("th", { scope: "col" }, one)))),
    h("tbody", {}, find.steps.map((step) => h("tr", {}, h("th", { scope: "row" }, step.text),
      h("td", {}, step.often), h("td", {}, step.score ? String(step.score) : ""),
      h("td", {}, String(step.touch ?? "")), h("td", {}, String(step.plain ?? "")),
      h("td", {}, step.touches.join(", ")))))));
}

export function spoken() {
  const find = current(), step = shown();
  if (!find) return "no find";
  const told = store.picks.of[find.label]?.said;
  return [`${find.label}: ${step && isAlong() ? words(step) : [find.says, ...facts(find)].join(", ")}`, told]
    .filter(Boolean).join(", ");
}

// Draws plain above the line and bent below it, and on the line while the pads were joined.
export class Shape {
  constructor(canvas) {
    this.canvas = canvas;
    this.pair = null;
  }

  set(plain, bent, kind, closed) {
    this.pair = { plain, bent, kind, closed };
    this.draw(null);
  }

  clear() {
    this.pair = null;
    this.draw(null);
  }

  draw(heard) {
    const canvas = this.canvas, ratio = window.devicePixelRatio || 1;
    const width = canvas.clientWidth, height = canvas.clientHeight;
    if (!width) return;
    if (canvas.width !== Math.round(width * ratio)) canvas.width = Math.round(width * ratio);
    if (canvas.height !== Math.round(height * ratio)) canvas.height = Math.round(height * ratio);
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, height);
    const style = getComputedStyle(canvas);
    const colour = (name) => style.getPropertyValue(name).trim();
    const middle = height / 2;
    pen.fillStyle = colour("--line");
    pen.fillRect(0, middle - 0.5, width, 1);
    if (!this.pair) return;
    const { plain, bent, kind, closed } = this.pair;
    const longest = Math.max(plain?.length ?? 0, bent?.length ?? 0);
    const top = Math.max(...[plain, bent].filter(Boolean).map((one) => one.top), 1e-6);
    const columns = Math.floor(width);
    const contour = (sound, up) => {
      pen.beginPath();
      pen.moveTo(0, middle);
      for (let at = 0; at <= columns; at += 1) {
        const from = Math.floor((at / columns) * longest), to = Math.floor(((at + 4) / columns) * longest);
        pen.lineTo(at, middle - up * Math.sqrt(sound.most(from, to) / top) * (middle - 4));
      }
      pen.lineTo(width, middle);
    };
    if (plain) {
      contour(plain, 1);
      pen.lineWidth = 1.5;
      pen.strokeStyle = colour("--quiet");
      pen.stroke();
    }
    if (bent) {
      contour(bent, -1);
      pen.fillStyle = colour(`--${kind}`);
      pen.fill();
    }
    if (closed) { // so long the pads were joined
      pen.fillStyle = colour("--land");
      pen.fillRect((closed[0] / longest) * width, middle - 2, ((closed[1] - closed[0]) / longest) * width, 4);
    }
    if (heard && heard.s !== null) {
      const x = ((heard.s * 48000) / longest) * width;
      pen.fillStyle = colour("--ink");
      pen.fillRect(x, heard.isPlain ? 0 : middle, 2, middle);
    }
  }
}

// The highest levels of a take, in pieces of a millisecond.
export function outline(samples) {
  const piece = 48, tops = new Float32Array(Math.ceil(samples.length / piece));
  for (let at = 0; at < samples.length; at += 1) {
    const level = Math.abs(samples[at]), index = Math.floor(at / piece);
    if (level > tops[index]) tops[index] = level;
  }
  let top = 0;
  for (const one of tops) top = Math.max(top, one);
  return {
    length: samples.length, top,
    most(from, to) {
      let most = 0;
      for (let at = Math.floor(from / piece); at <= Math.floor((to - 1) / piece) && at < tops.length; at += 1) {
        most = Math.max(most, tops[at]);
      }
      return most;
    },
  };
}
