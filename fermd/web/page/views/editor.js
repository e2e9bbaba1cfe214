// Write a profile: a form over its text, with what it is going to do beside it. Only what the check
// accepts is saved; what is wrong stands beside its field.

import { h } from "../base/dom.js";
import { field, tick } from "../base/fields.js";
import { mayAct, openSheet, deeds, send } from "../base/sheet.js";
import { know, state } from "../base/store.js";
import { assumed, cautions, curve, lasts, legend, planOf, steps as stepTable } from "../profile/ahead.js";
import { faultOf, lineOf } from "../profile/fault_words.js";
import { stepForm } from "../profile/step_form.js";
import { check, foretell, remove, save, stored } from "../profile/stored.js";
import { NEW, quoted, read, shown, withKey, withStepAfter } from "../profile/text.js";

const REST_MS = 350;
const drafts = {}; // by name; "+" is a new one

function of(name) {
  if (!drafts[name]) {
    drafts[name] = { name, toml: null, fileName: name === "+" ? "" : name, isShipped: false, found: null, trouble: "", asText: false, unit: state.unit, typed: {}, timer: 0, asked: 0, foretelling: false, chamber: Object.keys(state.status.chambers)[0] ?? "" };
    if (name === "+") change(drafts[name], NEW);
    else open(drafts[name]).then((toml) => change(drafts[name], toml), (refused) => { drafts[name].trouble = refused.message; know({}); });
  }
  return drafts[name];
}

/** Fetch the text; what comes with fermd is only ever saved under a name of one's own. */
async function open(draft) {
  const { toml, own } = await stored(draft.name);
  if (!own) Object.assign(draft, { isShipped: true, fileName: `my-${draft.name}` });
  return toml;
}

/** The text has become another: show it, and have it checked once the typing rests. */
function change(draft, toml) {
  draft.toml = toml;
  draft.trouble = "";
  clearTimeout(draft.timer);
  if (mayAct()) draft.timer = setTimeout(() => look(draft), draft.found ? REST_MS : 0);
  know({});
}

async function look(draft) {
  draft.asked += 1;
  const [number, toml] = [draft.asked, draft.toml];
  try {
    let found = await check(toml, draft.chamber);
    // Beside the text, which has °C, its faults are told in °C.
    if (found.faults.length && draft.asText && state.unit !== "C") found = await check(toml, draft.chamber, "C");
    if (number === draft.asked) {
      draft.sound = found.plan ? toml : null;
      draft.found = { faults: found.faults, preview: found.plan && planOf(found.plan) };
      if (found.plan) lookFurther(draft);
    }
  } catch (refused) {
    if (number === draft.asked) draft.found = { faults: [{ key: "", why: refused.message }] };
  }
  know({});
}

/** Have the way of the beer foreseen for what was last found sound; one question at a time. */
async function lookFurther(draft) {
  if (draft.foretelling || !draft.chamber || !draft.sound) return;
  draft.foretelling = true;
  const toml = draft.sound;
  try {
    const found = await foretell(toml, draft.chamber);
    if (toml === draft.sound && draft.found?.preview) draft.found = { faults: [], preview: planOf(found) };
  } catch {
    // The target's line is there; what is wrong the check says.
  }
  draft.foretelling = false;
  if (toml !== draft.sound) lookFurther(draft);
  know({});
}

export function view(name) {
  const draft = of(name);
  if (draft.toml === null) return h("p", { class: draft.trouble ? "trouble" : "empty drawing" }, draft.trouble || "Fetching it …");
  if (draft.unit !== state.unit) {
    draft.unit = state.unit;
    look(draft);
  }
  const faults = draft.found?.faults ?? [];
  return h("div", { class: "editor", key: `editor ${name}` },
    h("div", { key: "form" },
      tick("as-text", "Show it as TOML", draft.asText, (asText) => { draft.asText = asText; if (draft.found?.faults.length) look(draft); know({}); }),
      draft.asText ? asToml(draft, faults) : asForm(draft, faults),
      mayAct() && saving(draft, faults)),
    h("section", { class: "beside ahead", "aria-labelledby": "beside-title", key: "beside" },
      h("h2", { id: "beside-title" }, "What it is going to do"),
      chamberChoice(draft),
      beside(draft, faults)));
}

function chamberChoice(draft) {
  const names = Object.keys(state.status.chambers);
  if (names.length < 2) return null;
  return field("for-chamber", "In the chamber", { options: names.map((one) => [one, one]), value: draft.chamber, onchange: (event) => { draft.chamber = event.target.value; look(draft); } });
}

