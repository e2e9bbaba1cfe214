// What a profile is going to do: its curve, its steps with their times, and what to beware of.

import { h } from "../base/dom.js";
import { sign } from "../base/signs.js";
import { dayAndClock, fixed, sentence, shownTemp, span, temp, unitSign, day } from "../base/words.js";
import { kindWords } from "../parts/kinds.js";

/** A plan as the daemon lays it out, as what is drawn here. */
export function planOf(found) {
  const corners = found.steps.flatMap((step) => step.target);
  return {
    name: found.profile,
    start_utc_s: found.start_utc_s,
    lasts_s: found.lasts_s,
    is_sure: found.lasts_is_sure,
    target: corners.map(({ utc_s, heat_c, cool_c }) => [utc_s, heat_c, cool_c]),
    beer: found.beer ?? [],
    steps: found.steps.map((step) => ({ ...step, to_c: step.target.at(-1)?.cool_c })),
    cautions: [...found.cautions.map((one) => one.text), ...found.clock_changes.map((one) => one.text)],
    assumed: found.assumed,
  };
}

const [HEIGHT, LEFT, BOTTOM, TOP] = [240, 44, 26, 24];
/** Drawn narrower for a phone, so that its figures are not made small. */
const drawnWidth = () => (innerWidth < 700 ? 340 : 600);

/** The target's line and the foreseen beer: `target` [[utc_s, heat_c, cool_c]], `beer` [[utc_s, c]]. */
export function curve({ target, beer = [] }, words) {
  if (!target?.length) return null;
  const width = drawnWidth();
  const times = [...target, ...beer].map(([utc_s]) => utc_s);
  const temps = [...target.flatMap(([, heat_c, cool_c]) => [heat_c, cool_c]), ...beer.map(([, beer_c]) => beer_c)].map(shownTemp);
  const [from, to] = [Math.min(...times), Math.max(...times, Math.min(...times) + 3600)];
  const [low, high] = [Math.floor(Math.min(...temps) - 1), Math.ceil(Math.max(...temps) + 1)];
  const x = (utc_s) => LEFT + ((utc_s - from) / (to - from)) * (width - LEFT - 8);
  const y = (shown) => TOP + ((high - shown) / (high - low)) * (HEIGHT - TOP - BOTTOM);
  const path = (points) => points.map(([utc_s, temp_c], index) => `${index ? "L" : "M"}${x(utc_s).toFixed(1)} ${y(shownTemp(temp_c)).toFixed(1)}`).join("");
  const [heats, cools] = [target.map(([utc_s, heat_c]) => [utc_s, heat_c]), target.map(([utc_s, , cool_c]) => [utc_s, cool_c])];
  const every = [1, 2, 5, 10].find((one) => (high - low) / one <= 6) ?? 20;
  const marks = [];
  for (let at = Math.ceil(low / every) * every; at <= high; at += every) marks.push(at);
  const days = (to - from) / 86400;
  const step_s = 86400 * ([1, 2, 7, 14, 28].find((one) => days / one <= width / 120) ?? 60);
  const dates = [];
  for (let at = from; at <= to; at += step_s) dates.push(at);
  return h("svg", { class: "curve", viewBox: `0 0 ${width} ${HEIGHT}`, role: "img", "aria-label": words, key: "curve" },
    marks.map((at) => [h("path", { class: "grid", d: `M${LEFT} ${y(at)}H${width - 8}` }), h("text", { x: LEFT - 6, y: y(at) + 4, "text-anchor": "end" }, fixed(at, 0))]),
    h("text", { x: LEFT - 6, y: 11, "text-anchor": "end" }, unitSign()),
    dates.map((at, index) => h("text", { x: x(at), y: HEIGHT - 8, "text-anchor": !index ? "start" : x(at) > width - 50 ? "end" : "middle" }, days < 1.5 ? dayAndClock(at) : day(at))),
    h("path", { class: "aim-band", d: `${path(cools)}${path([...heats].reverse()).replace("M", "L")}Z` }),
    beer.length > 1 && h("path", { class: "foreseen", d: path(beer) }),
    h("path", { class: "aim", d: path(heats) }),
    h("path", { class: "aim", d: path(cools) }));
}

/** Which line is which; while the beer's is still being worked out, that. */
export const legend = ({ beer }, waits = false) => h("ul", { class: "legend", "aria-hidden": "true", key: "legend" },
  h("li", { class: "aim" }, "target"),
  beer.length > 1 ? h("li", { class: "foreseen" }, "beer, as foreseen") : waits && h("li", { class: "waits" }, "the beer's way is being worked out …"));

/** The steps with their times, and the cautions. */
export function steps(found) {
  return h("table", { key: "steps" },
    h("caption", { class: "hidden" }, "The steps and when they begin"),
    h("thead", null, h("tr", null, ["Begins", "Step", "To"].map((words) => h("th", { scope: "col" }, words)))),
    h("tbody", null, found.steps.map((step) => h("tr", { key: step.step },
      h("td", null, `${step.begins_is_sure ? "" : "~ "}${dayAndClock(step.begins_utc_s)}`),
      h("th", { scope: "row" }, `${step.step}. ${sentence(kindWords(step.kind))}`, step.name && step.name !== kindWords(step.kind) && ` (${step.name})`,
        step.ends_utc_s !== null && h("span", { class: "from" }, ` ${step.ends_is_sure ? "" : "~ "}${span(step.ends_utc_s - step.begins_utc_s)}`)),
      h("td", { class: "temp" }, temp(step.to_c))))));
}

/** What stands between grave accents is to be typed as it is. */
const marked = (words) => words.split("`").map((part, index) => (index % 2 ? h("code", null, part) : part));

export function cautions(found) {
  if (!found?.length) return null;
  return h("ul", { class: "cautions", "aria-label": "To beware of", key: "cautions" },
    found.map((words) => h("li", { key: words }, sign("warning"), h("span", null, marked(sentence(words.replace(/^step\[(\d+)\](?:\.\w+ = \S+)?: /, "step $1: ")))))));
}

/** What was taken for want of better. */
export const assumed = (found) => found?.length > 0 && h("p", { class: "hint" }, `Times with ~ are estimates. Taken for want of better: ${found.join("; ")}.`);

/** How long it takes, up to what has no end. */
export const lasts = (plan) => (plan.lasts_s > 0 ? `Takes ${plan.is_sure ? "" : "about "}${span(plan.lasts_s)}, up to what has no end.` : "It has no end.");
