// Zoom and pan of a picture: by wheel, drag, two fingers, and whoever calls `zoom` and `pan`.

const MOST = 14; // times as large as the whole picture
const STILL_PX = 5; // a press that moves less is a click
const WHEEL = 0.0016;

export class View {
  // `on`: changed(), click(point), hover(point or null), and grab(point), which may give
  // { move(point), end(point), cancel() } to take a drag over; points are on screen.
  constructor(element, on) {
    Object.assign(this, { element, on, width: 1, height: 1, k: 1, x: 0, y: 0, fingers: new Map() });
    this.press = null;
    element.addEventListener("pointerdown", (event) => this.down(event));
    element.addEventListener("pointermove", (event) => this.move(event));
    element.addEventListener("pointerup", (event) => this.up(event));
    element.addEventListener("pointercancel", (event) => this.up(event, true));
    element.addEventListener("pointerleave", () => !this.press && on.hover(null));
    element.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
  }

  get seen() { return { width: this.element.clientWidth, height: this.element.clientHeight }; }

  get least() { return Math.min(this.seen.width / this.width, this.seen.height / this.height); }

  get isWhole() { return this.k <= this.least * 1.001; }

  // Show a picture of this size; one that was zoomed into stays so.
  fit(width, height) {
    const times = width === this.width && height === this.height && this.was ? this.k / this.was : 1;
    const { x, y } = this.toBoard(this.middle());
    Object.assign(this, { width, height });
    this.k = this.least * Math.max(1, times);
    this.centre(times > 1.001 ? { x, y } : { x: width / 2, y: height / 2 });
  }

  middle() { return { x: this.seen.width / 2, y: this.seen.height / 2 }; }

  toScreen({ x, y }) { return { x: this.x + x * this.k, y: this.y + y * this.k }; }

  toBoard({ x, y }) { return { x: (x - this.x) / this.k, y: (y - this.y) / this.k }; }

  centre(point) {
    const { x, y } = this.middle();
    this.x = x - point.x * this.k;
    this.y = y - point.y * this.k;
    this.settle();
  }

  // Bring a point of the picture into view.
  reveal(point) {
    const at = this.toScreen(point), { width, height } = this.seen, edge = 24;
    const off = (one, side) => (one < edge ? edge - one : one > side - edge ? side - edge - one : 0);
    if (!this.isWhole) this.pan(off(at.x, width), off(at.y, height));
  }

  zoom(times, at = this.middle()) {
    const { x, y } = this.toBoard(at);
    this.k = Math.min(this.least * MOST, Math.max(this.least, this.k * times));
    this.x = at.x - x * this.k;
    this.y = at.y - y * this.k;
    this.settle();
  }

  whole() {
    this.k = this.least;
    this.settle();
  }

  pan(x, y) {
    this.x += x;
    this.y += y;
    this.settle();
  }

  // The picture fills what is seen; where it is smaller it stands in the middle.
  settle() {
    const side = (at, length, seen) => (length <= seen ? (seen - length) / 2 : Math.min(0, Math.max(seen - length, at)));
    this.x = side(this.x, this.width * this.k, this.seen.width);
    this.y = side(this.y, this.height * this.k, this.seen.height);
    this.was = this.least;
    this.element.classList.toggle("zoomed", !this.isWhole);
    this.on.changed();
  }

  point(event) {
    const box = this.element.getBoundingClientRect();
    return { x: event.clientX - box.left - this.element.clientLeft, y: event.clientY - box.top - this.element.clientTop };
  }

  down(event) {
    if (event.button > 0) return;
    const at = this.point(event);
    this.fingers.set(event.pointerId, at);
    this.element.setPointerCapture(event.pointerId);
    if (this.fingers.size === 1) {
      this.press = { at, from: at, moved: false, taken: this.on.grab(at, event.pointerType) };
    } else if (this.press) {
      this.press.taken?.cancel();
      this.press = { ...this.press, moved: true, taken: null };
    }
  }

  move(event) {
    const at = this.point(event), before = this.fingers.get(event.pointerId);
    if (!before) {
      if (!this.fingers.size) this.on.hover(at);
      return;
    }
    const others = [...this.fingers].filter(([id]) => id !== event.pointerId).map(([, one]) => one);
    this.fingers.set(event.pointerId, at);
    if (others.length) {
      const [other] = others;
      const apart = (one) => Math.max(20, Math.hypot(one.x - other.x, one.y - other.y));
      this.zoom(apart(at) / apart(before), { x: (at.x + other.x) / 2, y: (at.y + other.y) / 2 });
      this.pan((at.x - before.x) / 2, (at.y - before.y) / 2);
      return;
    }
    const { press } = this;
    if (!press) return;
    if (Math.hypot(at.x - press.from.x, at.y - press.from.y) > STILL_PX) press.moved = true;
    if (press.moved && press.taken) press.taken.move(at);
    else if (press.moved) this.pan(at.x - press.at.x, at.y - press.at.y);
    if (press.moved) press.at = at;
  }

  up(event, isCancelled = false) {
    if (!this.fingers.delete(event.pointerId) || this.fingers.size) return;
    const { press } = this;
    this.press = null;
    if (!press) return;
    if (isCancelled) press.taken?.cancel();
    else if (!press.moved) this.on.click(press.from, event.pointerType);
    else press.taken?.end(this.point(event));
  }

  // The page scrolls on over a board that nobody has gone into.
  wheel(event) {
    const isIn = event.ctrlKey || this.element.contains(document.activeElement);
    if (!isIn || (event.deltaY > 0 && this.isWhole)) return;
    event.preventDefault();
    const px = event.deltaY * (event.deltaMode === 1 ? 20 : 1) * (event.ctrlKey ? 6 : 1);
    this.zoom(Math.exp(-Math.max(-300, Math.min(300, px)) * WHEEL), this.point(event));
  }
}
