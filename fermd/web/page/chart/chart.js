// The chart: where the beer, the air and the target have been, what was on, what happened, and what
// is foreseen. Drawn by uPlot, which an installed package brings; fetched only when it is needed.

import { h } from "../base/dom.js";
import { watch } from "../base/store.js";
import { curvesOf, SPANS, wanted } from "./curves.js";
import { asTable } from "./table.js";
import { Drawing } from "./drawing.js";
import { marksInView } from "./marks.js";

const LIBRARY = new URL("../installed/uPlot.iife.js", import.meta.url).href;
const WITHOUT = "The chart's library is not installed beside fermd. On the board: pip install 'fermd[web]', then restart fermd. All else here works without it.";

/** Fetch the library; an error says in words what to do. */
export function loadLibrary() {
  if (window.uPlot) return Promise.resolve();
  const sheet = document.createElement("link");
  Object.assign(sheet, { rel: "stylesheet", href: LIBRARY.replace("iife.js", "min.css") });
  document.head.append(sheet);
  const script = document.createElement("script");
  script.src = LIBRARY;
  return new Promise((loaded, failed) => {
    script.addEventListener("load", loaded);
    script.addEventListener("error", () => failed(Object.assign(new Error(WITHOUT), { name: "Absent" })));
    document.head.append(script);
  });
}

let drawing = null;

/** The chart of one chamber with its means to move in it. */
export function view(name) {
  const span = wanted(name);
  const curves = curvesOf(name);
  return h("div", { class: "chart-body", key: name },
    h("div", { class: "spans", role: "group", "aria-label": "How much of it" }, SPANS.map(([key, words, full]) =>
      h("button", { type: "button", "aria-pressed": String(span.key === key), "aria-label": full, class: span.key === key ? "chosen" : "", key, onclick: () => drawing?.goTo(key) }, words))),
    h("div", {
      class: "canvas", opaque: true, key: "canvas", tabindex: "0", role: "application", "aria-roledescription": "chart",
      "aria-label": `Temperatures of ${name}. Left and right move, plus and minus zoom, Home shows the whole batch. The figures are in the table below.`,
      whenMade: (node) => { drawing?.end(); drawing = new Drawing(node, name); },
    }),
    legend(curves),
    curves.trouble && h("p", { class: "trouble" }, curves.trouble),
    curves.data && marksInView(curves.data, span),
    curves.data && asTable(curves.data, span));
}

function legend({ data }) {
  const has = (found) => Object.values(found ?? {}).some((line) => line.some((value) => value !== null));
  return h("ul", { class: "legend", "aria-hidden": "true" },
    h("li", { class: "vessel" }, "beer"),
    has(data?.air) && h("li", { class: "air" }, "air"),
    h("li", { class: "aim" }, data?.band.some(({ low_c }) => low_c !== null) ? "target, with its band" : "target"),
    h("li", { class: "foreseen" }, "foreseen"),
    h("li", { class: "heat" }, "heat on"),
    h("li", { class: "cool" }, "cooling on"));
}

watch(() => drawing?.show());
