// What is foreseen for each chamber, asked for again every few minutes and after each change.

import { chamberPlace, get } from "./api.js";
import { isFresh, pageNow, siteNow } from "./live.js";
import { know, state } from "./store.js";

const AGAIN_MS = 120_000;
const asked = {};

/** The newest forecast of a chamber; null while there is none. */
export function forecast(name) {
  const chamber = state.status.chambers[name];
  const key = JSON.stringify([chamber.mode, chamber.vessel.trusted, chamber.target_words, chamber.profile?.name, chamber.profile?.step, state.said?.words, state.unit]);
  const before = asked[name];
  if (isFresh() && (!before || before.key !== key || pageNow() - before.at > AGAIN_MS)) {
    asked[name] = { key, at: pageNow() };
    get(`${chamberPlace(name, "forecast")}?units=${state.unit}`).then(
      (found) => know({ forecasts: { ...state.forecasts, [name]: found } }),
      () => know({ forecasts: { ...state.forecasts, [name]: null } }),
    );
  }
  return state.forecasts[name] ?? null;
}

/** Where the beer is foreseen to be at a time, °C; null if that is not foreseen. */
export const foreseen = (found, utc_s) => along(found?.beer ?? [], utc_s, 1);

/** What the target is going to be at a time: {heat_c, cool_c}; null if that is not known. */
export function aimAt(found, utc_s) {
  const heat_c = along(found?.target ?? [], utc_s, 1);
  return heat_c === null ? null : { heat_c, cool_c: along(found.target, utc_s, 2) };
}

/** A line of points [utc_s, ...] at a time, straight between two of them. */
function along(points, utc_s, column) {
  const place = points.findIndex(([at]) => at >= utc_s);
  if (place < 0) return null;
  const [one, two] = [points[Math.max(0, place - 1)], points[place]];
  const share = two[0] === one[0] ? 1 : Math.min(1, Math.max(0, (utc_s - one[0]) / (two[0] - one[0])));
  return one[column] + share * (two[column] - one[column]);
}

export const soon = () => siteNow() + 3 * 3600;
