// A pair's resistances as steps, the least first: how high each stands is how much it changes.

import { h } from "./dom.js";

const TOLD = {
  heard: "", once: "heard too seldom to count", other: "another sound", stop: "stops the toy",
  nothing: "nothing heard",
};
const FATE = { stop: "stops", once: "once", nothing: "none", other: "other" };

// How high a step stands: how large the change is there, of the largest that the pair has.
function high(step, find) {
  if (step.state === "nothing") return 0;
  if (step.state === "other") return 0.3;
  if (step.touch === null) return 0.4;
  const alike = find.steps.filter((one) => one.unit === step.unit && one.amount !== null);
  if (step.amount !== null && alike.length) {
    return Math.abs(step.amount) / (Math.max(...alike.map((one) => Math.abs(one.amount))) || 1);
  }
  return Math.min(1, step.score / (Math.max(...find.steps.map((one) => one.score)) || 1));
}

// An amount in few letters: what stands below its step.
export function amount(step) {
  if (step.amount === null || step.unit === null) return "";
  const digits = step.unit === "s" ? step.amount.toFixed(2) : Math.round(step.amount).toString();
  return `${step.unit === "cents" && step.amount > 0 ? "+" : ""}${digits} ${step.unit}`;
}

export function words(step) {
  const said = step.state === "other" ? `${step.other} here` : TOLD[step.state];
  return [step.text, step.says, step.state === "stop" ? "" : said, step.after,
    step.state === "nothing" || step.state === "other" ? "" : step.often].filter(Boolean).join(", ");
}

function block(step, find) {
  const one = h("span", { class: `step is-${step.state} ${step.state === "stop" ? "stop" : find.mark}` });
  one.style.setProperty("--high", (0.06 + 0.94 * high(step, find)).toFixed(3));
  return one;
}

// For a row: one drawing, told in a sentence.
export function small(find) {
  const told = find.steps.map(words).join("; ");
  return h("span", { class: "stairs small", role: "img", "aria-label": told },
    find.steps.map((step) => block(step, find)));
}

// For the find that is looked at: a button for each step that can be heard.
export function large(find, at, choose) {
  return find.steps.map((step, index) => {
    const can = step.touch !== null || step.other;
    return h("button", {
      type: "button", class: "stair", "data-at": `step-${index}`, disabled: !can,
      "aria-pressed": String(index === at), "aria-label": words(step), title: words(step),
      onclick: () => choose(step, index),
    }, block(step, find), h("span", { class: "ohm" }, step.short || "lead"),
    h("span", { class: "fate" }, FATE[step.state] ?? (amount(step) || step.often)));
  });
}