function beside(draft, faults) {
  const preview = draft.found?.preview;
  if (faults.length) return h("div", { role: "status" }, h("p", { class: "trouble" }, `${faults.length} ${faults.length === 1 ? "thing is" : "things are"} not right yet:`),
    h("ul", { class: "cautions" }, faults.map((fault) => h("li", null, draft.asText ? `${fault.line ? `line ${fault.line}, ` : ""}${fault.key || "profile"}: ${fault.why}` : lineOf(fault, draft.typed)))));
  if (!mayAct()) return h("p", { class: "empty" }, "Guests may look at profiles; to try a change, log in.");
  if (!preview) return h("p", { class: "empty drawing" }, "Looking ahead …");
  return [
    curve(preview, "The target of the beer over time, and the way that the beer is foreseen to take; the steps are listed below."),
    legend(preview, draft.foretelling),
    h("p", null, lasts(preview)),
    cautions(preview.cautions), stepTable(preview), assumed(preview.assumed),
  ];
}

function asForm(draft, faults) {
  const found = read(draft.toml);
  const head = (key, label, more) => field(`head-${key}`, label, { type: "text", value: shown(found, null, key), maxlength: 400, oninput: (event) => change(draft, withKey(draft.toml, null, key, quoted(event.target.value))), ...more }, { fault: faultOf(faults, key) });
  return h("div", { class: "steps-form", key: "form" },
    head("name", "Name"), head("description", "What it is for"),
    h("h2", null, "Steps"),
    h("p", { class: "hint" }, `${state.unit === "F" ? "Temperatures are typed in °F here, and kept in °C, as the profile's file has them." : "Temperatures are °C, as in the profile's file."} Lengths: 14\u00a0d, 36\u00a0h, 1\u00a0d\u00a012\u00a0h, 90\u00a0min.`),
    h("ol", { class: "steps" }, found.steps.map((_, index) => stepForm(draft.toml, index, found.steps.length, faults, draft.typed, (toml) => change(draft, toml)))),
    h("p", null, h("button", { type: "button", onclick: () => change(draft, withStepAfter(draft.toml, found.steps.length - 1, [["kind", quoted("hold")], ["target_c", "18.0"], ["for", quoted("3 d")]])) }, "Add a step")));
}

const asToml = (draft, faults) =>
  field("toml", "Its text", { rows: 24, class: "toml", spellcheck: "false", autocapitalize: "off", value: draft.toml, oninput: (event) => change(draft, event.target.value) },
    { hint: state.unit === "F" ? "Temperatures in the text are °C." : "", fault: faults.map((one) => `${one.line ? `line ${one.line}: ` : ""}${one.key} ${one.why}`).join("; ") });

function saving(draft, faults) {
  const ready = draft.found !== null && faults.length === 0 && /^[a-z0-9][a-z0-9-]*$/.test(draft.fileName);
  return h("section", { "aria-labelledby": "save-title", key: "saving" },
    h("h2", { id: "save-title" }, "Save"),
    field("file-name", "Under the name", { type: "text", value: draft.fileName, maxlength: 60, autocapitalize: "off", oninput: (event) => { draft.fileName = event.target.value.trim(); know({}); } },
      { hint: draft.isShipped ? "What comes with fermd stays as it is: yours gets a name of its own." : "Small letters, digits and hyphens: my-pils.", fault: draft.fileName && !/^[a-z0-9][a-z0-9-]*$/.test(draft.fileName) ? "small letters, digits and hyphens only" : "" }),
    draft.trouble && h("p", { class: "trouble", role: "alert" }, draft.trouble),
    h("div", { class: "deeds" },
      h("button", { type: "button", class: "do", disabled: !ready, onclick: () => keep(draft) }, "Save it"),
      draft.name !== "+" && !draft.isShipped && h("button", { type: "button", class: "danger", onclick: () => away(draft) }, "Delete it")),
    !ready && faults.length > 0 && h("p", { class: "hint" }, "It can be saved once everything above is right."));
}

async function keep(draft) {
  try {
    const undo = await save(draft.fileName, draft.toml);
    delete drafts[draft.name];
    know({ said: { words: `The profile ${draft.fileName} is saved.`, undo } });
    location.hash = "#/profiles";
  } catch (refused) {
    draft.trouble = refused.message;
    if (refused.body?.faults?.length) draft.found = { faults: refused.body.faults };
    know({});
  }
}

function away(draft) {
  openSheet("Delete the profile", () => [
    h("p", null, `The profile ${draft.name} is deleted. A batch that runs with it goes on.`),
    deeds("Delete it", () => send(async () => {
      const undo = await remove(draft.name);
      delete drafts[draft.name];
      location.hash = "#/profiles";
      return undo;
    }, `The profile ${draft.name} is deleted.`), { danger: true }),
  ]);
}
