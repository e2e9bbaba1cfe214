// What is on, and why: the daemon's own sentence for each output, and a count-down while something
// holds it off or on.

import { h } from "../base/dom.js";
import { isFresh, since } from "../base/live.js";
import { mayAct } from "../base/sheet.js";
import { sign } from "../base/signs.js";
import { countdown, sentence, span } from "../base/words.js";
import { later } from "../base/later.js";

const setByHand = later(() => import("../acts/by_hand.js"), "setByHand");

const NAMES = { heat: "Heat", cool: "Cooling", fan: "Fan" };

/** On, off, or held: called for but kept off by protection. */
export function standing(output) {
  if (output.on) return "on";
  return output.wanted ? "held" : "off";
}

const WORDS = { on: "on", off: "off", held: "held off" };

export function outputs(name, chamber) {
  return h("section", { class: "outputs", "aria-labelledby": "outputs-title", key: "outputs" },
    h("h2", { id: "outputs-title" }, "On, and why"),
    h("p", { class: "call" }, sentence(ticking(chamber.call_words, [chamber.call_reason]))),
    chamber.outputs.length === 0
      ? h("p", { class: "empty" }, "This chamber has no outputs: fermd watches it, and switches nothing.")
      : h("ul", null, chamber.outputs.map((output) => row(name, output))));
}

function row(chamber, output) {
  const how = standing(output);
  const held = output.reasons.find((reason) => reason.left_s !== null);
  return h("li", { class: `output ${output.duty} ${how}`, key: output.duty },
    h("div", { class: "state" },
      sign(output.duty, "duty"), h("b", null, NAMES[output.duty]), sign(how), h("span", { class: "how" }, WORDS[how]),
      output.for_s !== null && how !== "held" && h("span", { class: "for" }, `for ${span(output.for_s + passed())}`)),
    h("p", { class: "why" }, sentence(ticking(output.words, output.reasons))),
    held && isFresh() && held.left_s - passed() > 0 && h("p", { class: "countdown" },
      h("span", { role: "timer", "aria-label": "time left" }, countdown(held.left_s - passed())), " left"),
    mayAct() && h("button", { type: "button", class: "quiet by-hand", onclick: () => setByHand(chamber, output) }, "Set by hand"));
}

const passed = () => (isFresh() ? since() : 0);

/** The sentence with what is left counted on since it was said. */
function ticking(words, reasons) {
  let told = words;
  for (const reason of reasons) {
    if (reason.left_s !== null) told = told.replace(span(reason.left_s), span(reason.left_s - passed()));
  }
  return told;
}

/** The outputs of a chamber in a few words, for the list of chambers. */
export function brief(chamber) {
  const busy = chamber.outputs.filter((output) => standing(output) !== "off");
  if (!busy.length) return [sign("off"), chamber.outputs.length ? "nothing is on" : "no outputs"];
  return busy.flatMap((output) => {
    const left_s = (output.reasons.find((reason) => reason.left_s !== null)?.left_s ?? 0) - passed();
    const left = standing(output) === "held" && isFresh() && left_s > 0 ? `, ${countdown(left_s)} left` : "";
    return [sign(output.duty, "duty"), `${NAMES[output.duty]} ${WORDS[standing(output)]}${left} `];
  });
}

export { NAMES };
