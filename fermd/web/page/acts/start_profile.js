// A profile started in a chamber, now or at a time; the text that was looked at is what is started.

import { order } from "../base/api.js";
import { doAtOnce } from "../parts/said.js";
import { dayAndClock } from "../base/words.js";

export const startNow = (chamber, title, toml) =>
  doAtOnce(() => order(chamber, "start-profile", { profile_toml: toml }), `${chamber}: ${title} started`);

/** `at` is as a field of date and time has it, by the site's clock. */
export const startAt = (chamber, title, toml, at, at_utc_s) =>
  doAtOnce(() => order(chamber, "plan-start", { profile_toml: toml, at: at.replace("T", " ") }), `${chamber}: ${title} is going to start ${dayAndClock(at_utc_s)}`);
