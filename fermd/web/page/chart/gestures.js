// From minutes to the whole batch in one gesture: pinch or wheel zooms, a drag moves, a double tap
// shows everything; the same by keys.

const LEAST_S = 300;
const MOST_S = 400 * 86400;
const WHEEL = 1.0015;
const TAP_MS = 350;

export class Gestures {
  constructor(node, drawing) {
    this.node = node;
    this.drawing = drawing;
    this.fingers = new Map();
    node.addEventListener("pointerdown", (event) => this.down(event));
    node.addEventListener("pointermove", (event) => this.move(event));
    for (const over of ["pointerup", "pointercancel", "pointerleave"]) node.addEventListener(over, (event) => this.up(event));
    node.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    node.addEventListener("keydown", (event) => this.key(event));
  }

  down(event) {
    if (event.isPrimary) {
      const now = performance.now();
      if (now - (this.tappedAt ?? -Infinity) < TAP_MS) this.drawing.goTo("all");
      this.tappedAt = now;
    }
    this.fingers.set(event.pointerId, event.clientX);
    // Where the gesture began: what stood under the fingers stays under them.
    this.grip = { window: { ...this.drawing.window() }, at: [...this.fingers.values()] };
  }

  move(event) {
    if (!this.fingers.has(event.pointerId)) return;
    this.fingers.set(event.pointerId, event.clientX);
    const { window: began, at } = this.grip;
    const now = [...this.fingers.values()];
    const whole = began.to - began.from;
    const [left, width] = this.frame();
    if (now.length === 1) {
      const by = ((at[0] - now[0]) / width) * whole;
      this.show(began.from + by, began.to + by);
      return;
    }
    const apart = Math.max(12, Math.abs(at[0] - at[1]));
    const length = whole * (apart / Math.max(12, Math.abs(now[0] - now[1])));
    const held = began.from + (((at[0] + at[1]) / 2 - left) / width) * whole;
    const share = ((now[0] + now[1]) / 2 - left) / width;
    this.zoom(held, share, length);
  }

  up(event) {
    if (!this.fingers.delete(event.pointerId)) return;
    this.grip = { window: { ...this.drawing.window() }, at: [...this.fingers.values()] };
  }

  wheel(event) {
    event.preventDefault();
    const { from, to } = this.drawing.window();
    const [left, width] = this.frame();
    const share = Math.min(1, Math.max(0, (event.clientX - left) / width));
    const sideways = Math.abs(event.deltaX) > Math.abs(event.deltaY);
    if (sideways) this.show(from + (event.deltaX / width) * (to - from), to + (event.deltaX / width) * (to - from));
    else this.zoom(from + share * (to - from), share, (to - from) * WHEEL ** event.deltaY);
  }

  key(event) {
    const { from, to } = this.drawing.window();
    const [whole, middle] = [to - from, (from + to) / 2];
    const acts = {
      ArrowLeft: () => this.show(from - whole / 4, to - whole / 4),
      ArrowRight: () => this.show(from + whole / 4, to + whole / 4),
      "+": () => this.zoom(middle, 0.5, whole / 2),
      "-": () => this.zoom(middle, 0.5, whole * 2),
      Home: () => this.drawing.goTo("all"),
    };
    if (!acts[event.key]) return;
    event.preventDefault();
    acts[event.key]();
  }

  /** Show so long a window in which `held` stands at `share` of the width. */
  zoom(held, share, length) {
    const fits = Math.min(MOST_S, Math.max(LEAST_S, length));
    this.show(held - share * fits, held + (1 - share) * fits);
  }

  show(from, to) {
    this.drawing.moveTo(from, to);
  }

  /** Left edge and width of the plot on the screen, px. */
  frame() {
    const over = this.drawing.plot?.over ?? this.node;
    const { left, width } = over.getBoundingClientRect();
    return [left, Math.max(1, width)];
  }
}
