// The record of the site or of one chamber.

import { h } from "../base/dom.js";
import { events_of, lines } from "../parts/happened.js";

export function view(chamber) {
  const found = events_of(chamber);
  return h("section", { "aria-label": "Record", key: "record" },
    found.trouble && h("p", { class: "trouble" }, `The record cannot be read: ${found.trouble}`),
    found.events && (found.events.length ? lines(found.events, !chamber) : h("p", { class: "empty" }, "Nothing has been recorded yet.")),
    h("p", { class: "hint" }, "The newest 200 lines. ", h("code", null, "fermd log"), " on the board has them all; a time with ? was written before the clock was set."));
}
