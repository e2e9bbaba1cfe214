// Is everything all right? One word, one sign, and what stands in the way of it.

import { h } from "../base/dom.js";
import { order } from "../base/api.js";
import { age, isFresh } from "../base/live.js";
import { state } from "../base/store.js";
import { doAtOnce } from "./said.js";
import { mayAct } from "../base/sheet.js";
import { sign } from "../base/signs.js";
import { dayAndClock, sentence, span } from "../base/words.js";

const LEVELS = ["well", "notice", "warning", "critical"];
export const WORDS = {
  well: "All is well",
  notice: "Worth knowing",
  warning: "Look at this",
  critical: "Act now",
  unknown: "Not known",
};

const JUST_STARTED_S = 300;

/** What troubles a chamber, worst first; with the site's own troubles if asked for. */
export function troubles(status, names, withSite = true) {
  const found = [];
  if (withSite) found.push(...siteTroubles(status));
  for (const name of names) {
    const chamber = status.chambers[name];
    for (const alarm of chamber.alarms) found.push(ofAlarm(alarm, name));
    const hasProbeAlarm = chamber.alarms.some((alarm) => alarm.alarm === "vessel-probe-lost");
    if (!chamber.vessel.trusted && !hasProbeAlarm) {
      const starting = chamber.vessel.fault === "starting";
      found.push({ key: `${name} vessel`, level: starting ? "notice" : "warning", chamber: name,
        words: starting ? "The vessel probe has not given enough good readings yet; nothing is switched on until it has"
          : `The beer's temperature is ${chamber.vessel.words}` });
    }
  }
  return found.sort((one, two) => LEVELS.indexOf(two.level) - LEVELS.indexOf(one.level));
}

function siteTroubles(status) {
  const found = status.alarms.map((alarm) => ofAlarm(alarm, ""));
  const has = (kind) => status.alarms.some((alarm) => alarm.alarm === kind);
  if (status.journal && !has("journal-not-writing")) {
    found.push({ key: "journal", level: "warning", words: `The journal is not written (${status.journal.detail}); control goes on` });
  }
  if (!status.clock_is_set && !has("clock-not-set")) {
    found.push({ key: "clock", level: "notice", words: "The board's clock is not known to be set: times here may be wrong, and steps of the calendar wait" });
  }
  if (status.up_s < JUST_STARTED_S) {
    found.push({ key: "started", level: "notice", words: `fermd started ${span(status.up_s)} ago; what is not known of an output's past keeps it off for a while` });
  }
  return found;
}

function ofAlarm(alarm, chamber) {
  return {
    key: `${chamber} ${alarm.alarm} ${alarm.subject}`,
    level: levelOf(alarm),
    words: alarm.words.replace(/^(critical|warning|notice): /, ""),
    chamber,
    alarm,
  };
}

/** What is over by now wants a look, and no more; what was seen and is not critical is known. */
function levelOf({ severity, phase, holds }) {
  if (!holds) return severity === "critical" && phase === "raised" ? "warning" : "notice";
  return phase === "acknowledged" && severity !== "critical" ? "notice" : severity;
}

/** The worst level of these, or that nothing is known. */
export function level(found) {
  if (!isFresh()) return "unknown";
  return found[0]?.level ?? "well";
}

/** The answer itself, with what stands in the way below it. */
export function verdict(found, withChamber = false) {
  const worst = level(found);
  return h("section", { class: `verdict ${worst}`, "aria-labelledby": "verdict-word", key: "verdict" },
    h("p", { class: "word", role: "status" }, sign(worst), h("strong", { id: "verdict-word" }, WORDS[worst])),
    !isFresh() && h("p", { class: "why" }, oldWords()),
    found.length > 0 && h("ul", { class: "troubles" }, found.map((one) => trouble(one, withChamber))));
}

function oldWords() {
  const was = `What you see was so ${span(age())} ago, at ${dayAndClock(state.status.wall_utc_s - state.status.age_s)}. `;
  return state.connection === "open"
    ? was + "fermd answers, but its control loop has not gone round since: look at the board."
    : was + "There is no connection to fermd. It goes on by itself; this page tries again every few seconds.";
}

function trouble(one, withChamber) {
  const { alarm } = one;
  return h("li", { class: one.level, key: one.key },
    sign(one.level),
    h("span", { class: "what" }, withChamber && one.chamber ? h("b", null, `${one.chamber}: `) : null,
      h("span", { class: "hidden" }, `${WORDS[one.level]}: `), sentence(one.words)),
    alarm?.phase === "raised" && mayAct() && h("button", { type: "button", onclick: () => acknowledge(one) }, "I have seen it"));
}

const acknowledge = ({ chamber, alarm }) => doAtOnce(
  () => order(chamber, "acknowledge-alarm", { alarm: alarm.alarm, subject: alarm.subject }),
  "Seen: the alarm stays until its cause is gone; noted",
);
