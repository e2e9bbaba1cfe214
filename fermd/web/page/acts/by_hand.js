// An output set by hand: for a limited time, protection kept, and said so plainly.

import { h } from "../base/dom.js";
import { order } from "../base/api.js";
import { choice } from "../base/fields.js";
import { deeds, draft, openSheet, send } from "../base/sheet.js";
import { byWhom } from "../parts/said.js";
import { span } from "../base/words.js";

const NAMES = { heat: "heat", cool: "cooling", fan: "the fan" };
const SPANS_S = [300, 900, 1800, 3600, 4 * 3600];

const ASIDE = {
  heat: "The beer is warmed whatever its target. Somebody should be there.",
  cool: "The beer is cooled whatever its target, down to its freezing margin. Somebody should be there.",
  fan: "The fan runs whatever heat and cooling do.",
};

export function setByHand(chamber, output) {
  openSheet(`Set ${NAMES[output.duty]} by hand`, (typed) => draw(chamber, output, typed), { on: !output.on, for_s: 900, understood: false });
}

function draw(chamber, output, typed) {
  const isSet = output.reasons.some((reason) => reason.rule === "override");
  return [
    choice("on", "What", [[true, "On"], [false, "Off"]], typed.on, (on) => draft({ on, understood: false })),
    choice("for", "For how long", SPANS_S.map((for_s) => [for_s, span(for_s)]), typed.for_s, (for_s) => draft({ for_s })),
    h("div", { class: "beware" },
      h("p", null, h("strong", null, "Beware. "), typed.on ? ASIDE[output.duty] : "The beer may drift from its target meanwhile."),
      h("p", null, "It goes back to automatic by itself. Protection stays: minimum off time, starts per hour, changeover delay, air limits and freezing margin are kept, so it may not go on at once."),
      h("label", { class: "tick" }, h("input", { type: "checkbox", checked: typed.understood, onchange: (event) => draft({ understood: event.target.checked }) }),
        h("span", null, "I know what this does"))),
    deeds(`${typed.on ? "Switch on" : "Switch off"} for ${span(typed.for_s)}`, () => send(
      () => order(chamber, "override-output", { duty: output.duty, on: typed.on, for_s: typed.for_s }),
      `${chamber}: ${NAMES[output.duty]} called ${typed.on ? "on" : "off"} for ${span(typed.for_s)}${byWhom()}`,
    ), { danger: true, disabled: !typed.understood }),
    isSet && h("button", { type: "button", class: "quiet", onclick: () => send(() => order(chamber, "end-override"), `${chamber}: back to automatic${byWhom()}`) },
      "Back to automatic now"),
  ];
}
