// Start a profile in a chamber: choose it, look at what it is going to do, then start it now or at
// a time.

import { h } from "../base/dom.js";
import { ask, chamberPlace } from "../base/api.js";
import { choice, field } from "../base/fields.js";
import { siteNow } from "../base/live.js";
import { mayAct } from "../base/sheet.js";
import { know, state } from "../base/store.js";
import { localField } from "../base/words.js";
import { startAt, startNow } from "../acts/start_profile.js";
import { assumed, cautions, curve, lasts, legend, planOf, steps } from "../profile/ahead.js";
import { profiles, stored } from "../profile/stored.js";

const chosen = {}; // by chamber: {name, toml, how, at, preview, trouble, sure, busy}

const of = (chamber) => (chosen[chamber] ??= { name: null, toml: null, how: "now", at: "", preview: null, trouble: "", sure: false, asked: 0 });

export function view(chamber) {
  const seen = state.status.chambers[chamber];
  if (!seen) return h("p", { class: "empty" }, `There is no chamber ${chamber}.`);
  const mine = of(chamber);
  const { list, trouble } = profiles();
  return h("div", { class: "start", key: `start ${chamber}` },
    h("section", { "aria-labelledby": "choose-title", key: "choose" },
      h("h2", { id: "choose-title" }, "Which one"),
      trouble && h("p", { class: "trouble" }, trouble),
      list && choice("profile", "Profile", list.filter((one) => !one.faults.length).map((one) => [one.name, one.title]), mine.name, (name) => choose(chamber, name)),
      h("p", null, h("a", { href: "#/profiles" }, "Write or change one"))),
    mine.name && h("section", { "aria-labelledby": "ahead-title", class: "ahead", key: "ahead" },
      h("h2", { id: "ahead-title" }, "What it is going to do"),
      choice("when", "When", [["now", "Now"], ["at", "At a time"]], mine.how, (how) => again(chamber, { how, at: mine.at || localField(siteNow() + 86400) })),
      mine.how === "at" && field("at", "Start", { type: "datetime-local", value: mine.at, min: localField(siteNow()), onchange: (event) => again(chamber, { at: event.target.value }) },
        { hint: `By the clock of the site (${state.status.time_zone}).` }),
      mine.trouble && h("p", { class: "trouble", role: "alert" }, mine.trouble),
      mine.preview ? ahead(chamber, seen, mine) : !mine.trouble && h("p", { class: "empty drawing" }, "Looking ahead …")));
}

function ahead(chamber, seen, mine) {
  const { preview } = mine;
  return [
    curve(preview, `The target of ${preview.name} over time, and the way that the beer is foreseen to take; the steps are listed below.`),
    legend(preview),
    h("p", null, lasts(preview)),
    cautions(preview.cautions),
    steps(preview),
    assumed(preview.assumed),
    mayAct() && seen.profile && h("div", { class: "beware" },
      h("p", null, h("strong", null, "Beware. "), `${seen.profile.name} is under way here, at step ${seen.profile.step} of ${seen.profile.steps}. It ends when this one starts, and cannot be resumed.`),
      h("label", { class: "tick" }, h("input", { type: "checkbox", checked: mine.sure, onchange: (event) => set(mine, { sure: event.target.checked }) }), h("span", null, "Start it in its place"))),
    mayAct() && h("button", { type: "button", class: seen.profile ? "do danger" : "do", disabled: mine.busy || (seen.profile !== null && !mine.sure), onclick: () => start(chamber, mine) },
      mine.how === "now" ? "Start it now" : "Start it then"),
  ];
}

function set(mine, change) {
  Object.assign(mine, change);
  know({});
}

async function choose(chamber, name) {
  const mine = of(chamber);
  set(mine, { name, toml: null, preview: null, trouble: "", sure: false });
  try {
    const { toml } = await stored(name);
    if (mine.name === name) again(chamber, { toml });
  } catch (refused) {
    set(mine, { trouble: refused.message });
  }
}

/** Look ahead again after something was changed. */
async function again(chamber, change) {
  const mine = of(chamber);
  mine.asked += 1;
  const number = mine.asked;
  set(mine, { ...change, trouble: "", preview: null });
  if (mine.toml === null || (mine.how === "at" && !mine.at)) return;
  try {
    const at = mine.how === "at" ? { at: mine.at.replace("T", " ") } : {};
    const preview = await ask("POST", `${chamberPlace(chamber, "preview")}?units=${state.unit}`, { profile: mine.name, ...at });
    if (number === mine.asked) set(mine, { preview: planOf(preview) });
  } catch (refused) {
    if (number === mine.asked) set(mine, { trouble: refused.message });
  }
}

async function start(chamber, mine) {
  const title = mine.preview.name;
  set(mine, { busy: true });
  if (mine.how === "now") await startNow(chamber, title, mine.toml);
  else await startAt(chamber, title, mine.toml, mine.at, mine.preview.start_utc_s);
  mine.busy = false;
  if (!state.said?.bad) {
    delete chosen[chamber];
    location.hash = `#/chambers/${encodeURIComponent(chamber)}`;
  } else know({});
}
