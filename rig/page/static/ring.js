// The toy's pads in a ring, with a line for each find: which of them do something, and with which.

import { $, fill, s } from "./dom.js";
import { store, current, stateOf } from "./store.js";
import { isShown } from "./views.js";

const SIZE = 400, MIDDLE = SIZE / 2;

export function draw(choose) {
  const pads = store.pads.map((one) => one.pad);
  const count = pads.length;
  const land = Math.max(5, Math.min(15, 440 / count)), radius = MIDDLE - land - 22;
  const at = new Map(pads.map((pad, index) => {
    const angle = (2 * Math.PI * index) / count - Math.PI / 2;
    return [pad, [Math.cos(angle), Math.sin(angle)]];
  }));
  const place = (pad, out = 0) => at.get(pad).map((one) => MIDDLE + one * (radius + out));
  const now = current();
  const line = (find, kind) => {
    const [one, other] = find.pads.map((pad) => pad.pad).filter((pad) => at.has(pad));
    if (!one || !other) return null;
    const [[ax, ay], [bx, by]] = [place(one, -land), place(other, -land)];
    const bow = (a, b) => MIDDLE + ((a + b) / 2 - MIDDLE) * 0.25;
    return s("path", { class: `line ${find.mark} ${kind}`,
      d: `M${ax.toFixed(1)} ${ay.toFixed(1)} Q${bow(ax, bx).toFixed(1)} ${bow(ay, by).toFixed(1)} ${bx.toFixed(1)} ${by.toFixed(1)}` });
  };
  const rest = store.finds.filter((one) => one !== now && isShown(one) && !one.stops);
  const busy = new Set(store.finds.flatMap((one) => one.pads.map((pad) => pad.pad)));
  const mine = new Set((now?.pads ?? []).map((one) => one.pad));
  $("ring").style.setProperty("--letter", `${Math.min(16, 760 / count).toFixed(1)}px`);
  const wanted = $("view-pad").value;
  const notes = new Map(store.pads.map((one) => [one.pad, one]));
  fill($("ring"), s("svg", { viewBox: `0 0 ${SIZE} ${SIZE}`, role: "img",
    "aria-label": now ? `${now.label} among ${count} pads` : `${count} pads` },
  rest.map((one) => line(one, stateOf(one) === "kept" ? "kept" : "")), now && line(now, "now"),
  pads.map((pad) => {
    const [x, y] = place(pad), [tx, ty] = place(pad, land + 11);
    const kind = [mine.has(pad) && "mine", busy.has(pad) && "busy", notes.get(pad).unused && "unused",
      wanted === pad && "wanted"].filter(Boolean).join(" ");
    return s("g", { class: `land ${kind}`, onclick: () => choose(pad) },
      s("title", {}, notes.get(pad).note ? `${pad}: ${notes.get(pad).note}` : pad),
      s("circle", { cx: x.toFixed(1), cy: y.toFixed(1), r: land }),
      s("circle", { class: "hole", cx: x.toFixed(1), cy: y.toFixed(1), r: land * 0.4 }),
      s("text", { x: tx.toFixed(1), y: (ty + 4.5).toFixed(1) }, pad));
  })));
}
