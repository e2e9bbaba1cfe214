// The stream of what is so, and how old it is. An old number is never shown as if it were now.

import { ask } from "./api.js";
import { know, state } from "./store.js";

const USUAL_PERIOD_S = 10;
const OLD_PERIODS = 4; // so many rounds of control missed: what is shown is old
const LEAST_OLD_MS = 10_000; // a trial may go round faster than the stream tells
const SILENT_MS = 25_000; // neither a status nor a beat: the stream is dead, whatever it says
const RETRY_MS = 3_000;

let stream = null;
let heardAt = 0;

/** Both clocks: a phone that slept has not counted with the first one. */
const wallAtStart = Date.now() - performance.now();
export const pageNow = () => Math.max(performance.now(), Date.now() - wallAtStart);

export function begin() {
  open();
  setInterval(lookAfter, 1_000);
  document.addEventListener("visibilitychange", () => document.hidden || lookAfter());
  addEventListener("online", reopen);
  addEventListener("offline", () => know({ connection: "lost" }));
}

export function reopen() {
  stream?.close();
  open();
}

function open() {
  heardAt = pageNow();
  stream = new EventSource(`/api/live?units=${state.unit}`);
  stream.addEventListener("open", () => heard());
  stream.addEventListener("status", (event) => take(JSON.parse(event.data)));
  stream.addEventListener("beat", () => heard());
  stream.addEventListener("error", failed);
}

function heard() {
  heardAt = pageNow();
  if (state.connection !== "open") know({ connection: "open" });
}

export function take(status) {
  const now = pageNow();
  heardAt = now;
  const isNew = status.tick !== state.status?.tick || status.up_s < state.status?.up_s;
  know({ status, heardAt: now, tickAt: isNew ? now : state.tickAt, connection: "open", refused: null });
}

async function failed() {
  if (state.connection !== "lost") know({ connection: "lost" });
  // A stream that was refused is not tried again by the browser; find out why.
  if (stream.readyState !== EventSource.CLOSED) return;
  const closed = stream;
  try {
    take(await ask("GET", `/api/status?units=${state.unit}`));
  } catch (refused) {
    know({ refused: refused.message, connection: refused.status ? "open" : "lost" });
    if (refused.status === 401) return;
  }
  setTimeout(() => stream === closed && open(), RETRY_MS);
}

function oldMs() {
  const { sample_period_s, times_real_time } = state.status;
  return Math.max(LEAST_OLD_MS, ((sample_period_s ?? USUAL_PERIOD_S) * OLD_PERIODS * 1000) / (times_real_time ?? 1));
}

function lookAfter() {
  if (state.session?.role === null && !state.status) return;
  if (stream && pageNow() - heardAt > SILENT_MS && stream.readyState !== EventSource.CLOSED) {
    know({ connection: "lost" });
    reopen();
  }
  know({}); // ages and count-downs
}

/** How many seconds have passed for the site since the status came; a trial's run faster. */
export const since = () => ((pageNow() - state.heardAt) / 1000) * (state.status?.times_real_time ?? 1);

/** How old the newest readings are on the watch of whoever looks, s: a trial's own time runs faster. */
export const age = () => (since() + Math.max(0, state.status.age_s)) / (state.status.times_real_time ?? 1);

/** Whether the numbers may be shown as the present. */
export function isFresh() {
  return state.connection === "open" && state.status !== null && pageNow() - state.tickAt < oldMs();
}

/** The site's wall clock, s, as well as the page knows it. */
export const siteNow = () => (state.status ? state.status.wall_utc_s + (isFresh() ? since() : 0) : Date.now() / 1000);
