// The one place for what the page knows at present. Whoever changes it says so, and it is shown.

import { whenFree } from "./press.js";

const KEPT = "fermd";

/** Kept on this phone only: the scale, and the name that goes into the journal. */
function kept() {
  try {
    return JSON.parse(localStorage.getItem(KEPT)) ?? {};
  } catch {
    return {};
  }
}

export const state = {
  status: null, // the newest status of the site, as it came
  heardAt: 0, // when it came (page's own clock, ms)
  tickAt: 0, // when a tick was first heard of that had not been seen before
  connection: "opening", // opening, open, lost
  session: null, // {role, csrf, ...} once asked; null before
  refused: null, // why there is no status yet, in the daemon's words
  said: null, // what was done last: {words, undo}
  forecasts: {}, // by chamber
  unit: kept().unit ?? "C",
  unitChosen: kept().unit !== undefined, // else it is the site's
  who: kept().who ?? "",
};

const watchers = new Set();
let due = false;

export function watch(watcher) {
  watchers.add(watcher);
}

/** Change what is known, and have it shown before the next frame. */
export function know(change) {
  Object.assign(state, change);
  if (due) return;
  due = true;
  queueMicrotask(() => {
    due = false;
    whenFree(() => { for (const watcher of watchers) watcher(); });
  });
}

export function keep(change) {
  know(change);
  try {
    localStorage.setItem(KEPT, JSON.stringify({ unit: state.unitChosen ? state.unit : undefined, who: state.who }));
  } catch {
    // A browser that keeps nothing asks again next time.
  }
}
