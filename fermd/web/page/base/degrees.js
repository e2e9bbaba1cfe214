// Temperatures that are typed: read in the scale of the page, kept in °C.
//
// What is kept is the shortest number of °C that reads as what was typed: typed back as it is shown,
// a number stays what it was.

import { typedNumber } from "./fields.js";
import { asCelsius, asCelsiusDifference, fixed, shownDifference, shownTemp } from "./words.js";

export const TEMPERATURE = { shown: shownTemp, kept: asCelsius };
export const DIFFERENCE = { shown: shownDifference, kept: asCelsiusDifference };

const SHOWN_DIGITS = 2; // finer than any probe
const MOST_DIGITS = 9;

/** A kept number as it is shown in a field: 18 is 18.0 or 64.4, 18.33 is 64.99. */
export const asTyped = (kept, scale = TEMPERATURE) => fixed(scale.shown(kept), SHOWN_DIGITS).replace(/0$/, "");

/** What was typed as it is kept, a text in °C; null if it is no number. */
export function asKept(text, scale = TEMPERATURE) {
  const typed = typedNumber(text);
  if (!Number.isFinite(typed)) return null;
  const digits = Math.max(SHOWN_DIGITS, String(typed).split(".")[1]?.length ?? 0);
  const exact = scale.kept(typed);
  for (let count = 1; count <= MOST_DIGITS; count += 1) {
    const kept = exact.toFixed(count);
    if (scale.shown(Number(kept)).toFixed(digits) === typed.toFixed(digits)) return Number(kept) === 0 ? "0.0" : kept;
  }
  return exact.toFixed(MOST_DIGITS);
}
