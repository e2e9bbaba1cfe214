// A probe calibrated in ice water, step by step, with what it reads meanwhile.

import { h } from "../base/dom.js";
import { ask, order } from "../base/api.js";
import { deeds, draft, openSheet, send } from "../base/sheet.js";
import { state } from "../base/store.js";
import { byWhom, doAtOnce } from "../parts/said.js";
import { probes } from "../parts/probe_list.js";
import { difference, sentence, temp } from "../base/words.js";

export function calibrate(chamber, name) {
  openSheet(`Calibrate ${name}`, (typed) => draw(chamber, name, typed), { ready: false });
}

function draw(chamber, name, typed) {
  const probe = probes().list?.find((one) => one.chamber === chamber && one.probe === name);
  const seen = state.status.chambers[chamber];
  const goesByIt = !(name in seen.watching);
  if (goesByIt && seen.mode !== "off") {
    return [
      h("p", null, `The chamber ${chamber} goes by this probe: in ice water it would tell that the beer is at ${temp(0, 0)}, and the heat would run.`),
      h("div", { class: "beware" }, h("p", null, h("strong", null, "Beware. "), "Switched off, nothing heats or cools the beer until you set a target or resume the profile.")),
      deeds(`Switch ${chamber} off`, () => doAtOnce(() => order(chamber, "switch-off"), `${chamber}: switched off for the calibration of ${name}`), { danger: true, key: "off" }),
    ];
  }
  return [
    h("ol", { class: "guide" },
      h("li", null, "Fill a jug with crushed ice, add just so much water that you can stir."),
      h("li", null, "Put the probe in the middle, not on the glass; stir."),
      h("li", null, "Wait ten minutes, stir again, and watch the reading stand still.")),
    h("p", { class: "reading", role: "status" }, `${name} reads `, h("b", null, probe ? sentence(probe.words) : "…")),
    h("label", { class: "tick" }, h("input", { type: "checkbox", checked: typed.ready, onchange: (event) => draft({ ready: event.target.checked }) }), h("span", null, "It is in stirred ice water, and stands still")),
    h("p", { class: "hint" }, `The last readings are taken to be ${temp(0, 0)}; the offset goes into the site file and counts from the next reading on.`),
    deeds("Calibrate it", () => set(chamber, name), { disabled: !typed.ready || !probe?.trusted }),
  ];
}

const place = (name) => `/api/probes/${encodeURIComponent(name)}/calibrate?units=${state.unit}`;

async function set(chamber, name) {
  let words = "";
  await send(async () => {
    const found = await ask("POST", place(name), { reference_c: 0 });
    words = `${name}: read ${difference(found.read_c, 2)} off in ice water; its offset is now ${difference(found.offset_c, 2)}`;
    return { words: found.undo.words, go: () => ask("POST", place(name), { offset_c: found.undo.offset_c }) };
  }, () => `${words}${byWhom()}${state.status.chambers[chamber].mode === "off" ? `. ${chamber} is still switched off` : ""}`);
}
