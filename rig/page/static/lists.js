// The best, every find, and what sounded before it stopped the toy.

import { $, fill, h, mark } from "./dom.js";
import { Long } from "./long.js";
import { small } from "./stairs.js";
import { store, stateOf, isStale } from "./store.js";
import { chosen } from "./views.js";

const pair = (label) => label.replace("-", "–");

export function facts(find) {
  const alike = find.alikes;
  return [
    find.stops ? `stops the toy: ${find.range}` : find.range,
    find.often,
    find.after,
    alike ? `${alike} alike` : "",
    store.keys.size > 1 ? `key ${find.key || "none"}` : "",
  ].filter(Boolean);
}

export function state(find) {
  const told = store.picks.of[find.label];
  if (!told) return null;
  return h("span", { class: `state ${told.state === "kept" ? "kept" : "aside"}` },
    told.said, told.entry?.name ? ` “${told.entry.name}”` : "");
}

const spoken = (find) => `${find.label}: ${find.says}`;

function keepButton(find, act, at) {
  if (find.lone) return null;
  const kept = stateOf(find) === "kept";
  return h("button", {
    type: "button", class: "keep", "data-at": at, "aria-pressed": String(kept),
    "aria-label": `Keep ${spoken(find)}`, onclick: () => act.keep(find),
  }, kept ? "kept" : "keep");
}

function tile(find, number, act) {
  return h("li", { class: "tile", "data-label": find.label },
    h("button", {
      type: "button", class: "hear", "data-at": `best-${find.label}`,
      "aria-label": `${number}: hear ${spoken(find)}`, onclick: () => act.hear(find),
    }, h("kbd", {}, String(number)), mark(find), h("b", {}, pair(find.label))),
    h("p", { class: "says" }, find.says),
    h("p", { class: "facts" }, facts(find).map((one) => h("span", {}, one))),
    small(find), keepButton(find, act, `best-keep-${find.label}`), state(find));
}

function row(find, act) {
  const is = find.label === store.label;
  return h("li", { class: is ? "find now" : "find", "data-label": find.label, "aria-current": is && "true" },
    h("button", {
      type: "button", class: "hear", "data-at": `find-${find.label}`,
      "aria-label": `Hear ${spoken(find)}`, onclick: () => act.hear(find),
    }, mark(find), h("b", {}, pair(find.label))),
    h("div", { class: "told" },
      h("p", { class: "says" }, find.says, " ", state(find)),
      h("p", { class: "facts" }, facts(find).map((one) => h("span", {}, one))),
      h("p", { class: "pads" }, find.pads.filter((one) => one.note)
        .map((one) => h("span", {}, h("i", {}, one.pad), ` ${one.note}`)))),
    small(find), keepButton(find, act, `keep-${find.label}`));
}

let lists = null; // of all finds, and of those that stopped the toy
let there = [];

export function draw(act) {
  lists ??= ["finds", "stops"].map((id) => new Long($(id).querySelector("ol"), (one) => row(one, act)));
  const stops = new Set(store.stops);
  const best = store.best.map((one) => store.byLabel.get(one));
  fill($("best").querySelector("ol"), best.map((one, at) => tile(one, at + 1, act)));
  const all = store.finds.filter((one) => !one.stops);
  const heard = chosen(all), stopped = chosen(store.finds.filter((one) => stops.has(one.label)));
  there = [...heard, ...stopped];
  $("count").textContent = heard.length === all.length ? `${all.length}` : `${heard.length} of ${all.length}`;
  $("anew").hidden = !isStale();
  $("stops").hidden = !stops.size;
  lists[0].set(heard);
  lists[1].set(stopped);
  if (!all.length) {
    fill($("finds").querySelector("ol"), h("li", { class: "quiet" }, "Nothing was found yet."));
  }
  pointOut();
}

// Show which find is looked at, without making the lists anew.
export function pointOut() {
  for (const one of document.querySelectorAll(".lists li[data-label]")) {
    const is = one.dataset.label === store.label;
    one.classList.toggle("now", is);
    if (is) one.setAttribute("aria-current", "true");
    else one.removeAttribute("aria-current");
  }
}

export function bringIntoView() {
  if (lists.some((one) => one.reveal(store.label))) return pointOut();
  return document.querySelector(`.lists li[data-label="${CSS.escape(store.label ?? "")}"]`)
    ?.scrollIntoView({ block: "nearest" });
}

// In the order in which keys go through them: what is shown, then what stopped the toy.
export const order = () => there;

const LETTERS = { pitch: "p", timbre: "t", loop: "l", drone: "d", level: "v", cut: "c", stop: "×" };

export function matrix(act) {
  const pads = store.pads.filter((one) => !one.unused).map((one) => one.pad);
  const cell = (one, other) => {
    const told = store.matrix[`${one}-${other}`];
    if (!told) return h("td", { class: "untouched", "aria-label": "untouched" });
    if (!told.find) return h("td", { "aria-label": "nothing" }, "·");
    const find = store.byLabel.get(told.find);
    return h("td", {}, h("button", {
      type: "button", class: `cell ${told.mark}`, title: `${told.find}: ${find?.says ?? ""}`,
      "aria-label": `${told.find}: ${find?.says ?? ""}`, onclick: () => find && act.hear(find),
    }, LETTERS[told.mark] + (told.more ? "+" : "") + (told.stop && told.mark !== "stop" ? "×" : "")));
  };
  fill($("pairs").querySelector(".wide"),
    h("table", { class: "matrix", "aria-describedby": "pairs-signs" },
      h("thead", {}, h("tr", {}, h("td"), pads.slice(1).map((one) => h("th", { scope: "col" }, one)))),
      h("tbody", {}, pads.slice(0, -1).map((one, at) => h("tr", {}, h("th", { scope: "row" }, one),
        pads.slice(1).map((other, to) => (to < at ? h("td", { class: "none" }) : cell(one, other))))))));
}
