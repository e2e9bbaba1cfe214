// The chart as a table, for whoever cannot see it or wants the figures.

import { h } from "../base/dom.js";
import { siteNow } from "../base/live.js";
import { fixed, shownTemp, unitSign, when } from "../base/words.js";

const ROWS = 16;

export function asTable(data, { from, to }) {
  const places = data.times.map((_, index) => index).filter((index) => data.times[index] >= from && data.times[index] <= to && data.vessel.mean[index] !== null);
  const every = Math.max(1, Math.ceil(places.length / ROWS));
  const rows = places.filter((_, place) => place % every === 0);
  const cell = (value) => h("td", null, value === null ? "–" : fixed(shownTemp(value), 1));
  return h("details", { class: "as-table", key: "table" },
    h("summary", null, "The same as a table"),
    h("table", null,
      h("thead", null, h("tr", null, ["Time", `Beer, ${unitSign()}`, "coldest", "warmest", "Air"].map((words) => h("th", { scope: "col" }, words)))),
      h("tbody", null, rows.map((index) => h("tr", { key: index }, h("th", { scope: "row" }, when(data.times[index], siteNow())),
        cell(data.vessel.mean[index]), cell(data.vessel.min[index]), cell(data.vessel.max[index]), cell(data.air.mean[index]))))));
}
