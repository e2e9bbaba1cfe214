// One step of a profile as a form.

import { h } from "../base/dom.js";
import { field } from "../base/fields.js";
import { KIND_HINTS, KIND_KEYS, KINDS, kindWords } from "../parts/kinds.js";
import { sentence } from "../base/words.js";
import { changesForm } from "./changes_form.js";
import { faultOf, inForm, LABELS } from "./fault_words.js";
import { inField, inText, isNumber, unitOf } from "./numbers.js";
import { DEFAULTS, quoted, read, shown, withKey, withKind, withStepUp, withoutStep, written } from "./text.js";

const HINTS = { until: "18:00, fri 18:00 or 2026-12-24 08:00" };

/** `typed` has what was typed into fields of numbers; `change` is told the whole text with what was typed. */
export function stepForm(toml, index, count, faults, typed, change) {
  const found = read(toml);
  const kind = shown(found, index, "kind");
  const id = (key) => `step-${index + 1}-${key}`;
  const place = (key) => `step[${index + 1}].${key}`;
  const faultAt = (key) => faultOf(faults, place(key));
  const whole = faults.filter((one) => one.key === `step[${index + 1}]`).map((one) => inForm(one.why)).join("; ");
  const type = (key) => (event) => change(withTyped(toml, index, key, event.target.value, place(key), typed));
  const one = (key) => {
    const value = written(found, index, key);
    if (key === "changes") return changesForm(id(key), value, place(key), faults, typed, (list) => change(withKey(toml, index, key, list)));
    return field(id(key), LABELS[key], {
      type: "text", inputmode: isNumber(key) ? "decimal" : undefined, autocomplete: "off",
      value: isNumber(key) ? inField(value, key, place(key), typed) : shown(found, index, key), oninput: type(key),
    }, { unit: unitOf(key), hint: HINTS[key] ?? "", fault: faultAt(key) });
  };
  return h("li", { key: index, "aria-label": `Step ${index + 1}` },
    h("div", { class: "head" },
      h("b", null, `Step ${index + 1}`),
      index > 0 && h("button", { type: "button", class: "quiet", "aria-label": `Up: step ${index + 1}`, onclick: () => change(withStepUp(toml, index)) }, "Up"),
      count > 1 && h("button", { type: "button", class: "quiet", "aria-label": `Remove step ${index + 1}`, onclick: () => change(withoutStep(toml, index)) }, "Remove")),
    whole && h("p", { class: "fault" }, whole),
    h("div", { class: "keys" },
      field(id("kind"), LABELS.kind, { options: KINDS.map((known) => [known, sentence(kindWords(known))]), value: kind, onchange: (event) => change(withKind(toml, index, event.target.value, KIND_KEYS[event.target.value], DEFAULTS)) },
        { hint: KIND_HINTS[kind] ?? "", fault: faultAt("kind") }),
      field(id("name"), LABELS.name, { type: "text", value: shown(found, index, "name"), maxlength: 60, oninput: type("name") }, { fault: faultAt("name") }),
      (KIND_KEYS[kind] ?? []).map(one)));
}

function withTyped(toml, index, key, text, place, typed) {
  if (text === "" && ["name", "within_c"].includes(key)) return withKey(toml, index, key, null);
  return withKey(toml, index, key, isNumber(key) ? inText(text, key, place, typed) : quoted(text));
}
