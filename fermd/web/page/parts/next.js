// What comes next, and when?

import { h } from "../base/dom.js";
import { forecast } from "../base/forecast.js";
import { isFresh, since, siteNow } from "../base/live.js";
import { mayAct } from "../base/sheet.js";
import { span, temp, when } from "../base/words.js";
import { later } from "../base/later.js";
import { kindWords, stepWords } from "./kinds.js";

const step = () => import("../acts/step.js");
const [skip, extend, goTo, backToPlan, stop] = ["skip", "extend", "goTo", "backToPlan", "stop"].map((name) => later(step, name));
const [resume, confirm, cancelPlan] = ["resume", "confirm", "cancelPlan"].map((name) => later(step, name));

const COMING = 3;

export function next(name, chamber) {
  return h("section", { class: "next", "aria-labelledby": "next-title", key: "next" },
    h("h2", { id: "next-title" }, "What comes next"),
    planned(name, chamber),
    chamber.profile ? running(name, chamber) : nothing(name, chamber));
}

function planned(name, { planned_start: plan }) {
  return plan && h("p", { class: "prompt", key: "planned" }, `${plan.profile} starts ${when(plan.at_utc_s, siteNow())}, as ${plan.who} planned. `,
    mayAct() && h("button", { type: "button", class: "quiet", onclick: () => cancelPlan(name) }, "Take it back"));
}

function nothing(name, chamber) {
  const words = chamber.mode === "off"
    ? "No profile, no target: nothing is going to happen here until somebody says what."
    : `Nothing: ${chamber.target_words} is held until somebody says otherwise.`;
  return [h("p", null, words),
    mayAct() && h("p", { class: "ways" }, h("a", { class: "button", href: `#/chambers/${encodeURIComponent(name)}/start` }, "Start a profile"))];
}

function running(name, chamber) {
  const { profile, mode } = chamber;
  const stepping = mode === "profile";
  const coming = comingSteps(name, chamber);
  return [
    h("p", { class: "step" }, h("b", null, profile.name), ": ", stepWords(profile), "."),
    profile.prompt && h("div", { class: "prompt", key: "prompt" }, h("p", null, profile.prompt),
      mayAct() && stepping && h("button", { type: "button", class: "do", onclick: () => confirm(name) }, "Done, go on")),
    h("p", null, left(chamber)),
    bar(name, chamber),
    coming.length > 0 && h("dl", { class: "coming" }, coming.flatMap(([time, words]) => [h("dt", null, time), h("dd", null, words)])),
    mayAct() && h("div", { class: "ways", key: "ways" },
      way("Skip", () => skip(name)),
      way("Extend", () => extend(name)),
      way("Other step", () => goTo(name), "quiet"),
      way("Back to plan", () => backToPlan(name), "quiet"),
      way("Stop", () => stop(name), "quiet"),
      // Last, so that the others stay where they are when it comes and goes.
      !stepping && way("Resume", () => resume(name), "do")),
  ];
}

const way = (words, act, kind = "") => h("button", { type: "button", class: kind, onclick: act }, words);

/** What is left of the step, in words. */
function left({ profile, mode }) {
  if (mode === "paused") return "Paused: the step's clock stands still and its target stays where it is, until somebody resumes it.";
  if (mode === "hand" || mode === "off") return "Paused while the target is set by hand; it goes on where it was once somebody resumes it.";
  if (profile.remaining_s === null) {
    return {
      wait: "It waits for somebody to say so.",
      jump: "It is over once the beer is there.",
      "final-hold": "It has no end: it is held until somebody says otherwise.",
      schedule: "It has no end: it follows the calendar.",
    }[profile.kind] ?? "Its end is not known.";
  }
  const left_s = Math.max(0, profile.remaining_s - (isFresh() && profile.kind !== "soak" ? since() : 0));
  return profile.kind === "soak"
    ? `${span(left_s)} left, counted only while the beer is there.`
    : `${span(left_s)} left, until ${when(siteNow() + left_s, siteNow())}.`;
}

/** The steps after this one with when each begins. */
function comingSteps(name, { profile, mode }) {
  const steps = (forecast(name)?.steps ?? []).filter((one) => one.step > profile.step).slice(0, COMING);
  const running = mode === "profile";
  if (steps.length) {
    return steps.map((one) => [running && one.begins_utc_s ? `${one.begins_is_sure ? "" : "~ "}${when(one.begins_utc_s, siteNow())}` : "then", stepBrief(one)]);
  }
  if (!profile.next) return [];
  const at = running && profile.remaining_s !== null && profile.kind !== "soak" ? when(siteNow() + profile.remaining_s, siteNow()) : "then";
  return [[at, stepBrief(profile.next)]];
}

const stepBrief = ({ kind, name, to_c }) =>
  `${kindWords(kind)}${name && name !== kindWords(kind) ? ` (${name})` : ""}${to_c === undefined ? "" : `: ${temp(to_c)}`}`;

/** The whole profile as a row of steps, each as long as it lasts. */
function bar(name, { profile }) {
  const known = forecast(name)?.steps ?? [];
  const lengths = Array.from({ length: profile.steps }, (_, index) => {
    const found = known.find((one) => one.step === index + 1);
    const lasts_s = found?.ends_utc_s && found.begins_utc_s ? found.ends_utc_s - found.begins_utc_s : null;
    return index + 1 === profile.step ? profile.planned_s ?? lasts_s ?? 86400 : lasts_s ?? 86400;
  });
  const whole = Math.max(...lengths);
  const done = profile.planned_s ? Math.min(100, (profile.elapsed_s / profile.planned_s) * 100) : 50;
  return h("div", { class: "plan", "aria-hidden": "true" }, lengths.map((length_s, index) =>
    h("span", {
      class: index + 1 < profile.step ? "past" : index + 1 === profile.step ? "present" : "",
      style: { "flex-grow": String(Math.max(0.04, length_s / whole)), "--done": `${done}%` },
    })));
}

/** In one line, for the list of chambers. */
export function nextBrief(name, chamber) {
  const { profile, mode } = chamber;
  if (chamber.planned_start) return `${chamber.planned_start.profile} starts ${when(chamber.planned_start.at_utc_s, siteNow())}`;
  if (!profile) return "no profile";
  if (mode !== "profile") return `${profile.name}: paused`;
  if (profile.prompt) return `waits: ${profile.prompt}`;
  const [first] = comingSteps(name, chamber);
  return first ? `${first[0]}: ${first[1]}` : stepWords(profile);
}
