// The marks of the window in words, beside their signs.

import { h } from "../base/dom.js";
import { siteNow } from "../base/live.js";
import { sign } from "../base/signs.js";
import { sentence, when } from "../base/words.js";

const SHOWN = 6;

export function marksInView(data, { from, to }) {
  const seen = data.marks.filter((mark) => mark.utc_s >= from && mark.utc_s <= to);
  if (!seen.length) return null;
  return h("details", { class: "marks", key: "marks" },
    h("summary", null, `${seen.length} ${seen.length === 1 ? "mark" : "marks"} in view: steps, alarms and notes`),
    h("ol", { class: "happened" }, [...seen].reverse().slice(0, SHOWN * 4).map((mark, index) => h("li", { key: `${mark.utc_s} ${index}` },
      sign(mark.kind), h("time", null, when(mark.utc_s, siteNow())), h("span", null, sentence(mark.words))))));
}
