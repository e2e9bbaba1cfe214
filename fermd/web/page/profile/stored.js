// The profiles of the site: asked for once, and again after a change.

import { ask, chamberPlace, get } from "../base/api.js";
import { know, state } from "../base/store.js";

let list = null;
/** The scale in which the list tells what is wrong with a profile. */
let askedIn = null;
let trouble = "";
let asking = false;

/** {list, trouble}: the profiles there are, or null until they have come. */
export function profiles() {
  if (askedIn !== state.unit && !asking && !trouble) {
    asking = true;
    const unit = state.unit;
    get(`/api/profiles?units=${unit}`).then((found) => { list = found; askedIn = unit; }, (refused) => { trouble = refused.message; }).finally(() => {
      asking = false;
      know({});
    });
  }
  return { list, trouble };
}

export function forget() {
  list = null;
  askedIn = null;
  trouble = "";
}

const place = (name) => `/api/profiles/${encodeURIComponent(name)}`;

/** One profile: {toml, own, ...}. */
export const stored = (name) => get(`${place(name)}?units=${state.unit}`);

/** Save a text; gives the way back. */
export async function save(name, toml) {
  const { before } = await ask("PUT", `${place(name)}?units=${state.unit}`, { toml });
  forget();
  return before === null
    ? { words: `${name} is gone again`, go: () => remove(name) }
    : { words: `${name} is as it was`, go: () => save(name, before) };
}

/** Take one's own away; gives the way back. */
export async function remove(name) {
  const { before } = await ask("DELETE", place(name));
  forget();
  return before === null ? null : { words: `${name} is back`, go: () => save(name, before) };
}

/** What a text is going to do in a chamber, with the way that the beer is foreseen to take. */
export const foretell = (toml, chamber) => ask("POST", `${chamberPlace(chamber, "preview")}?units=${state.unit}`, { toml });

/** All that is wrong with a text, beside its fields, and what it is going to do in a chamber. */
export const check = (toml, chamber, unit = state.unit) => ask("POST", `/api/profiles/check?units=${unit}`, { toml, ...(chamber ? { chamber } : {}) });
