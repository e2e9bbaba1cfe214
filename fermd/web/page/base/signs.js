// The signs: every state has a shape and a word of its own, so that colour is never all there is.

import { h } from "./dom.js";

const SHAPES = {
  // How things stand
  well: [["path", { d: "M3 12 9 18 21 5", class: "stroke" }]],
  notice: [["circle", { cx: 12, cy: 12, r: 10 }], ["path", { d: "M12 11v6M12 7v.5", class: "cut" }]],
  warning: [["path", { d: "M12 2 23 21H1Z" }], ["path", { d: "M12 9v6M12 18v.5", class: "cut" }]],
  critical: [["path", { d: "M8 1h8l7 7v8l-7 7H8l-7-7V8Z" }], ["path", { d: "M8 8l8 8M16 8l-8 8", class: "cut" }]],
  unknown: [["path", { d: "M3 3h4M10 3h4M17 3h4v4M21 10v4M21 17v4h-4M14 21h-4M7 21H3v-4M3 14v-4M3 7V3M9 9a3 3 0 1 1 4 3c-1 .5-1 1-1 2M12 17v.5", class: "stroke" }]],
  // Outputs
  on: [["rect", { x: 3, y: 3, width: 18, height: 18 }], ["path", { d: "M12 7v10", class: "cut" }]],
  off: [["rect", { x: 4, y: 4, width: 16, height: 16, class: "stroke" }]],
  held: [["path", { d: "M5 2h14M5 22h14M7 2c0 6 10 14 10 20M17 2c0 6-10 14-10 20", class: "stroke" }]],
  // Things to do and to look at
  heat: [["path", { d: "M5 21c3-3-2-6 1-9s-2-6 1-9M11 21c3-3-2-6 1-9s-2-6 1-9M17 21c3-3-2-6 1-9s-2-6 1-9", class: "stroke" }]],
  cool: [["path", { d: "M12 2v20M3 7l18 10M21 7 3 17M9 3l3 3 3-3M9 21l3-3 3 3", class: "stroke" }]],
  fan: [["path", { d: "M12 12c-6-2-6-9 0-10 2 3 2 7 0 10 6-2 9 4 6 9-4 0-6-5-6-9-3 5-9 5-11 1 2-4 8-3 11-1Z" }]],
  note: [["path", { d: "M12 2 22 12 12 22 2 12Z", class: "stroke" }]],
  alarm: [["path", { d: "M12 2 23 21H1Z" }]],
  step: [["path", { d: "M3 20V13h6V8h6V3h6", class: "stroke" }]],
  hand: [["path", { d: "M4 12h12M12 6l6 6-6 6M21 4v16", class: "stroke" }]],
  hold: [["path", { d: "M7 4v16M17 4v16M7 12h10", class: "stroke" }]],
  go: [["path", { d: "M6 3 20 12 6 21Z" }]],
  more: [["path", { d: "M4 6h16M4 12h16M4 18h16", class: "stroke" }]],
  back: [["path", { d: "M20 12H5M11 5l-7 7 7 7", class: "stroke" }]],
  close: [["path", { d: "M5 5l14 14M19 5 5 19", class: "stroke" }]],
};

/** A sign beside a word; screen readers hear the word. */
export function sign(name, kind = "") {
  return h(
    "svg",
    { class: `sign ${name} ${kind}`, viewBox: "0 0 24 24", "aria-hidden": "true", focusable: "false" },
    SHAPES[name].map(([tag, attributes]) => h(tag, attributes)),
  );
}
