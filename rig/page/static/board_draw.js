// The board's picture with its pads on it and a line for each find: letters and lines keep their
// size on screen, however far the picture is zoomed.

import { fill, h, mark, s } from "./dom.js";
import { View } from "./board_view.js";

// Beside its colour each kind has a line of its own.
export const DASHES = {
  pitch: "none", timbre: "11 4 2 4", loop: "16 6", drone: "1 6", level: "6 5", cut: "3 10", stop: "1 5 8 5",
};
const LETTER_PX = 10.5, SMALL_PX = 8.8; // a letter's disc; where many pads are on a small screen
const SMALL = { px: 500, pads: 30 };
const JOINT_PX = 8; // so near to a letter another's joint may lie
const NEAR_PX = 9, NEAR_FINGER_PX = 20;
const FEW = 60, MANY = 150, CROWD = 500; // the more lines, the thinner

// Each pad with each pad that it is joined to: "A+B-C" has A-C and B-C.
function joined(pair) {
  return pair.split(" / ").flatMap((joint) => {
    const [one, other] = joint.split("-").map((side) => side.split("+"));
    return (other ?? []).flatMap((to) => one.map((from) => [from, to]));
  });
}

const along = ([a, c, b], t) => ({
  x: (1 - t) ** 2 * a.x + 2 * t * (1 - t) * c.x + t * t * b.x,
  y: (1 - t) ** 2 * a.y + 2 * t * (1 - t) * c.y + t * t * b.y,
});

function bowed(a, b, bow) {
  return [a, { x: (a.x + b.x) / 2 - (b.y - a.y) * bow, y: (a.y + b.y) / 2 + (b.x - a.x) * bow }, b];
}

// The shortest way from a point to a piece of a line.
function apart(p, a, b) {
  const dx = b.x - a.x, dy = b.y - a.y, long = dx * dx + dy * dy;
  const t = long ? Math.max(0, Math.min(1, ((p.x - a.x) * dx + (p.y - a.y) * dy) / long)) : 0;
  return Math.hypot(p.x - a.x - t * dx, p.y - a.y - t * dy);
}

const ASIDE = [[0, 0]];
for (const far of [19, 30, 42]) {
  for (let turn = 0; turn < 12; turn += 1) {
    const angle = (turn / 12) * 2 * Math.PI - Math.PI / 2;
    ASIDE.push([far * Math.cos(angle), far * Math.sin(angle)]);
  }
}

// Where each letter stands beside its pad so that none hides another; points are on screen, `bounds`
// what is seen, and an open pad's own joint is left free.
function letters(points, { open, radius, bounds }) {
  const there = new Map(), apart2 = (2 * radius) ** 2;
  const isFree = (x, y, pad) => {
    if (bounds && (x < radius || y < radius || x > bounds.width - radius || y > bounds.height - radius)) return false;
    for (const at of there.values()) if ((at.x - x) ** 2 + (at.y - y) ** 2 < apart2) return false;
    for (const [other, at] of points) {
      if (other !== pad && (at.x - x) ** 2 + (at.y - y) ** 2 < (there.has(other) ? JOINT_PX ** 2 : apart2 / 2)) return false;
    }
    return true;
  };
  for (const [pad, at] of points) {
    const first = open === pad ? 1 : 0;
    const [x, y] = ASIDE.slice(first).find(([dx, dy]) => isFree(at.x + dx, at.y + dy, pad)) ?? ASIDE[first];
    there.set(pad, { x: at.x + x, y: at.y + y });
  }
  return there;
}

export class Board {
  // `on`: pad(letter), find(find), hover(find or null), blank(point), grab(point). `still`: whole
  // and small, with the letters of what is looked at alone.
  constructor(seat, on, { still = false } = {}) {
    Object.assign(this, { seat, on, still, data: null, lines: [], places: new Map(), held: null, heldPad: null, scale: 0 });
    this.picture = h("img", { alt: "", draggable: "false" });
    this.over = s("svg", { "aria-hidden": "true" });
    this.layers = Object.fromEntries(["lines", "strong", "leads", "pads", "words"].map((name) => [name, s("g", { class: name })]));
    this.over.append(...Object.values(this.layers));
    seat.replaceChildren(h("div", { class: "veil" }, this.picture), this.over);
    this.view = new View(seat, {
      changed: () => this.moved(), hover: (at) => this.hover(at), click: (at, by) => this.click(at, by),
      grab: (at, by) => (this.still ? null : this.on.grab?.(at, this.padAt(at, by)) ?? null),
    });
    new ResizeObserver(() => this.data && this.view.fit(this.data.frame.width, this.data.frame.height)).observe(seat);
  }

