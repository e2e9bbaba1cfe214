// A sheet: what opens over the page to ask something. One at a time, closed by Escape.
//
// A sheet is a function that gives its contents; it is painted anew with everything else, and
// remembers what is typed in the object that it was opened with.

import { h, paint } from "./dom.js";
import { know, state, watch } from "./store.js";
import { sign } from "./signs.js";

let open = null; // {title, draw, draft, sends}
let before = null; // what had the focus
const holder = () => document.getElementById("sheet");

export function openSheet(title, draw, draft = {}) {
  if (!open) before = document.activeElement;
  open = { title, draw, draft, trouble: "", busy: false };
  paintSheet();
  const dialog = holder();
  if (!dialog.open) dialog.showModal();
  dialog.scrollTop = 0;
  (dialog.querySelector("[data-first]") ?? dialog.querySelector("h2"))?.focus();
}

export function closeSheet() {
  open = null;
  holder().close();
  paint(holder());
  if (before?.isConnected) before.focus();
}

/** Remember something that was chosen or typed in the open sheet, and show what follows from it. */
export function draft(change) {
  if (!open) return;
  Object.assign(open.draft, change);
  open.trouble = "";
  paintSheet();
}

export const isOpen = () => open !== null;

/**
 * Send what the sheet is for. Closes it and says what happened, with the way back if `doing` gives
 * one; what was refused stays on the sheet.
 */
export async function send(doing, words) {
  if (!open || open.busy) return;
  const mine = open;
  mine.busy = true;
  mine.trouble = "";
  paintSheet();
  try {
    const undo = await doing();
    if (open === mine) closeSheet();
    know({ said: { words: typeof words === "function" ? words() : words, undo: undo?.go ? undo : null } });
  } catch (refused) {
    mine.trouble = refused.message;
  } finally {
    mine.busy = false;
    if (open === mine) paintSheet();
  }
}

/** The buttons at the end of a sheet: what it does, and away with it. */
export function deeds(label, doing, { danger = false, disabled = false, key = "deeds" } = {}) {
  return h(
    "div",
    { class: "deeds", key },
    h("button", { type: "button", key: "do", class: danger ? "do danger" : "do", onclick: doing, disabled: disabled || open?.busy || false }, open?.busy ? "Sending …" : label),
    h("button", { type: "button", key: "leave", class: "quiet", onclick: closeSheet }, "Leave it"),
  );
}

function paintSheet() {
  if (!open) return;
  paint(
    holder(),
    h("div", { class: "sheet-head", key: "head" },
      h("h2", { id: "sheet-title", tabindex: "-1" }, open.title),
      h("button", { type: "button", class: "bare", "aria-label": "Close", onclick: closeSheet }, sign("close"))),
    h("div", { class: "sheet-body", key: open.title }, open.draw(open.draft)),
    h("p", { class: "trouble", role: "alert", key: "trouble" }, open.trouble),
  );
}

export function beginSheets() {
  holder().addEventListener("close", () => open && closeSheet());
  watch(paintSheet);
}

/** Whether the brewer may do something here; guests look only. */
export const mayAct = () => ["brewer", "local"].includes(state.session?.role);
