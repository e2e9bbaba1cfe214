// The whole site: is everything all right, and every chamber at a glance.

import { h } from "../base/dom.js";
import { isFresh } from "../base/live.js";
import { state } from "../base/store.js";
import { sign } from "../base/signs.js";
import { fixed, sentence, shownTemp, unitSign } from "../base/words.js";
import { apart } from "../parts/beer.js";
import { heading } from "../parts/heading.js";
import { nextBrief } from "../parts/next.js";
import { brief } from "../parts/outputs.js";
import { ruler } from "../parts/ruler.js";
import { level, troubles, verdict, WORDS } from "../parts/verdict.js";

export function site() {
  const { status } = state;
  const names = Object.keys(status.chambers);
  return [
    verdict(troubles(status, names), true),
    names.length === 0
      ? h("p", { class: "empty", key: "none" }, "The site file names no chamber yet.")
      : h("ul", { class: "chambers", key: "chambers" }, names.map((name) => glance(name, status.chambers[name]))),
  ];
}

function glance(name, chamber) {
  const { vessel, air, target } = chamber;
  const how = level(troubles(state.status, [name], false));
  const going = heading(name, chamber);
  return h("li", { class: how, key: name },
    h("a", { href: `#/chambers/${encodeURIComponent(name)}` },
      h("h2", null, sign(how), name, h("span", { class: "hidden" }, `: ${WORDS[how]}`)),
      h("p", { class: "reading" }, h("span", { class: "number" }, vessel.trusted ? fixed(shownTemp(vessel.temp_c), 1) : "– –"), h("span", { class: "scale" }, ` ${unitSign()}`)),
      h("p", { class: "should" }, vessel.trusted
        ? (target ? `should be ${chamber.target_words}, ${apart(vessel.temp_c, target, chamber.call)}` : "no target")
        : sentence(vessel.words)),
      ruler({ beer_c: vessel.trusted ? vessel.temp_c : null, air_c: air?.trusted ? air.temp_c : null, target, edges: chamber.edges, heading_c: going?.temp_c ?? null, words: `Beer ${vessel.words}, target ${chamber.target_words}` }),
      h("p", { class: "brief" }, brief(chamber)),
      h("p", { class: "coming" }, isFresh() ? nextBrief(name, chamber) : "")));
}