  // `data`: frame, stamp, pads (a Map of places), kinds (classes of a pad), finds, now (a find),
  // open (a pad whose joint must be seen), marks (more points: name, place, text).
  draw(data) {
    const { frame, stamp } = data;
    const isNew = !this.data || this.data.stamp !== stamp;
    this.data = data;
    this.held = data.finds.find((one) => one.label === this.held?.label) ?? null;
    if (isNew) {
      this.picture.src = `/photo?at=${encodeURIComponent(stamp)}`;
      this.seat.style.aspectRatio = `${frame.width} / ${frame.height}`;
      this.seat.classList.toggle("drawing", frame.picture.toLowerCase().endsWith(".svg"));
    }
    // Looking at another find changes no line and moves no letter.
    const laid = JSON.stringify([[...data.pads], data.finds.map((one) => [one.label, data.kept(one)])]);
    if (laid !== this.laid) this.lay();
    else this.strong();
    this.laid = laid;
    this.scale = 0;
    if (isNew || frame.width !== this.view.width || frame.height !== this.view.height) this.view.fit(frame.width, frame.height);
    else this.moved();
  }

  lay() {
    const { pads, finds } = this.data;
    const together = new Map();
    for (const find of finds) {
      for (const [one, other] of joined(find.pair)) {
        if (!pads.has(one) || !pads.has(other)) continue;
        const name = [one, other].sort().join("-");
        together.set(name, [...together.get(name) ?? [], { find, one, other }]);
      }
    }
    this.lines = [...together.values()].flatMap((all) => all.map(({ find, one, other }, at) => {
      const curve = bowed(pads.get(one), pads.get(other), 0.07 + (at - (all.length - 1) / 2) * 0.13);
      const [a, c, b] = curve;
      return { find, curve, points: Array.from({ length: 15 }, (_, n) => along(curve, n / 14)),
        d: `M${a.x} ${a.y} Q${c.x} ${c.y} ${b.x} ${b.y}` };
    }));
    const count = this.lines.length, few = count <= FEW ? "few" : "";
    this.seat.classList.toggle("many", count > MANY && count <= CROWD);
    this.seat.classList.toggle("crowd", count > CROWD);
    // Small, many lines are a stain.
    const drawn = this.still && count > MANY ? this.lines.filter(({ find }) => this.data.kept(find)) : this.lines;
    fill(this.layers.lines, drawn.map(({ find, d }) => this.path(find, d, `${few} ${this.data.kept(find) ? "kept" : ""}`)));
    this.strong();
  }

  path(find, d, more = "") {
    return s("path", { class: `line ${find.mark} ${more}`, d, "stroke-dasharray": DASHES[find.mark], "data-label": find.label });
  }

  // The find that is looked at, what is pointed at, or all of a pad that is, above all others.
  strong() {
    const { now } = this.data;
    const shown = [this.held !== now ? this.held : null, now].filter(Boolean);
    const ofPad = this.heldPad ? this.lines.filter(({ find }) => find.pads.some((one) => one.pad === this.heldPad)) : [];
    this.layers.lines.classList.toggle("aside", ofPad.length > 0);
    fill(this.layers.strong, ofPad.map(({ find, d }) => this.path(find, d, "of-pad")), shown.flatMap((find) => this.lines.filter((one) => one.find.label === find.label)
      .flatMap(({ d }) => [s("path", { class: `casing ${find === now ? "" : "held"}`, d }),
        this.path(find, d, find === now ? "now" : "held")])));
    this.said = shown.map((find) => ({ find, line: this.lines.find((one) => one.find.label === find.label) })).filter((one) => one.line);
  }

  // What the view's zoom and pan change.
  moved() {
    if (!this.data) return;
    const { view } = this, { width, height } = view.seen;
    if (!width || !height) return;
    const style = this.picture.style;
    style.width = `${view.width * view.k}px`;
    style.height = `${view.height * view.k}px`;
    style.transform = `translate(${view.x}px, ${view.y}px)`;
    this.over.setAttribute("viewBox", `0 0 ${width} ${height}`);
    const moved = `translate(${view.x} ${view.y}) scale(${view.k})`;
    this.layers.lines.setAttribute("transform", moved);
    this.layers.strong.setAttribute("transform", moved);
    if (this.scale !== view.k) this.letter();
    const shift = `translate(${view.x - this.origin.x} ${view.y - this.origin.y})`;
    for (const name of ["leads", "pads"]) this.layers[name].setAttribute("transform", shift);
    this.word();
  }

