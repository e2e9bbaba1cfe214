// How this page shows things on this phone, who it is for the journal, and the way out.

import { h } from "../base/dom.js";
import { ask } from "../base/api.js";
import { choice, field } from "../base/fields.js";
import { reopen } from "../base/live.js";
import { closeSheet, openSheet } from "../base/sheet.js";
import { keep, know, state } from "../base/store.js";

export function openSettings() {
  openSheet("This page", draw);
}

function draw() {
  const { session, status } = state;
  return [
    choice("unit", "Temperatures in", [["C", "°C"], ["F", "°F"]], state.unit, (unit) => {
      keep({ unit, unitChosen: true });
      reopen();
    }),
    session?.who
      ? h("p", null, "You are ", h("b", null, session.who), " in the journal.")
      : field("who", "Your name, for the journal", { type: "text", value: state.who, maxlength: 60, autocomplete: "name", onchange: (event) => keep({ who: event.target.value.trim() }) }),
    status && h("p", { class: "hint" }, `Times are those of the site (${status.time_zone}), in the way of this ${navigator.language} browser. Light or dark follows the phone.`),
    status && status.times_real_time !== 1 && h("p", { class: "hint" }, `This is a trial on simulated chambers, ${status.times_real_time} times as fast as real time.`),
    h("nav", { class: "links", "aria-label": "More" },
      h("a", { href: "#/profiles", onclick: closeSheet }, "Profiles"),
      h("a", { href: "#/record", onclick: closeSheet }, "What happened"),
      h("a", { href: "#/probes", onclick: closeSheet }, "Probes")),
    session?.role && session.role !== "local" && h("button", { type: "button", class: "quiet", onclick: logOut }, "Log out"),
  ];
}

async function logOut() {
  try {
    await ask("DELETE", "/api/session");
  } finally {
    closeSheet();
    know({ session: { role: null }, status: null, said: null });
  }
}
