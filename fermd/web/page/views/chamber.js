// One chamber, in the order in which a brewer asks.

import { h } from "../base/dom.js";
import { mayAct } from "../base/sheet.js";
import { state } from "../base/store.js";
import { sign } from "../base/signs.js";
import { beer } from "../parts/beer.js";
import { next } from "../parts/next.js";
import { outputs } from "../parts/outputs.js";
import { troubles, verdict } from "../parts/verdict.js";
import { chartPlace } from "../parts/chart_place.js";
import { happened } from "../parts/happened.js";
import { later } from "../base/later.js";

const target = () => import("../acts/target.js");
const [setTarget, holdHere] = [later(target, "setTarget"), later(target, "holdHere")];
const addNote = later(() => import("../acts/note.js"), "addNote");
const step = () => import("../acts/step.js");
const [confirm, resume] = [later(step, "confirm"), later(step, "resume")];

export function chamber(name) {
  const seen = state.status.chambers[name];
  if (!seen) return h("p", { class: "empty" }, `There is no chamber ${name}. `, h("a", { href: "#/" }, "All chambers"));
  return [
    verdict(troubles(state.status, [name])),
    h("div", { class: "columns", key: name },
      h("div", { class: "now", key: "now" }, beer(name, seen), outputs(name, seen), next(name, seen)),
      h("div", { class: "then", key: "then" }, chartPlace(name), happened(name))),
  ];
}

/** What is within the thumb's reach. */
export function deck(name) {
  const seen = state.status?.chambers[name];
  if (!seen || !mayAct()) return null;
  return [
    seen.profile?.kind === "wait" && seen.mode === "profile"
      ? button("well", "Done, go on", () => confirm(name), "strong")
      : seen.profile && seen.mode !== "profile"
        ? button("go", "Resume", () => resume(name))
        : button("hold", "Hold here", () => holdHere(name), "", !seen.vessel.trusted && seen.mode !== "profile"),
    button("hand", "Set target", () => setTarget(name)),
    button("note", "Note", () => addNote(name)),
    h("a", { href: `#/chambers/${encodeURIComponent(name)}/start`, key: "start" }, sign("step"), h("span", null, "Profile")),
  ];
}

const button = (shape, words, act, kind = "", disabled = false) =>
  h("button", { type: "button", class: kind, onclick: act, disabled, key: words }, sign(shape), h("span", null, words));