  letter() {
    const { view, data } = this;
    this.scale = view.k;
    this.origin = { x: view.x, y: view.y };
    const { pads, kinds, open, marks } = data;
    const points = new Map([...pads].map(([pad, place]) => [pad, view.toScreen(place)]));
    const mine = new Set((data.now?.pads ?? []).map((one) => one.pad));
    const lettered = this.still ? new Map([...points].filter(([pad]) => mine.has(pad))) : points;
    const { width, height } = view.seen;
    const radius = width < SMALL.px && pads.size > SMALL.pads && !this.still ? SMALL_PX : LETTER_PX;
    const asked = { open, radius, bounds: view.isWhole ? { width, height } : null };
    const lettering = JSON.stringify([...lettered, asked]);
    if (lettering !== this.lettering) this.places = letters(lettered, asked);
    this.lettering = lettering;
    const at = ({ x, y }) => `translate(${x.toFixed(1)} ${y.toFixed(1)})`;
    const lone = new Map(data.finds.filter((one) => one.lone).map((one) => [one.pads[0]?.pad, one]));
    fill(this.layers.leads, [...points].flatMap(([pad, point]) => {
      const to = this.places.get(pad), find = lone.get(pad);
      return [
        to && to.x !== point.x && s("path", { class: "leader", d: `M${point.x.toFixed(1)} ${point.y.toFixed(1)} L${to.x.toFixed(1)} ${to.y.toFixed(1)}` }),
        s("circle", { class: `joint ${kinds(pad)}`, cx: point.x.toFixed(1), cy: point.y.toFixed(1), r: 3.5 }),
        find && s("circle", { class: `line ${find.mark} lone`, cx: point.x.toFixed(1), cy: point.y.toFixed(1), r: LETTER_PX + 5,
          "stroke-dasharray": DASHES[find.mark] }),
      ];
    }));
    const cross = (point, more = "") => s("g", { class: `aim ${more}`, transform: at(point) },
      ["under", "upper"].map((one) => s("path", { class: one, d: "M-15 0 H-6 M6 0 H15 M0 -15 V-6 M0 6 V15 M-9 0 A9 9 0 1 0 9 0 A9 9 0 1 0 -9 0" })));
    fill(this.layers.pads, [...this.places].map(([pad, place]) => s("g", { class: `badge ${kinds(pad)}`, transform: at(place), "data-pad": pad },
      s("title", {}, data.title(pad)), s("circle", { r: radius }), s("text", { y: radius * 0.4, class: radius < LETTER_PX ? "less" : "" }, pad))),
    open && points.has(open) && cross(points.get(open)),
    (marks ?? []).map((one) => cross(view.toScreen(one.place), one.open ? "" : "set")),
    (marks ?? []).map((one) => s("text", { class: "word", transform: at(view.toScreen(one.place)), y: -19 }, one.text)));
  }

  // What it does stands on the line: a mark and words.
  word() {
    const { view } = this, { width, height } = view.seen;
    if (this.still) return;
    fill(this.layers.words);
    for (const [number, { find, line }] of this.said.entries()) {
      const at = view.toScreen(along(line.curve, 0.5));
      if (at.x < 0 || at.y < 0 || at.x > width || at.y > height) continue;
      const text = find.says.length > 40 ? `${find.says.slice(0, 38)} …` : find.says;
      const sign = mark(find), words = s("text", { class: "word", y: 5 }, text);
      const plate = s("rect", { class: "plate", y: -13, height: 26, rx: 7 });
      const all = s("g", {}, plate, sign, words);
      this.layers.words.append(all);
      const wide = words.getComputedTextLength() + 42, half = wide / 2;
      const x = Math.max(half + 4, Math.min(width - half - 4, at.x));
      // On a small screen it would hide too much.
      const y = width < SMALL.px ? height - 17 - 28 * number : Math.max(17, Math.min(height - 17, at.y));
      for (const [name, value] of Object.entries({ x: -half + 7, y: -10, width: 20, height: 20 })) sign.setAttribute(name, value);
      plate.setAttribute("x", -half);
      plate.setAttribute("width", wide);
      words.setAttribute("x", 14);
      all.setAttribute("transform", `translate(${x.toFixed(1)} ${y.toFixed(1)})`);
    }
  }

  padAt(point, by = "mouse") {
    const near = by === "touch" ? NEAR_FINGER_PX : LETTER_PX + 3;
    let best = null, least = near;
    for (const [pad, place] of this.data?.pads ?? []) {
      const joint = this.view.toScreen(place), letter = this.places.get(pad);
      const far = Math.min(Math.hypot(joint.x - point.x, joint.y - point.y),
        letter ? Math.hypot(letter.x + this.view.x - this.origin.x - point.x, letter.y + this.view.y - this.origin.y - point.y) : Infinity);
      if (far < least) [best, least] = [pad, far];
    }
    return best;
  }

  findAt(point, by = "mouse") {
    const at = this.view.toBoard(point);
    let best = null, least = (by === "touch" ? NEAR_FINGER_PX : NEAR_PX) / this.view.k;
    for (const { find, points } of this.lines) {
      for (let n = 1; n < points.length; n += 1) {
        const far = apart(at, points[n - 1], points[n]);
        if (far < least) [best, least] = [find, far];
      }
    }
    return best;
  }

  hover(point) {
    if (!this.data || this.data.isPlacing) return;
    const pad = point && this.padAt(point), find = point && !pad ? this.findAt(point) : null;
    this.seat.classList.toggle("points", Boolean(pad || find));
    if (find === this.held && pad === this.heldPad) return;
    Object.assign(this, { held: find, heldPad: pad });
    this.strong();
    this.word();
    this.on.hover?.(find, pad);
  }

  click(point, by) {
    if (!this.data) return;
    const pad = this.padAt(point, by);
    if (this.data.isPlacing) return this.on.blank?.(this.view.toBoard(point), pad);
    const find = pad ? null : this.findAt(point, by);
    if (pad) this.on.pad?.(pad);
    else if (find) this.on.find?.(find);
  }
}
