// The profile that runs: pause and resume, skip, extend, another step, back to the plan, stop.

import { h } from "../base/dom.js";
import { order } from "../base/api.js";
import { choice } from "../base/fields.js";
import { deeds, draft, openSheet, send } from "../base/sheet.js";
import { state } from "../base/store.js";
import { byWhom, doAtOnce } from "../parts/said.js";
import { kindWords, stepWords } from "../parts/kinds.js";
import { span } from "../base/words.js";

const EXTEND_S = [3600, 6 * 3600, 12 * 3600, 86400, 2 * 86400, 3 * 86400];

export const resume = (name) => doAtOnce(() => order(name, "resume-profile"), `${name}: the profile goes on`);
export const confirm = (name) => doAtOnce(() => order(name, "confirm-step"), `${name}: said so, the profile goes on`);
export const cancelPlan = (name) => doAtOnce(() => order(name, "cancel-plan"), `${name}: planned start taken back`);

export function extend(name) {
  openSheet("Make the step longer or shorter", (typed) => drawExtend(name, typed), { way: 1, by_s: 86400 });
}

function drawExtend(name, typed) {
  const { profile } = state.status.chambers[name];
  if (!profile) return h("p", null, "No profile is running.");
  const by_s = typed.way * typed.by_s;
  const left = profile.remaining_s;
  return [
    h("p", null, `${stepWords(profile)}${left === null ? "" : `, ${span(left)} left`}.`),
    choice("way", "Which way", [[1, "Longer"], [-1, "Shorter"]], typed.way, (way) => draft({ way })),
    choice("by", "By", EXTEND_S.map((s) => [s, span(s)]), typed.by_s, (s) => draft({ by_s: s })),
    left !== null && left + by_s <= 0 && h("p", { class: "beware" }, "The step is over at once then, and the next one begins."),
    deeds(`Make it ${span(typed.by_s)} ${typed.way > 0 ? "longer" : "shorter"}`, () => send(
      () => order(name, "extend-step", { by_s }),
      `${name}: step made ${span(typed.by_s)} ${typed.way > 0 ? "longer" : "shorter"}${byWhom()}`,
    )),
  ];
}

export function skip(name) {
  openSheet("Skip this step", () => {
    const { profile } = state.status.chambers[name];
    if (!profile) return h("p", null, "No profile is running.");
    const next = profile.next;
    return [
      h("p", null, `${stepWords(profile)} ends now, after ${span(profile.elapsed_s)}.`),
      h("p", null, next ? `Next: ${kindWords(next.kind)}${next.name ? `, "${next.name}"` : ""}.` : "It is the last step: its target is held from now on."),
      h("p", { class: "beware" }, h("strong", null, "Beware. "), "You can go back to this step, but its clock begins again."),
      deeds("Skip it", () => send(
        () => order(name, "skip-step"),
        `${name}: step ${profile.step} skipped${byWhom()}`,
      ), { danger: true }),
    ];
  });
}

export function goTo(name) {
  openSheet("Go to another step", (typed) => {
    const { profile } = state.status.chambers[name];
    if (!profile) return h("p", null, "No profile is running.");
    const steps = state.forecasts[name]?.steps ?? [];
    const named = (step) => steps.find((one) => one.step === step);
    const options = Array.from({ length: profile.steps }, (_, index) => index + 1).map((step) =>
      [step, `${step}: ${named(step) ? `${kindWords(named(step).kind)}${named(step).name ? `, ${named(step).name}` : ""}` : step === profile.step ? "the present one" : "step"}`]);
    return [
      choice("step", profile.name, options, typed.step, (step) => draft({ step })),
      h("p", { class: "beware" }, h("strong", null, "Beware. "), "The step that runs ends now, and the chosen one begins from its start."),
      deeds(`Go to step ${typed.step}`, () => send(
        () => order(name, "go-to-step", { step: typed.step }), `${name}: gone to step ${typed.step}${byWhom()}`,
      ), { danger: true }),
    ];
  }, { step: state.status.chambers[name].profile?.step ?? 1 });
}

export function backToPlan(name) {
  openSheet("Back to the plan", () => [
    h("p", null, "Every change made to the running profile is taken back: targets, lengths and steps are those that it was started with. The step that it has come to goes on."),
    deeds("Back to the plan", () => send(() => order(name, "return-to-plan"), `${name}: back to the plan${byWhom()}`)),
  ]);
}

export function stop(name) {
  openSheet("Stop the profile", () => [
    h("p", null, "The profile ends. Its present target is held by hand until somebody says otherwise."),
    h("p", { class: "beware" }, h("strong", null, "Beware. "), "A stopped profile cannot be resumed. To interrupt it, pause it instead."),
    deeds("Stop the profile", () => send(() => order(name, "stop-profile"), `${name}: profile stopped${byWhom()}`), { danger: true }),
  ]);
}
