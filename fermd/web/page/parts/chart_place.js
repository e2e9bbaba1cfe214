// Where the chart goes. Its library is fetched only once the first number is on the screen.

import { h } from "../base/dom.js";
import { isFresh, pageNow } from "../base/live.js";
import { know } from "../base/store.js";

const AGAIN_MS = 5_000;

let chart = null;
let trouble = "";
let asked = 0;
let askedAt = -Infinity;
let isAbsent = false; // not installed: asking again would not help

/** Fetch it; if there is no connection just now, again a little later. */
function load() {
  if (chart || isAbsent || !isFresh() || pageNow() - askedAt < AGAIN_MS) return;
  askedAt = pageNow();
  asked += 1;
  const idle = window.requestIdleCallback ?? ((then) => setTimeout(then, 50));
  idle(async () => {
    try {
      const module = await import(asked > 1 ? `../chart/chart.js?${asked}` : "../chart/chart.js");
      await module.loadLibrary();
      chart = module;
    } catch (error) {
      isAbsent = error.name === "Absent";
      trouble = !isAbsent ? "The chart could not be fetched; it is tried again." : error.message;
    }
    know({});
  });
}

export function chartPlace(name) {
  load();
  return h("section", { class: "chart", "aria-labelledby": "chart-title", key: `chart ${name}` },
    h("h2", { id: "chart-title" }, "How it went"),
    chart ? chart.view(name)
      : trouble ? h("p", { class: "empty" }, trouble)
        : h("p", { class: "empty drawing" }, "Drawing …"));
}
