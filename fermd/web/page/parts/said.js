// What was done last, by whom, and the way back where there is one. Stays until it is put away.

import { h } from "../base/dom.js";
import { know, state } from "../base/store.js";
import { sign } from "../base/signs.js";

/** " by anna", as the journal has it. */
export const byWhom = () => {
  const name = state.session?.who ?? state.who;
  return name ? ` by ${name}` : "";
};

export function said() {
  const done = state.said;
  return h("div", { class: done ? "said" : "said none", role: "status", key: "said" }, done && [
    h("p", { class: done.bad ? "bad" : "" }, done.words),
    done.undo && h("button", { type: "button", title: done.undo.words, onclick: () => undo(done) }, "Undo"),
    h("button", { type: "button", class: "bare", "aria-label": "Put this away", onclick: () => know({ said: null }) }, sign("close")),
  ]);
}

async function undo({ undo: back }) {
  know({ said: { words: "Undoing …" } });
  try {
    await back.go();
    know({ said: { words: `Undone: ${back.words}${byWhom()}` } });
  } catch (refused) {
    know({ said: { words: `Not undone: ${refused.message}`, bad: true } });
  }
}

/** Do something at once, without a sheet, and say what came of it. */
export async function doAtOnce(doing, words) {
  try {
    const undo = await doing();
    know({ said: { words: `${words}${byWhom()}`, undo } });
  } catch (refused) {
    know({ said: { words: `Not done: ${refused.message}`, bad: true } });
  }
}
