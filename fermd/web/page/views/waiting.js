// Before there is a status: connecting, the loop has not gone round yet, or nobody answers.

import { h } from "../base/dom.js";
import { state } from "../base/store.js";
import { sign } from "../base/signs.js";

export function waiting() {
  const { connection, refused } = state;
  if (connection === "lost") {
    return say("unknown", "No connection", "fermd does not answer. It may be restarting, the board may be off, or this phone may be out of reach. This page tries again every few seconds.");
  }
  if (refused) return say("unknown", "fermd is starting", `It answers, but ${refused}. Relays are off until the probes can be trusted.`);
  return say("unknown", "Connecting", "Asking fermd how things stand.");
}

const say = (shape, word, words) =>
  h("section", { class: "verdict unknown", key: "waiting" }, h("p", { class: "word", role: "status" }, sign(shape), h("strong", null, word)), h("p", { class: "why" }, words));
