// What is wrong with a profile, in the form's own words: the form has labels where its text has keys.

import { state } from "../base/store.js";
import { unitOf } from "./numbers.js";

export const LABELS = {
  kind: "Kind", name: "Called", target_c: "Temperature", to_c: "To", rate_c_per_day: "Rate", floor_c: "Heated below",
  ceiling_c: "Cooled above", within_c: "Counts as there within", for: "For", until: "Until", prompt: "What to say",
  changes: "Changes", at: "From",
};
const KEYS = new RegExp(`\\b(${Object.keys(LABELS).filter((key) => key.includes("_c")).join("|")})\\b`, "g");
const OF_THE_TEXT = "is text; write the number without quotes, with a point and without a unit; ";

/** Why, with labels in place of keys. */
export const inForm = (why) => why.replace(OF_THE_TEXT, "").replace(KEYS, (key) => `“${LABELS[key]}”`);

/** What is wrong with a key, in a few words; entries of a list count towards the list. All of it is told beside the curve. */
export function faultOf(faults, key) {
  const [first, ...more] = faults.filter((one) => one.key === key || one.key.startsWith(`${key}[`) || one.key.startsWith(`${key}.`));
  return first ? `${inForm(first.why).split(/[:;] /)[0]}${more.length ? ` (and ${more.length} more)` : ""}` : "";
}

/** A fault in one line: where it is, what was typed there, and why. */
export function lineOf(fault, typed) {
  const [, step, change, key] = /^step\[(\d+)\](?:\.changes\[(\d+)\])?(?:\.(\w+))?$/.exec(fault.key) ?? [];
  if (!step) return `${fault.key ? `${fault.key}: ` : ""}${inForm(fault.why)}`;
  const label = key ? `, ${LABELS[key] ?? key}` : "";
  const kept = typed[fault.key];
  const value = kept?.unit === state.unit ? ` ${kept.text} ${unitOf(key)}`.trimEnd() : "";
  return `Step ${step}${change ? `, change ${change}` : ""}${label}${value}: ${inForm(fault.why)}`;
}
