// Numbers, times and spans as this brewer reads them: °C or °F, the site's time zone, the phone's
// own habit of 24 or 12 hours.
//
// Sentences come from the daemon, in the scale that it was asked for; numbers come in °C and s.

import { state } from "./store.js";

const isF = () => state.unit === "F";

export const unitSign = () => (isF() ? "°F" : "°C");
export const shownTemp = (temp_c) => (isF() ? temp_c * 1.8 + 32 : temp_c);
export const shownDifference = (temp_k) => (isF() ? temp_k * 1.8 : temp_k);
export const asCelsius = (shown) => (isF() ? (shown - 32) / 1.8 : shown);
export const asCelsiusDifference = (shown) => (isF() ? shown / 1.8 : shown);

/** Without "-0.0", which reads as colder than it is. */
export function fixed(number, digits) {
  const text = number.toFixed(digits);
  return Number(text) === 0 ? (0).toFixed(digits) : text.replace("-", "−");
}

export const temp = (temp_c, digits = 1) => `${fixed(shownTemp(temp_c), digits)}\u00a0${unitSign()}`;
export const difference = (temp_k, digits = 1) => `${fixed(shownDifference(temp_k), digits)}\u00a0${unitSign()}`;

/** A sentence that starts a line; no line ends between a number and its degrees. */
export const sentence = (words) => (words ? words[0].toUpperCase() + words.slice(1).replaceAll(/ (?=°[CF])/g, "\u00a0") : "");

const SIZES = [[86400, "d"], [3600, "h"], [60, "min"], [1, "s"]];

/** A span of time in its two largest units, worded as the daemon words it. */
export function span(seconds) {
  let left = Math.max(0, Math.round(seconds));
  const parts = [];
  for (const [size, name] of SIZES) {
    if (left >= size || (size === 1 && !parts.length)) {
      parts.push(`${Math.floor(left / size)} ${name}`);
      left %= size;
    } else if (parts.length) break;
    if (parts.length === 2) break;
  }
  return parts.join(" ");
}

/** A span as a clock that runs down: 2:05, 1:02:05. */
export function countdown(seconds) {
  const left = Math.max(0, Math.ceil(seconds));
  const two = (number) => String(number).padStart(2, "0");
  const [hours, minutes] = [Math.floor(left / 3600), Math.floor(left / 60) % 60];
  return hours ? `${hours}:${two(minutes)}:${two(left % 60)}` : `${minutes}:${two(left % 60)}`;
}

const formats = new Map();

function format(options) {
  const zone = state.status?.time_zone;
  const key = JSON.stringify([zone, options]);
  if (!formats.has(key)) formats.set(key, new Intl.DateTimeFormat(undefined, { timeZone: zone, ...options }));
  return formats.get(key);
}

const at = (utc_s, options) => format(options).format(new Date(utc_s * 1000));

export const clock = (utc_s) => at(utc_s, { hour: "numeric", minute: "2-digit" });
export const date = (utc_s) => at(utc_s, { day: "numeric", month: "short" });
export const day = (utc_s) => at(utc_s, { weekday: "short", day: "numeric", month: "short" });
export const dayAndClock = (utc_s) =>
  at(utc_s, { weekday: "short", day: "numeric", month: "short", hour: "numeric", minute: "2-digit" });

/** A time near now with no more of its date than is needed. */
export function when(utc_s, now_utc_s) {
  if (day(utc_s) === day(now_utc_s)) return clock(utc_s);
  if (Math.abs(utc_s - now_utc_s) < 6 * 86400) return at(utc_s, { weekday: "short", hour: "numeric", minute: "2-digit" });
  return dayAndClock(utc_s);
}

/** A time's parts in the site's zone, for axes and for fields of date and time. */
export function parts(utc_s) {
  const found = {};
  const options = { year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23", weekday: "short" };
  const zone = state.status?.time_zone;
  const key = `parts ${zone}`;
  if (!formats.has(key)) formats.set(key, new Intl.DateTimeFormat("en-GB", { timeZone: zone, ...options }));
  for (const { type, value } of formats.get(key).formatToParts(new Date(utc_s * 1000))) found[type] = value;
  return found;
}

/** "2026-12-24T08:00" in the site's zone, as a field of date and time has it. */
export function localField(utc_s) {
  const found = parts(utc_s);
  return `${found.year}-${found.month}-${found.day}T${found.hour}:${found.minute}`;
}
