// The ruler: where the beer is, where it should be, and where it is heading, on one line of degrees.
//
// The band is a block from where heat is called for to where cooling is, as control goes by it now;
// the target a notch in it, a run's end a short bar, the beer a pointer above, the air one below.

import { h } from "../base/dom.js";
import { fixed, shownTemp } from "../base/words.js";

const WIDTH = 320;
const SIDE = 14;
const LINE = 40;

/** `beer_c` and `air_c` may be null. `heading_c` is where the beer will be in a while. */
export function ruler({ beer_c, air_c, target, edges, call, heading_c, words }) {
  const [low, high] = reach([beer_c, heading_c, target?.heat_c, target?.cool_c, edges?.heat_from_c, edges?.cool_from_c], air_c);
  const x = (temp_c) => SIDE + ((Math.min(Math.max(temp_c, low), high) - low) / (high - low)) * (WIDTH - 2 * SIDE);
  return h("svg", { class: "ruler", viewBox: `0 0 ${WIDTH} 80`, role: "img", "aria-label": words },
    edges && block(x, edges),
    degrees(low, high, x),
    target && notch(x, target),
    edges && ends(x, edges, call),
    heading_c !== null && beer_c !== null && Math.abs(heading_c - beer_c) > 0.05 && arrow(x(beer_c), x(heading_c)),
    air_c !== null && h("g", { class: "air" },
      h("path", { d: `M${x(air_c)} ${LINE + 3}l6 10h-12Z` }),
      h("text", { x: inside(x(air_c), 10), y: LINE + 37 }, "air")),
    beer_c !== null && h("path", { class: "beer", d: `M${x(beer_c)} ${LINE - 3}l-8-13v-9h16v9Z` }));
}

/** The degrees that the line spans: the beer and its target in the middle, the air if it is near. */
function reach(inner, air_c) {
  const known = inner.filter((one) => one !== null && one !== undefined);
  if (!known.length) known.push(air_c ?? 10);
  let low = Math.min(...known) - 1;
  let high = Math.max(...known) + 1;
  if (air_c !== null && air_c < low) low = Math.max(air_c - 0.4, low - 4);
  if (air_c !== null && air_c > high) high = Math.min(air_c + 0.4, high + 4);
  return [low, high];
}

function block(x, { heat_from_c, cool_from_c }) {
  const [from, to] = [x(heat_from_c), x(cool_from_c)];
  return h("rect", { class: "band", x: from, y: LINE - 9, width: Math.max(2, to - from), height: 18, rx: 2 });
}

function notch(x, target) {
  const from = x(target.heat_c);
  const to = x(target.cool_c);
  return h("path", { class: "target", d: from === to ? `M${from} ${LINE - 12}v24` : `M${from} ${LINE - 12}v24M${to} ${LINE - 12}v24M${from} ${LINE}H${to}` });
}

/** Where the call that stands is going to end. */
function ends(x, { heat_until_c, cool_until_c }, call) {
  const at = { heat: heat_until_c, cool: cool_until_c }[call];
  return at === undefined ? null : h("path", { class: "ends", d: `M${x(at)} ${LINE - 7}v14` });
}

function arrow(from, to) {
  const way = Math.sign(to - from);
  if (Math.abs(to - from) < 20) return null;
  return h("path", { class: "heading", d: `M${from + way * 9} ${LINE - 20}H${to}m${-5 * way} -4l${5 * way} 4l${-5 * way} 4` });
}

function degrees(low, high, x) {
  const [from, to] = [shownTemp(low), shownTemp(high)];
  const every = [1, 2, 5, 10].find((one) => (to - from) / one <= 8) ?? 20;
  const marks = [];
  for (let at = Math.ceil(from / every) * every; at <= to; at += every) {
    const place = SIDE + ((at - from) / (to - from)) * (WIDTH - 2 * SIDE);
    marks.push(h("path", { class: "degree", d: `M${place} ${LINE - 5}v10` }));
    marks.push(h("text", { class: "figure", x: inside(place, 6), y: LINE + 22 }, fixed(at, 0)));
  }
  return h("g", null, h("path", { class: "line", d: `M4 ${LINE}H${WIDTH - 4}` }), marks);
}

const inside = (place, half) => Math.min(Math.max(place, half), WIDTH - half);
