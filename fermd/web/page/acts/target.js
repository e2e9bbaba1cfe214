// Another target: by hand, or for the step that runs; and "hold here".

import { h } from "../base/dom.js";
import { order } from "../base/api.js";
import { choice, field, typedNumber } from "../base/fields.js";
import { deeds, draft, openSheet, send } from "../base/sheet.js";
import { state } from "../base/store.js";
import { byWhom, doAtOnce } from "../parts/said.js";
import { asKept, asTyped } from "../base/degrees.js";
import { difference, fixed, shownTemp, temp, unitSign } from "../base/words.js";

const FAR_K = 3; // further than this from the beer in one go is asked about: common practice, no source
const COLD_C = 1; // near freezing, a mistake bursts a vessel

export function setTarget(name) {
  const chamber = state.status.chambers[name];
  const from_c = chamber.target?.cool_c ?? chamber.vessel.temp_c ?? 18;
  openSheet("Set the target", (typed) => draw(name, typed), {
    text: asTyped(from_c), from_c, how: chamber.mode === "profile" ? "step" : "hand", sure: null,
  });
}

function draw(name, typed) {
  const chamber = state.status.chambers[name];
  const shown = typedNumber(typed.text);
  // Left as it was, it stays what it was, whatever scale it is shown in.
  const target_c = typed.text === asTyped(typed.from_c) ? typed.from_c : Number(asKept(typed.text));
  const beware = Number.isFinite(shown) ? caution(chamber, target_c) : "";
  // Given for what was typed: the beer moves meanwhile, and its words with it.
  const sure = !beware || typed.sure === typed.text;
  const nudge = (by) => draft({ text: fixed((Number.isFinite(shown) ? shown : 0) + by, 1) });
  return [
    h("form", { onsubmit: (event) => { event.preventDefault(); if (Number.isFinite(shown) && sure) go(name, chamber, typed, target_c); } },
      h("div", { class: "nudge" },
        h("button", { type: "button", "aria-label": `Half a degree colder`, onclick: () => nudge(-0.5) }, "−"),
        field("target", `Target of ${name}`, { type: "text", inputmode: "decimal", autocomplete: "off", value: typed.text, "data-first": true, oninput: (event) => draft({ text: event.target.value }) },
          { unit: unitSign(), fault: Number.isFinite(shown) ? "" : "a number, please" }),
        h("button", { type: "button", "aria-label": "Half a degree warmer", onclick: () => nudge(0.5) }, "+")),
      chamber.mode === "profile" && choice("how", `${chamber.profile.name} is running`,
        [["step", "For this step only; the profile goes on"], ["hand", "By hand; the profile pauses until you resume it"]], typed.how, (how) => draft({ how })),
      beware && h("div", { class: "beware" }, h("p", null, h("strong", null, "Beware. "), beware),
        h("label", { class: "tick" }, h("input", { type: "checkbox", checked: sure, onchange: (event) => draft({ sure: event.target.checked ? typed.text : null }) }), h("span", null, "That is what I want"))),
      deeds(Number.isFinite(shown) ? `Hold ${temp(target_c)}` : "Hold", () => go(name, chamber, typed, target_c), { disabled: !Number.isFinite(shown) || !sure })),
    chamber.mode !== "off" && h("details", null, h("summary", null, "Switch the chamber off"),
      h("p", null, "No target: neither heat nor cooling is called for, and the beer goes where the room takes it. Probes are still watched."),
      h("button", { type: "button", class: "danger", onclick: () => send(() => order(name, "switch-off"), `${name}: switched off${byWhom()}`) }, "Switch off")),
  ];
}

function caution(chamber, target_c) {
  const beer_c = chamber.vessel.temp_c;
  if (target_c < COLD_C) return `${temp(target_c)} is near the freezing point of beer: the freezer and the vessel must stand it.`;
  if (beer_c !== null && Math.abs(target_c - beer_c) > FAR_K) {
    return `That is ${difference(Math.abs(target_c - beer_c))} from where the beer is: yeast takes a jump like that badly; a ramp is kinder.`;
  }
  return "";
}

function go(name, chamber, typed, target_c) {
  const step = chamber.mode === "profile" && typed.how === "step";
  return send(
    () => order(name, step ? "change-step-target" : "set-target", { target_c }),
    `${name}: target set to ${temp(target_c)}${step ? " for this step" : ""}${byWhom()}`,
  );
}

/** Hold the target where it is now; without a profile, hold the beer where it is. */
export function holdHere(name) {
  const chamber = state.status.chambers[name];
  if (chamber.mode === "profile") {
    return doAtOnce(() => order(name, "pause-profile"), `${name}: held here, the step's clock stands still`);
  }
  // As the page shows the beer.
  const target_c = Number(asKept(fixed(shownTemp(chamber.vessel.temp_c), 1)));
  return doAtOnce(() => order(name, "set-target", { target_c }), `${name}: held here, at ${temp(target_c)}`);
}
