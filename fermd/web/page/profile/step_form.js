// One step of a profile as a form.

import { h } from "../base/dom.js";
import { field } from "../base/fields.js";
import { KIND_HINTS, KIND_KEYS, KINDS, kindWords } from "../parts/kinds.js";
import { sentence } from "../base/words.js";
import { DEFAULTS, quoted, read, shown, withKey, withKind, withStepUp, withoutStep } from "./text.js";

const LABELS = {
  target_c: ["Temperature", "°C"],
  to_c: ["To", "°C"],
  rate_c_per_day: ["Rate", "°C a day"],
  floor_c: ["Heated below", "°C"],
  ceiling_c: ["Cooled above", "°C"],
  within_c: ["Counts as there within", "°C"],
  for: ["For", ""],
  until: ["Until", ""],
  prompt: ["What to say", ""],
  changes: ["Changes", ""],
};
const TEXTS = ["for", "until", "prompt"];
const HINTS = { until: "18:00, fri 18:00 or 2026-12-24 08:00", changes: '[{ at = "08:00", target_c = 12.0 }, …]' };

/** What is wrong with a key, in words; entries of a list count towards the list. All of it is told beside the curve. */
export function faultOf(faults, key) {
  const [first, ...more] = faults.filter((one) => one.key === key || one.key.startsWith(`${key}[`) || one.key.startsWith(`${key}.`));
  return first ? `${first.why}${more.length ? ` (and ${more.length} more)` : ""}` : "";
}

/** `change` is told the whole text with what was typed. */
export function stepForm(toml, index, count, faults, change) {
  const found = read(toml);
  const kind = shown(found, index, "kind");
  const id = (key) => `step-${index + 1}-${key}`;
  const faultAt = (key) => faultOf(faults, `step[${index + 1}].${key}`);
  const whole = faults.filter((one) => one.key === `step[${index + 1}]`).map((one) => one.why).join("; ");
  const type = (key) => (event) => change(withTyped(toml, index, key, event.target.value));
  return h("li", { key: index, "aria-label": `Step ${index + 1}` },
    h("div", { class: "head" },
      h("b", null, `Step ${index + 1}`),
      index > 0 && h("button", { type: "button", class: "quiet", "aria-label": `Up: step ${index + 1}`, onclick: () => change(withStepUp(toml, index)) }, "Up"),
      count > 1 && h("button", { type: "button", class: "quiet", "aria-label": `Remove step ${index + 1}`, onclick: () => change(withoutStep(toml, index)) }, "Remove")),
    whole && h("p", { class: "fault" }, whole),
    h("div", { class: "keys" },
      field(id("kind"), "Kind", { options: KINDS.map((one) => [one, sentence(kindWords(one))]), value: kind, onchange: (event) => change(withKind(toml, index, event.target.value, KIND_KEYS[event.target.value], DEFAULTS)) },
        { hint: KIND_HINTS[kind] ?? "", fault: faultAt("kind") }),
      field(id("name"), "Called", { type: "text", value: shown(found, index, "name"), maxlength: 60, oninput: type("name") }, { fault: faultAt("name") }),
      (KIND_KEYS[kind] ?? []).map((key) => field(id(key), LABELS[key][0], {
        type: "text", inputmode: TEXTS.includes(key) || key === "changes" ? undefined : "decimal", autocomplete: "off",
        ...(key === "changes" ? { rows: 3 } : {}), value: shown(found, index, key), oninput: type(key),
      }, { unit: LABELS[key][1], hint: HINTS[key] ?? "", fault: faultAt(key) }))));
}

/** A number is written as one; what is no number is written as a text, for the check to refuse. */
function withTyped(toml, index, key, typed) {
  if (typed === "" && ["name", "within_c"].includes(key)) return withKey(toml, index, key, null);
  if (key === "changes") return withKey(toml, index, key, typed || "[]");
  if (key === "name" || TEXTS.includes(key)) return withKey(toml, index, key, quoted(typed));
  const number = typed.trim().replace(",", ".").replace("−", "-");
  return withKey(toml, index, key, /^-?\d+(\.\d+)?$/.test(number) ? number : quoted(typed));
}
