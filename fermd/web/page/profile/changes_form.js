// The changes of a schedule as a form: from when on, and to what. One that is written in a way that
// the form does not know is shown as its text.

import { h } from "../base/dom.js";
import { field } from "../base/fields.js";
import { changesOf, withChange, withOneMore, withoutChange } from "./changes.js";
import { faultOf, LABELS } from "./fault_words.js";
import { inField, inText, unitOf } from "./numbers.js";
import { plain, quoted } from "./text.js";

/** `value` is the list as it is written, `place` its path, `type` is told the list with what was typed. */
export function changesForm(id, value, place, faults, typed, type) {
  const all = changesOf(value);
  if (!all) {
    return field(id, LABELS.changes, { rows: 3, class: "toml", value, oninput: (event) => type(event.target.value || "[]") },
      { hint: '[{ at = "08:00", target_c = 12.0 }, …] in °C, as in the file', fault: faultOf(faults, place) });
  }
  const whole = faults.filter((one) => one.key === place).map((one) => one.why).join("; ");
  return h("fieldset", { class: "changes wide", key: id },
    h("legend", null, LABELS.changes),
    h("p", { class: "hint" }, "18:00, fri 18:00, apr-sep 07:00 or 2026-12-24 08:00; what holds is the one whose time was last."),
    whole && h("p", { class: "fault" }, whole),
    all.map((one, index) => row(`${id}-${index + 1}`, `${place}[${index + 1}]`, value, one, index, all.length, faults, typed, type)),
    h("button", { type: "button", class: "quiet", onclick: () => type(withOneMore(value)) }, "Add a change"));
}

function row(id, place, value, one, index, count, faults, typed, type) {
  const target = inField(one.target_c?.value ?? "", "target_c", `${place}.target_c`, typed);
  return h("div", { class: "change", role: "group", "aria-label": `Change ${index + 1}`, key: index },
    field(`${id}-at`, LABELS.at, { type: "text", autocomplete: "off", value: plain(one.at?.value ?? ""), oninput: (event) => type(withChange(value, index, "at", quoted(event.target.value))) },
      { fault: faultOf(faults, `${place}.at`) }),
    field(`${id}-target_c`, LABELS.target_c, { type: "text", inputmode: "decimal", autocomplete: "off", value: target, oninput: (event) => type(withChange(value, index, "target_c", inText(event.target.value, "target_c", `${place}.target_c`, typed))) },
      { unit: unitOf("target_c"), fault: faultOf(faults, `${place}.target_c`) }),
    count > 1 && h("button", { type: "button", class: "quiet", "aria-label": `Remove change ${index + 1}`, onclick: () => type(withoutChange(value, index)) }, "Remove"));
}
