// The profiles of this site.

import { h } from "../base/dom.js";
import { mayAct } from "../base/sheet.js";
import { profiles } from "../profile/stored.js";

export function view() {
  const { list, trouble } = profiles();
  return [
    h("p", { key: "lead" }, "A profile leads the beer through its batch: holds, ramps, rests, a crash. Start one from its chamber; here they are written and changed."),
    mayAct() && h("p", { key: "new" }, h("a", { class: "button do", href: "#/profiles/+" }, "Write a new one")),
    trouble && h("p", { class: "trouble", key: "trouble" }, trouble),
    list && list.length === 0 && h("p", { class: "empty", key: "none" }, "There is no profile yet."),
    list && h("ul", { class: "profiles", key: "list" }, list.map((one) => h("li", { key: one.name },
      h("h2", null, one.title),
      h("p", null, one.description, one.own ? " Your own." : "", one.faults.length ? h("span", { class: "fault" }, ` ${one.faults.length} things in it are not right.`) : ""),
      h("div", { class: "ways" }, h("a", { class: "button", href: `#/profiles/${encodeURIComponent(one.name)}` }, mayAct() ? "Look and change" : "Look",
        h("span", { class: "hidden" }, `: ${one.title}`)))))),
  ];
}
