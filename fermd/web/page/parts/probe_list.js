// Every probe with its health, asked for again every few seconds while somebody looks.

import { get } from "../base/api.js";
import { pageNow } from "../base/live.js";
import { know, state } from "../base/store.js";

const AGAIN_MS = 5_000;
let list = null;
let trouble = "";
let askedAt = -Infinity;

/** {list, trouble}; the list is null until it has come. */
export function probes() {
  if (pageNow() - askedAt > AGAIN_MS) {
    askedAt = pageNow();
    get(`/api/probes?units=${state.unit}`).then(
      (found) => { list = found; trouble = ""; know({}); },
      (refused) => { trouble = refused.message; know({}); },
    );
  }
  return { list, trouble };
}
