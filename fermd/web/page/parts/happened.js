// What happened last in a chamber, newest first, in the journal's words with who did it.

import { h } from "../base/dom.js";
import { get } from "../base/api.js";
import { pageNow, siteNow } from "../base/live.js";
import { know, state } from "../base/store.js";
import { sign } from "../base/signs.js";
import { sentence, when } from "../base/words.js";

const AGAIN_MS = 30_000;
const EAGER_MS = 10_000; // so long after something was done here, the journal may still be writing it ...
const SOON_MS = 2_000; // ... and is asked this often
const SHOWN = 8;
const SHAPES = { AlarmChanged: "alarm", BrewerNote: "note", StepChanged: "step", ProfileChanged: "step", ProfileKept: "step", OutputChanged: "on", CommandAnswered: "hand", TargetChanged: "hand" };

let events = null;
let askedAt = -Infinity;
let askedFor = null;
let eagerUntil = 0;
let trouble = "";

/** Read the record again if it may have grown: after a while, and after each thing done here. */
export function events_of(chamber) {
  const now = pageNow();
  const key = `${state.unit} ${state.said?.words ?? ""}`;
  if (key !== askedFor) eagerUntil = now + EAGER_MS;
  if (key !== askedFor || now - askedAt > (now < eagerUntil ? SOON_MS : AGAIN_MS)) {
    [askedAt, askedFor] = [now, key];
    get(`/api/events?limit=200&units=${state.unit}`).then(
      (found) => { events = found; trouble = ""; know({}); },
      (refused) => { trouble = refused.message; know({}); },
    );
  }
  return { trouble, events: events && events.filter((one) => !chamber || one.chamber === chamber || one.chamber === "") };
}

export function lines(found, withChamber = false) {
  return h("ol", { class: "happened" }, found.map((one) => h("li", { key: one.seq, class: one.kind },
    sign(SHAPES[one.kind] ?? "notice"),
    h("time", { datetime: new Date(one.wall_utc_s * 1000).toISOString() }, `${when(one.wall_utc_s, siteNow())}${one.wall_trusted ? "" : "?"}`),
    h("span", null, withChamber && one.chamber && h("b", null, `${one.chamber}: `), sentence(one.words)))));
}

export function happened(chamber) {
  const found = events_of(chamber);
  return h("section", { "aria-labelledby": "happened-title", key: "happened" },
    h("h2", { id: "happened-title" }, "What happened"),
    found.trouble && h("p", { class: "trouble" }, `The record cannot be read: ${found.trouble}`),
    found.events === null
      ? (!found.trouble && h("p", { class: "empty" }, "Reading the journal …"))
      : found.events.length === 0
        ? h("p", { class: "empty" }, "Nothing yet. Every switch, step, alarm, note and order will be here, with who did it.")
        : [lines(found.events.slice(0, SHOWN)), h("a", { href: `#/record/${encodeURIComponent(chamber)}` }, "The whole record")]);
}
