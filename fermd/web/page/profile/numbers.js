// Numbers of a profile as they are shown in a field and written into its text. The text has °C; a
// field has the scale of the page. Until the number becomes another one, a field keeps what was typed.

import { asKept, asTyped, DIFFERENCE, TEMPERATURE } from "../base/degrees.js";
import { state } from "../base/store.js";
import { unitSign } from "../base/words.js";
import { plain, quoted } from "./text.js";

const SCALES = { target_c: TEMPERATURE, to_c: TEMPERATURE, floor_c: TEMPERATURE, ceiling_c: TEMPERATURE, rate_c_per_day: DIFFERENCE, within_c: DIFFERENCE };

export const isNumber = (key) => key in SCALES;

/** The unit that stands beside a key's field. */
export const unitOf = (key) => (!isNumber(key) ? "" : key === "rate_c_per_day" ? `${unitSign()} a day` : unitSign());

/** A value of the text as its field shows it. `place` is the key's whole path, `typed` what was typed, by path. */
export function inField(value, key, place, typed) {
  const kept = typed[place];
  if (kept?.value === value && kept.unit === state.unit) return kept.text;
  return state.unit === "F" && isBare(value) ? asTyped(bare(value), SCALES[key]) : plain(value);
}

/** What was typed as the text has it; what is no number is written as a text, for the check to refuse. */
export function inText(text, key, place, typed) {
  const number = text.trim().replace(",", ".").replace("−", "-");
  const value = !/^-?\d+(\.\d+)?$/.test(number) ? quoted(text) : state.unit === "F" ? asKept(number, SCALES[key]) : number;
  typed[place] = { text, value, unit: state.unit };
  return value;
}

const bare = (value) => (value === "" ? NaN : Number(value.replaceAll("_", "")));
const isBare = (value) => Number.isFinite(bare(value));
