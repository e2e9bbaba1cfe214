// Logged out: what there is to say is asked for, and nothing is shown that is not known.

import { h } from "../base/dom.js";
import { ask } from "../base/api.js";
import { field } from "../base/fields.js";
import { reopen } from "../base/live.js";
import { keep, know, state } from "../base/store.js";

const typed = { who: "", password: "", trouble: "", busy: false };

export function login() {
  return h("section", { class: "login", "aria-labelledby": "login-title", key: "login" },
    h("h2", { id: "login-title" }, "Log in"),
    h("p", null, "fermd goes on with its work; to see it and to step in, give the site's password."),
    h("form", { onsubmit: enter },
      field("who", "Your name, for the journal", { type: "text", autocomplete: "username", value: state.who, maxlength: 60, required: true, oninput: (event) => { typed.who = event.target.value; } }),
      field("password", "Password", { type: "password", autocomplete: "current-password", value: "", required: true, oninput: (event) => { typed.password = event.target.value; } }, { fault: typed.trouble }),
      h("button", { type: "submit", key: "enter", class: "do", disabled: typed.busy }, typed.busy ? "Looking …" : "Log in")),
    h("p", { class: "hint" }, "On the board itself, ", h("code", null, "fermd status"), " needs no password."));
}

async function enter(event) {
  event.preventDefault();
  Object.assign(typed, { busy: true, trouble: "" });
  know({});
  try {
    const who = (typed.who || state.who).trim();
    const session = await ask("POST", "/api/session", { password: typed.password, who });
    typed.password = "";
    keep({ session, who });
    reopen();
  } catch (refused) {
    typed.trouble = refused.message;
  } finally {
    typed.busy = false;
    know({});
  }
}
