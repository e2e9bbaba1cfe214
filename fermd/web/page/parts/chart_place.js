// Where the chart goes. Its library is fetched only once the first number is on the screen.

import { h } from "../base/dom.js";
import { know } from "../base/store.js";

let chart = null;
let trouble = "";
let asked = false;

function load() {
  if (asked) return;
  asked = true;
  const idle = window.requestIdleCallback ?? ((then) => setTimeout(then, 50));
  idle(() => import("../chart/chart.js").then(async (module) => {
    await module.loadLibrary();
    chart = module;
    know({});
  }).catch((error) => {
    trouble = error.message;
    know({});
  }));
}

export function chartPlace(name) {
  load();
  return h("section", { class: "chart", "aria-labelledby": "chart-title", key: `chart ${name}` },
    h("h2", { id: "chart-title" }, "How it went"),
    chart ? chart.view(name)
      : trouble ? h("p", { class: "empty" }, trouble)
        : h("p", { class: "empty drawing" }, "Drawing …"));
}
