// A note for the record: gravity, tasting, dry hop, anything; with its time.

import { h } from "../base/dom.js";
import { ask, chamberPlace, who } from "../base/api.js";
import { choice, field, typedNumber } from "../base/fields.js";
import { siteNow } from "../base/live.js";
import { state } from "../base/store.js";
import { deeds, draft, openSheet, send } from "../base/sheet.js";
import { byWhom } from "../parts/said.js";
import { localField } from "../base/words.js";

const KINDS = [["gravity", "Gravity"], ["tasting", "Tasting"], ["dry-hop", "Dry hop"], ["other", "Anything else"]];
const PLACES = { tasting: "butter gone, a little sulphur", "dry-hop": "60 g Saaz, in a bag", other: "airlock quiet" };

export function addNote(name) {
  openSheet("Add a note", (typed) => draw(name, typed), { kind: "gravity", text: "", gravity: "", scale: "SG", at: "" });
}

function draw(name, typed) {
  const gravity = typed.kind === "gravity";
  const ready = gravity ? gravityFits(typed) : typed.text.trim() !== "";
  return [
    choice("kind", "What about", KINDS, typed.kind, (kind) => draft({ kind })),
    gravity && h("div", { class: "pair" },
      field("gravity", "Reading", { type: "text", inputmode: "decimal", value: typed.gravity, autocomplete: "off", placeholder: typed.scale === "SG" ? "1.012" : "3.1", oninput: (event) => draft({ gravity: event.target.value }) },
        { fault: typed.gravity && !ready ? (typed.scale === "SG" ? "a specific gravity: 0.980 to 1.200" : "degrees Plato: −5 to 45") : "" }),
      choice("scale", "Scale", [["SG", "SG"], ["°P", "°P"]], typed.scale, (scale) => draft({ scale }))),
    field("text", gravity ? "And (if you like)" : "Note", { rows: 3, value: typed.text, maxlength: 3900, placeholder: PLACES[typed.kind], oninput: (event) => draft({ text: event.target.value }) }),
    field("at", "When", { type: "datetime-local", value: typed.at, max: localField(siteNow()), oninput: (event) => draft({ at: event.target.value }) },
      { hint: `Left empty: now. By the clock of the site (${state.status.time_zone}).` }),
    deeds("Note it", () => send(() => write(name, typed), `${name}: ${words(typed)}, noted${byWhom()}`), { disabled: !ready }),
  ];
}

const gravityFits = ({ gravity, scale }) => {
  const value = typedNumber(gravity);
  return scale === "SG" ? value >= 0.98 && value <= 1.2 : value >= -5 && value <= 45;
};

function words({ kind, gravity, scale, text }) {
  const also = text.trim();
  if (kind === "gravity") return `gravity ${scale === "SG" ? typedNumber(gravity).toFixed(3) : `${typedNumber(gravity)} °P`}${also && `, ${also}`}`;
  return kind === "other" ? also : `${kind.replace("-", " ")}, ${also}`;
}

/** Put the note on record; gives the way back. */
async function write(name, typed) {
  const place = chamberPlace(name, "notes");
  const value = typed.kind === "gravity" ? typedNumber(typed.gravity) : undefined;
  await ask("POST", place, {
    kind: typed.kind, text: typed.text.trim(), ...(value === undefined ? {} : { value }),
    ...(typed.at ? { at: typed.at.replace("T", " ") } : {}), ...who(),
  });
  return { words: "the note is taken back", go: () => ask("DELETE", `${place}/last`) };
}
