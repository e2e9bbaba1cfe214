// Where is the beer heading? From the forecast: warming, cooling or staying, and when it is there.

import { aimAt, forecast, foreseen, soon } from "../base/forecast.js";
import { siteNow } from "../base/live.js";
import { temp, when } from "../base/words.js";

const STILL_K = 0.15;

/** {words, temp_c}: temp_c is where the beer is foreseen to be in three hours. Null if unknown. */
export function heading(name, chamber) {
  if (!chamber.vessel.trusted) return null;
  const found = forecast(name);
  const temp_c = foreseen(found, soon());
  if (temp_c === null) return null;
  const moves_k = temp_c - chamber.vessel.temp_c;
  if (Math.abs(moves_k) < STILL_K) return { temp_c, words: `Staying at about ${temp(temp_c)} for the next hours` };
  const there = arrival(found, chamber);
  return { temp_c, words: `${moves_k > 0 ? "Warming" : "Cooling"}: ${there ?? `about ${temp(temp_c)} at ${when(soon(), siteNow())}`}` };
}

/** When the beer comes within its band of where the target is by then. */
function arrival(found, chamber) {
  const { target, vessel } = chamber;
  if (!target) return null;
  const away_k = (beer_c, heat_c, cool_c) => Math.max(0, beer_c - cool_c, heat_c - beer_c);
  if (away_k(vessel.temp_c, target.heat_c, target.cool_c) < 0.5) return null;
  const there = found.beer.find(([utc_s, beer_c]) => {
    const aim = aimAt(found, utc_s) ?? target;
    return utc_s > siteNow() && away_k(beer_c, aim.heat_c, aim.cool_c) < 0.3;
  });
  return there ? `at its target, ${temp(there[1])}, about ${when(there[0], siteNow())}` : null;
}
