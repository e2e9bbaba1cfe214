// Where the page begins: asks who is looking, opens the stream, and shows the view of the address.

import { get } from "./base/api.js";
import { paint } from "./base/dom.js";
import { fetchTheRest } from "./base/later.js";
import { begin, isFresh, reopen } from "./base/live.js";
import { beginPressing } from "./base/press.js";
import { beginSheets } from "./base/sheet.js";
import { know, state, watch } from "./base/store.js";
import { said } from "./parts/said.js";
import { chamber, deck } from "./views/chamber.js";
import { login } from "./views/login.js";
import { site } from "./views/site.js";
import { top } from "./views/top.js";
import { waiting } from "./views/waiting.js";

const LATER = {
  // Views that the first number does not wait for.
  start: () => import("./views/start_profile.js"),
  profiles: () => import("./views/profiles.js"),
  profile: () => import("./views/editor.js"),
  record: () => import("./views/record.js"),
  probes: () => import("./views/probes.js"),
};
const loaded = {};

function later(name, ...args) {
  if (loaded[name]) return loaded[name].view(...args);
  LATER[name]().then((module) => {
    loaded[name] = module;
    know({});
  });
  return null;
}

/** What the address asks for: {title, back, view, deck}. */
function place() {
  const [room, name, what] = location.hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent);
  const chambers = Object.keys(state.status?.chambers ?? {});
  const home = { back: "#/", backWords: "All chambers" };
  if (room === "chambers" && what === "start") {
    return { title: `${name}: start`, back: `#/chambers/${encodeURIComponent(name)}`, backWords: `Chamber ${name}`, view: () => later("start", name) };
  }
  if (room === "chambers") return { title: name, ...(chambers.length > 1 ? home : {}), view: () => chamber(name), deck: () => deck(name) };
  if (room === "profiles" && name) return { title: "Profile", back: "#/profiles", backWords: "All profiles", view: () => later("profile", name) };
  if (room === "profiles") return { title: "Profiles", ...home, view: () => later("profiles") };
  if (room === "record") return { title: "Record", ...home, view: () => later("record", name) };
  if (room === "probes") return { title: "Probes", ...home, view: () => later("probes") };
  if (chambers.length === 1) return { title: chambers[0], view: () => chamber(chambers[0]), deck: () => deck(chambers[0]) };
  return { title: "fermd", view: site };
}

const element = (id) => document.getElementById(id);

function show() {
  const here = place();
  const loggedOut = state.session?.role === null;
  const ready = state.status !== null && !loggedOut;
  document.title = ready && here.title !== "fermd" ? `${here.title} · fermd` : "fermd";
  document.body.classList.toggle("old", ready && !isFresh());
  paint(element("top"), top(ready ? here : { title: "fermd" }));
  paint(element("page"), loggedOut ? login() : ready ? [said(), here.view()] : waiting());
  paint(element("deck"), ready && here.deck ? here.deck() : null);
  if (ready) fetchTheRest();
}

addEventListener("hashchange", () => {
  show();
  scrollTo(0, 0);
  element("page").focus({ preventScroll: true });
});

watch(show);
beginPressing();
beginSheets();
begin();
show();
get("/api/session").then(
  (session) => {
    const unit = state.unitChosen ? state.unit : session.units;
    const other = unit !== state.unit;
    know({ session, unit });
    if (other) reopen();
  },
  () => undefined, // the stream tells whether there is a connection
);
