// What the first number does not wait for: fetched once it is on the screen, or when it is asked for.

import { know } from "./store.js";

const waiting = [];

/** A function of a module that is fetched when it is called, or before, when there is nothing to do. */
export function later(load, name) {
  waiting.push(load);
  return (...given) => load().then(
    (module) => module[name](...given),
    () => know({ said: { words: "Not done: no connection to fermd: nothing was changed", bad: true } }),
  );
}

/** Fetch all of them now that there is time, so that they are there when the connection is not. */
export function fetchTheRest() {
  const idle = window.requestIdleCallback ?? ((then) => setTimeout(then, 200));
  for (const load of waiting.splice(0)) idle(() => load().catch(() => undefined));
}
