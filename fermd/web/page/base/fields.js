// Fields with their labels, hints and faults tied together for eyes and for screen readers.

import { h } from "./dom.js";

/** One line to type into. `fault` says what is wrong with it. */
export function field(id, label, props, { hint = "", fault = "", unit = "" } = {}) {
  const told = [hint && `${id}-hint`, fault && `${id}-fault`].filter(Boolean).join(" ");
  const input = h(props.options ? "select" : props.rows ? "textarea" : "input", {
    id, name: id, "aria-describedby": told || undefined, "aria-invalid": fault ? "true" : undefined,
    ...props, options: undefined,
  }, (props.options ?? []).map(([value, words]) => h("option", { value, selected: value === props.value }, words)));
  return h("div", { class: fault ? "field faulty" : "field", key: id },
    h("label", { for: id }, label),
    unit ? h("span", { class: "with-unit" }, input, h("span", { class: "unit" }, unit)) : input,
    hint && h("p", { class: "hint", id: `${id}-hint` }, hint),
    fault && h("p", { class: "fault", id: `${id}-fault` }, fault));
}

/** A choice among few, each a large target. */
export function choice(name, legend, options, chosen, choose) {
  return h("fieldset", { class: "choice", key: name },
    h("legend", null, legend),
    options.map(([value, words]) =>
      h("label", { class: value === chosen ? "chosen" : "" },
        h("input", { type: "radio", name, value: String(value), checked: value === chosen, onchange: () => choose(value) }),
        words)));
}

/** A tick box. */
export function tick(id, words, checked, change) {
  return h("label", { class: "tick", key: id },
    h("input", { type: "checkbox", id, checked, onchange: (event) => change(event.target.checked) }), h("span", null, words));
}

/** What was typed as a number; NaN if it is none. A comma is a point to many. */
export const typedNumber = (text) => (String(text ?? "").trim() === "" ? NaN : Number(String(text).trim().replace(",", ".").replace("−", "-")));
