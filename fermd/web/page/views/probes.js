// Every probe with its health, and the way to calibrate it.

import { h } from "../base/dom.js";
import { mayAct } from "../base/sheet.js";
import { sign } from "../base/signs.js";
import { sentence } from "../base/words.js";
import { calibrate } from "../acts/calibrate.js";
import { probes } from "../parts/probe_list.js";

export function view() {
  const { list, trouble } = probes();
  return [
    trouble && h("p", { class: "trouble", key: "trouble" }, trouble),
    list && list.length === 0 && h("p", { class: "empty", key: "none" }, "No probe is named in the site file. ", h("code", null, "fermd probes"), " on the board shows what is on the bus."),
    list && h("ul", { class: "probes", key: "probes" }, list.map((probe) => h("li", { key: `${probe.chamber} ${probe.probe}` },
      h("h2", null, sign(probe.trusted ? "well" : "warning"), probe.probe, h("span", { class: "from" }, `chamber ${probe.chamber}`)),
      h("p", { class: "reading" }, sentence(probe.words)),
      h("p", { class: "hint" }, health(probe)),
      mayAct() && h("button", { type: "button", onclick: () => calibrate(probe.chamber, probe.probe) }, "Calibrate", h("span", { class: "hidden" }, ` ${probe.probe} in ice water`))))),
  ];
}

function health(probe) {
  const kinds = Object.entries(probe.faults).filter(([, count]) => count > 0).map(([fault, count]) => `${count} × ${fault}`);
  return `${probe.samples} readings, ${(probe.bad_share * 100).toFixed(1)} % of the last ones bad${kinds.length ? `; so far ${kinds.join(", ")}` : ""}.`;
}
