// Where is the beer, where should it be, where is it heading?

import { h } from "../base/dom.js";
import { isFresh } from "../base/live.js";
import { difference, fixed, sentence, shownTemp, temp, unitSign } from "../base/words.js";
import { ruler } from "./ruler.js";
import { heading } from "./heading.js";

/** The beer of a chamber, large. */
export function beer(name, chamber) {
  const { vessel, air, target } = chamber;
  const going = heading(name, chamber);
  return h("section", { class: "beer", "aria-label": "Beer", key: "beer" },
    vessel.trusted ? reading(vessel.temp_c) : noReading(vessel),
    h("p", { class: "should" }, should(chamber)),
    going && isFresh() && h("p", { class: "going" }, going.words),
    ruler({
      beer_c: vessel.trusted ? vessel.temp_c : null,
      air_c: air?.trusted ? air.temp_c : null,
      target, edges: chamber.edges, call: chamber.call, heading_c: going?.temp_c ?? null,
      words: rulerWords(chamber),
    }),
    others(chamber));
}

function reading(temp_c) {
  return h("p", { class: "reading" },
    h("span", { class: "what" }, isFresh() ? "The beer is at" : "The beer was at"),
    h("span", { class: "number" }, fixed(shownTemp(temp_c), 1)), h("span", { class: "scale" }, ` ${unitSign()}`));
}

function noReading(vessel) {
  return h("p", { class: "reading none" },
    h("span", { class: "what" }, "The beer is at"),
    h("span", { class: "number", "aria-hidden": "true" }, "– –"),
    h("span", { class: "lost" }, sentence(vessel.words)),
    h("span", { class: "hint" }, ADVICE[vessel.fault] ?? LOOK_AT_IT));
}

const LOOK_AT_IT = ["Look at the probe, its plug and its wire; ", h("code", null, "fermd probes"), " on the board shows what is on the bus. Without a trusted reading nothing is switched on, unless the site file says otherwise."];
const ADVICE = { starting: "It has just been found; a few good readings in a row, and it is trusted." };

function should(chamber) {
  const { target, vessel } = chamber;
  if (!target) return ["No target: neither heat nor cooling is called for. ", h("span", { class: "from" }, sentence(chamber.mode_words))];
  const words = [h("span", null, "Should be "), h("b", null, chamber.target_words)];
  if (vessel.trusted) words.push(h("span", null, `, ${apart(vessel.temp_c, target, chamber.call)}`));
  words.push(h("span", { class: "from" }, sentence(chamber.mode_words)));
  return words;
}

/** How far the beer is from its target; that it is too far is for the daemon's call to say. */
export function apart(beer_c, { heat_c, cool_c }, call) {
  const above = beer_c - cool_c;
  const below = heat_c - beer_c;
  if (Math.max(above, below) < 0.05) return "and it is";
  if (above > below) return `${difference(above)} ${call === "cool" ? "too warm" : "above"}`;
  return `${difference(below)} ${call === "heat" ? "too cold" : "below"}`;
}

function rulerWords(chamber) {
  const said = [`Beer ${chamber.vessel.words}`, `target ${chamber.target_words}`];
  if (chamber.air) said.push(`air ${chamber.air.words}`);
  return said.join(", ");
}

function others(chamber) {
  const shown = [];
  if (chamber.air) shown.push(["Air", chamber.air]);
  for (const [name, seen] of Object.entries(chamber.watching)) shown.push([sentence(name), seen]);
  if (!shown.length) return null;
  return h("dl", { class: "others" }, shown.map(([name, seen]) =>
    h("div", { class: seen.trusted ? "" : "lost" }, h("dt", null, name),
      h("dd", null, seen.trusted ? temp(seen.temp_c) : seen.words))));
}
