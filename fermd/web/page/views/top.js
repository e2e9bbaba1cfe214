// The line at the top: where you are, and whether what you see is live.

import { h } from "../base/dom.js";
import { age, isFresh } from "../base/live.js";
import { state } from "../base/store.js";
import { sign } from "../base/signs.js";
import { span } from "../base/words.js";
import { later } from "../base/later.js";

const openSettings = later(() => import("./settings.js"), "openSettings");

export function top(place) {
  return [
    place.back
      ? h("a", { class: "bare", href: place.back, "aria-label": place.backWords, key: "back" }, sign("back"))
      : null,
    h("h1", { key: "title" }, place.title),
    live(),
    h("button", { type: "button", class: "bare", "aria-label": "Settings of this page", key: "settings", onclick: openSettings }, sign("more")),
  ];
}

function live() {
  const [how, words] = connection();
  return h("p", { class: `live ${how}`, key: "live" }, h("span", { class: "dot", "aria-hidden": "true" }), h("span", { role: "status" }, words),
    h("span", { class: "age" }, ageWords()));
}

function connection() {
  if (state.session?.role === null) return ["lost", "logged out"];
  if (state.connection === "opening") return ["waiting", "connecting"];
  if (state.connection === "lost") return ["lost", "no connection"];
  if (!state.status) return ["waiting", "waiting"];
  return isFresh() ? ["fresh", "live"] : ["lost", "stands still"];
}

const ageWords = () => (state.status ? `${span(age())} old` : "");
