// Elements made of text alone: nothing that a file says can become markup.

const SVG = "http://www.w3.org/2000/svg";

function made(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat().filter((one) => one !== null && one !== undefined && one !== ""));
  return element;
}

export function h(tag, attributes = {}, ...children) {
  return made(document.createElement(tag), attributes, children);
}

export function s(tag, attributes = {}, ...children) {
  return made(document.createElementNS(SVG, tag), attributes, children);
}

export const $ = (id) => document.getElementById(id);

// Fill an element anew; what has the focus in it gets it again, by its data-at.
export function fill(element, ...children) {
  const held = element.contains(document.activeElement) ? document.activeElement.dataset.at : null;
  element.replaceChildren(...children.flat().filter(Boolean));
  if (held) element.querySelector(`[data-at="${CSS.escape(held)}"]`)?.focus({ preventScroll: true });
}

// Each kind of change has a shape of its own beside its colour.
const SHAPES = {
  pitch: "M3 17 L10 10 L13 13 L21 4 M15 4 H21 V10",
  timbre: "M3 12 L6 5 L9 19 L12 8 L15 16 L18 10 L21 12",
  loop: "M18 7 A8 8 0 1 0 20 12 M18 2 V7 H13",
  drone: "M3 9 H21 M3 15 H21",
  level: "M4 20 V15 M9.3 20 V11 M14.6 20 V7 M20 20 V3",
  cut: "M3 12 H9 M15 12 H21 M9 6 V18 M15 6 V18",
  stop: "M5 5 L19 19 M19 5 L5 19",
};

export function mark({ mark: kind, runs_on: runsOn, falls }) {
  return s("svg", { class: `mark ${kind}${falls && kind === "pitch" ? " falls" : ""}`, viewBox: "0 0 24 24", "aria-hidden": "true" },
    s("path", { d: SHAPES[kind] ?? SHAPES.drone }),
    runsOn ? s("circle", { cx: 21, cy: 20, r: 2.5, class: "on" }) : null);
}
