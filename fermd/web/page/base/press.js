// A press means what the finger saw: while it is down on something nothing is drawn anew, and what
// has come or moved a moment ago is not pressed yet.
//
// Else the second tap of a wet thumb lands on what has opened under it, and a press on one button
// becomes one on the next when the row moves.

const PRESSED = "button, a, label, summary";
const SETTLES_MS = 250; // the second tap of a double tap comes sooner: common practice, no source
const MOVED_PX = 8;
const AFTER_UP_MS = 80; // a phone tells of the tap a little after the finger has left
const LONGEST_HOLD_MS = 2_000;

let downAt = 0;
let isHeld = false;
let missed = null; // what is to be drawn once the finger has left
let timer = 0;

/** Draw now, or once no finger is on anything. */
export function whenFree(draw) {
  if (isHeld) missed = draw;
  else draw();
}

function hold(event) {
  downAt = performance.now();
  if (event.target.closest?.(PRESSED)) {
    isHeld = true;
    release(LONGEST_HOLD_MS);
  }
}

function release(after_ms) {
  clearTimeout(timer);
  timer = setTimeout(() => {
    isHeld = false;
    const draw = missed;
    missed = null;
    draw?.();
  }, after_ms);
}

/** What the press itself brings about is drawn at once; what it held up, right behind. */
function clicked() {
  if (!isHeld) return;
  isHeld = false;
  release(0);
}

/** Where everything that can be pressed stands. */
export function places(root) {
  return new Map([...root.querySelectorAll(PRESSED)].map((node) => [node, node.getBoundingClientRect()]));
}

/** Remember of what has come or moved since `before` when it can be pressed. */
export function settle(root, before) {
  const readyAt = performance.now() + SETTLES_MS;
  for (const [node, now] of places(root)) {
    const was = before.get(node);
    if (!was || Math.abs(was.top - now.top) > MOVED_PX || Math.abs(was.left - now.left) > MOVED_PX) node.readyAt = readyAt;
  }
}

function refuse(event) {
  const pressed = event.target.closest?.(PRESSED);
  // Keys (detail 0) press what has the focus, wherever it stands.
  if (pressed && event.detail > 0 && downAt < (pressed.readyAt ?? 0)) {
    event.preventDefault();
    event.stopImmediatePropagation();
    // For whoever looks from outside: it wants pressing again.
    pressed.refusals = (pressed.refusals ?? 0) + 1;
  }
}

export function beginPressing() {
  addEventListener("pointerdown", hold, { capture: true });
  for (const up of ["pointerup", "pointercancel"]) addEventListener(up, () => isHeld && release(AFTER_UP_MS), { capture: true });
  addEventListener("click", refuse, { capture: true });
  addEventListener("click", clicked, { capture: true });
}
