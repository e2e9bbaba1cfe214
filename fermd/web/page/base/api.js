// Questions and orders to the daemon. What it refuses comes back as `Refused` with its own words.

import { know, state } from "./store.js";

export class Refused extends Error {
  constructor(status, body) {
    super(body?.why ?? `the daemon answered with ${status}`);
    this.status = status;
    this.body = body;
  }
}

export async function ask(method, place, body) {
  const headers = {};
  if (body !== undefined) headers["Content-Type"] = "application/json";
  if (method !== "GET" && state.session?.csrf) headers["X-CSRF-Token"] = state.session.csrf;
  let answer;
  try {
    answer = await fetch(place, { method, headers, body: body === undefined ? undefined : JSON.stringify(body) });
  } catch {
    throw new Refused(0, { why: method === "GET" ? "no connection to fermd" : "no connection to fermd: nothing was changed" });
  }
  const text = await answer.text();
  let told = null;
  try {
    told = text ? JSON.parse(text) : null;
  } catch {
    told = { why: `the daemon answered with ${answer.status} ${answer.statusText}` };
  }
  if (answer.status === 401) know({ session: { role: null } });
  if (!answer.ok) throw new Refused(answer.status, told);
  return told;
}

export const get = (place) => ask("GET", place);

const chamberPlace = (chamber, what) => `/api/chambers/${encodeURIComponent(chamber)}/${what}`;

export { chamberPlace };

/**
 * Order something of a chamber ("" for the site), in the brewer's name. Gives the way back, as the
 * daemon knows it: {words, go}, or null.
 */
export async function order(chamber, command, fields = {}) {
  const place = chamber ? chamberPlace(chamber, "commands") : "/api/site/commands";
  const { undo } = await ask("POST", `${place}?units=${state.unit}`, { command, ...fields, ...who() });
  if (!undo) return null;
  const { command: back, ...rest } = undo.command;
  return { words: undo.words, go: () => order(chamber, back, rest) };
}

/** Who is asking, for the journal; over the network the session knows better. */
export function who() {
  return state.who && !state.session?.who ? { who: state.who } : {};
}
