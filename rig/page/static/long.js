// A long list: of its rows only those that are seen, and some around them, are in the page.

import { fill, h } from "./dom.js";

const FEW = 80; // so many are simply all there
const AROUND_PX = 900;
const GUESS_PX = 62; // a row's height before it was ever seen

export class Long {
  // `row` makes the element of an item, which has a label.
  constructor(list, row) {
    this.list = list;
    this.row = row;
    this.items = [];
    this.heights = new Map();
    this.rows = new Map();
    this.from = this.to = 0;
    this.before = space();
    this.behind = space();
    const soon = () => requestAnimationFrame(() => this.render());
    window.addEventListener("scroll", soon, { passive: true });
    window.addEventListener("resize", () => { this.heights.clear(); soon(); });
  }

  // Show other items, or the same with other words.
  set(items) {
    this.items = items;
    this.rows.clear();
    this.render(true);
  }

  // Give where each row begins, and where the last one ends, px.
  starts() {
    const guess = this.heights.size
      ? [...this.heights.values()].reduce((sum, one) => sum + one, 0) / this.heights.size : GUESS_PX;
    const starts = [0];
    for (const one of this.items) starts.push(starts.at(-1) + (this.heights.get(one.label) ?? guess));
    return starts;
  }

  render(anew = false) {
    const count = this.items.length;
    if (count <= FEW && !anew) return;
    let from = 0, to = count;
    const starts = count > FEW ? this.starts() : [];
    if (count > FEW) {
      const top = -this.list.getBoundingClientRect().top - AROUND_PX;
      const end = top + window.innerHeight + 2 * AROUND_PX;
      from = Math.max(0, Math.min(count - 1, starts.findIndex((one) => one > top) - 1));
      to = starts.findIndex((one) => one >= end);
      to = to < 0 ? count : Math.max(to, from + 1);
      if (top > starts.at(-1)) from = count - 1;
    }
    if (!anew && from === this.from && to === this.to) return;
    Object.assign(this, { from, to });
    const rows = new Map();
    const elements = this.items.slice(from, to).map((one, index) => {
      const element = this.rows.get(one.label) ?? this.row(one);
      element.classList.toggle("odd", (from + index) % 2 === 0);
      element.setAttribute("aria-setsize", count);
      element.setAttribute("aria-posinset", from + index + 1);
      rows.set(one.label, element);
      return element;
    });
    this.rows = rows;
    if (count <= FEW) {
      fill(this.list, elements);
      return;
    }
    this.before.style.height = `${starts[from]}px`;
    this.behind.style.height = `${starts.at(-1) - starts[to]}px`;
    if (anew) fill(this.list, this.before, elements, this.behind);
    else exchange(this.list, [this.before, ...elements, this.behind]);
    for (const [label, element] of rows) this.heights.set(label, element.offsetHeight);
  }

  // Bring a row into view; says whether there is one.
  reveal(label) {
    const at = this.items.findIndex((one) => one.label === label);
    if (at < 0) return false;
    if (!this.rows.has(label)) {
      const top = this.list.getBoundingClientRect().top + window.scrollY;
      window.scrollTo({ top: top + this.starts()[at] - window.innerHeight / 3, behavior: "instant" });
      this.render();
    }
    this.rows.get(label)?.scrollIntoView({ block: "nearest" });
    return true;
  }
}

// What stays in the list isn't touched: it keeps the focus, and the browser holds it where it is seen.
function exchange(list, wanted) {
  const stay = new Set(wanted);
  for (const one of [...list.children]) if (!stay.has(one)) one.remove();
  wanted.forEach((one, at) => {
    if (list.children[at] !== one) list.insertBefore(one, list.children[at] ?? null);
  });
}

const space = () => h("li", { class: "space", role: "presentation" });
