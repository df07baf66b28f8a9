// The toy's pads in a ring, with a line for each find: which of them do something, and with which.

import { $, fill, s } from "./dom.js";
import { store, current, stateOf } from "./store.js";
import { chosen } from "./views.js";

const SIZE = 400, MIDDLE = SIZE / 2;
const CROWDED = 36; // beyond so many pads every fourth alone has its letter, and those that are looked at
const MANY = 150; // beyond so many lines only those of the pads that are looked at are drawn
let places = new Map(), rest = [];

// Draw all but what hangs on the find that is looked at.
export function draw(choose) {
  const pads = store.pads.map((one) => one.pad);
  const count = pads.length;
  const crowded = count > CROWDED;
  const land = Math.max(4, Math.min(15, 440 / count)), radius = MIDDLE - land - (crowded ? 28 : 22);
  const at = new Map(pads.map((pad, index) => {
    const angle = (2 * Math.PI * index) / count - Math.PI / 2;
    return [pad, [Math.cos(angle), Math.sin(angle)]];
  }));
  const place = (pad, out = 0) => at.get(pad).map((one) => MIDDLE + one * (radius + out));
  places = new Map(pads.map((pad) => [pad, place(pad, -land)]));
  rest = chosen(store.finds).filter((one) => !one.stops);
  const busy = new Set(store.finds.flatMap((one) => one.pads.map((pad) => pad.pad)));
  const size = crowded ? 15 : Math.min(16, 760 / count);
  $("ring").style.setProperty("--letter", `${size.toFixed(1)}px`);
  const wanted = $("view-pad").value;
  const notes = new Map(store.pads.map((one) => [one.pad, one]));
  fill($("ring"), s("svg", { viewBox: `0 0 ${SIZE} ${SIZE}`, role: "img" },
    s("g", { id: "ring-lines" }),
    pads.map((pad, index) => {
      const [x, y] = place(pad), [tx, ty] = place(pad, land + 11);
      const kind = [busy.has(pad) && "busy", notes.get(pad).unused && "unused", wanted === pad && "wanted",
        crowded && index % 4 && "between"]
        .filter(Boolean).join(" ");
      return s("g", { class: `land ${kind}`, "data-pad": pad, onclick: () => choose(pad) },
        s("title", {}, notes.get(pad).note ? `${pad}: ${notes.get(pad).note}` : pad),
        s("circle", { cx: x.toFixed(1), cy: y.toFixed(1), r: land }),
        s("circle", { class: "hole", cx: x.toFixed(1), cy: y.toFixed(1), r: land * 0.4 }),
        s("text", { x: tx.toFixed(1), y: (ty + 0.28 * size).toFixed(1) }, pad));
    })));
  point();
}

// Show which find is looked at.
export function point() {
  const now = current(), svg = $("ring").querySelector("svg");
  if (!svg) return;
  const count = store.pads.length;
  svg.setAttribute("aria-label", now ? `${now.label} among ${count} pads` : `${count} pads`);
  const mine = new Set((now?.pads ?? []).map((one) => one.pad));
  const drawn = rest.length <= MANY ? rest : rest.filter((one) => one.pads.some((pad) => mine.has(pad.pad)));
  $("ring-lines").replaceChildren(...[
    ...drawn.map((one) => line(one, stateOf(one) === "kept" ? "kept" : "")), now && line(now, "now"),
  ].filter(Boolean));
  const lands = [...svg.querySelectorAll(".land")], crowded = lands.length > CROWDED;
  lands.forEach((one, at) => {
    one.classList.toggle("mine", mine.has(one.dataset.pad));
    // Where letters are large those next to them would lie over each other.
    one.classList.toggle("beside", crowded && [-2, -1, 1, 2]
      .some((step) => mine.has(lands[(at + step + lands.length) % lands.length].dataset.pad)));
  });
}

function line(find, kind) {
  const [one, other] = find.pads.map((pad) => places.get(pad.pad)).filter(Boolean);
  if (!one || !other) return null;
  const bow = (a, b) => (MIDDLE + ((a + b) / 2 - MIDDLE) * 0.25).toFixed(1);
  const [[ax, ay], [bx, by]] = [one, other];
  return s("path", { class: `line ${find.mark} ${kind}`,
    d: `M${ax.toFixed(1)} ${ay.toFixed(1)} Q${bow(ax, bx)} ${bow(ay, by)} ${bx.toFixed(1)} ${by.toFixed(1)}` });
}
