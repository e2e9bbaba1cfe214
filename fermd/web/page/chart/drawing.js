// One chart on the page: keeps uPlot's instance, its size and its window in time.

import { isFresh, siteNow } from "../base/live.js";
import { state } from "../base/store.js";
import { clock, date, day, fixed, parts, shownTemp } from "../base/words.js";
import { curvesOf, look, lookAt, wanted } from "./curves.js";
import { Gestures } from "./gestures.js";
import { paintOver, paintUnder } from "./layers.js";
import { colours } from "./palette.js";

const STRIPS_SHARE = 0.15; // of the height, from below

export class Drawing {
  constructor(node, chamber) {
    this.node = node;
    this.chamber = chamber;
    this.sizes = new ResizeObserver(() => this.fit());
    this.sizes.observe(node);
    this.dark = matchMedia("(prefers-color-scheme: dark)");
    this.repaint = () => { this.plot?.destroy(); this.plot = null; this.shown = null; this.show(); };
    this.dark.addEventListener("change", this.repaint);
    this.gestures = new Gestures(node, this);
  }

  end() {
    this.sizes.disconnect();
    this.dark.removeEventListener("change", this.repaint);
    this.plot?.destroy();
  }

  fit() {
    const width = this.node.clientWidth;
    if (this.plot && width && (width !== this.plot.width || this.height() !== this.plot.height)) this.plot.setSize({ width, height: this.height() });
    else this.show();
  }

  height() {
    return Math.round(Math.min(420, Math.max(260, this.node.clientWidth * 0.55)));
  }

  /** The window in time that is shown, s. */
  window() {
    return wanted(this.chamber);
  }

  goTo(key) {
    look(this.chamber, key);
  }

  /** Show another window at once, and fetch its curves once it has come to rest. */
  moveTo(from, to) {
    lookAt(this.chamber, from, to);
    this.show();
  }

  show() {
    const { data } = curvesOf(this.chamber);
    if (!data || !this.node.clientWidth || !window.uPlot) return;
    const key = `${state.unit} ${state.status?.time_zone}`;
    if (!this.plot || this.key !== key) {
      this.plot?.destroy();
      this.key = key;
      this.plot = new window.uPlot(this.options(), lines(data), this.node);
      this.plot.root.setAttribute("aria-hidden", "true");
    } else if (this.shown !== data) {
      this.plot.setData(lines(data), false);
    }
    this.shown = data;
    const { from, to } = this.window();
    this.plot.setScale("x", { min: from, max: to });
    // For whoever looks from outside: how long the window is, since when there are curves, and until
    // when the beer is foreseen, s.
    const foreseenUntil = (data.ahead.at(-1) ?? null) === null ? null : data.times.at(-1);
    Object.assign(this.node, { spanShown: Math.round(to - from), curvesSince: data.times[0], foreseenUntil });
  }

  options() {
    const paint = colours();
    const zone = state.status.time_zone;
    const self = this;
    const line = (colour, width, dash) => ({ stroke: colour, width, dash, points: { show: false }, spanGaps: false });
    const hidden = { stroke: "transparent", width: 0, points: { show: false } };
    return {
      width: this.node.clientWidth,
      height: this.height(),
      tzDate: (utc_s) => window.uPlot.tzDate(new Date(utc_s * 1000), zone),
      legend: { show: false },
      cursor: { drag: { x: false, y: false, setScale: false }, points: { show: false }, y: false },
      scales: { x: { time: true }, y: { range: () => reach(curvesOf(self.chamber).data, self.window()) } },
      axes: [
        { stroke: paint.faint, grid: { stroke: paint.thin, width: 1 }, ticks: { stroke: paint.rule, width: 1 }, font: paint.font, space: 70, values: (_plot, times) => timeWords(times) },
        { stroke: paint.faint, grid: { stroke: paint.thin, width: 1 }, ticks: { show: false }, font: paint.font, size: 40, values: (plot, temps) => temps.map((temp) => degreeWords(plot, temp)) },
      ],
      series: [
        {},
        hidden, hidden, line(paint.air, 1.5),
        hidden, hidden, line(paint.ink, 2.5),
        line(paint.ink, 1.5, [2, 4]),
      ],
      bands: [
        { series: [2, 1], fill: paint.airSpread },
        { series: [5, 4], fill: paint.beerSpread },
      ],
      hooks: {
        drawClear: [(plot) => paintUnder(plot, curvesOf(self.chamber).data, paint)],
        draw: [(plot) => paintOver(plot, curvesOf(self.chamber).data, paint, isFresh() ? siteNow() : null)],
        setCursor: [(plot) => self.tell(plot)],
      },
    };
  }

  /** Say what was under the finger. */
  tell(plot) {
    this.readout ??= this.node.appendChild(Object.assign(document.createElement("p"), { className: "readout" }));
    const { data } = curvesOf(this.chamber);
    const at = plot.cursor.left >= 0 ? plot.posToVal(plot.cursor.left, "x") : null;
    this.readout.hidden = at === null || !data;
    if (at === null || !data) return;
    const index = nearest(data.times, at);
    const value = (found) => (found?.[index] ?? null) === null ? null : fixed(shownTemp(found[index]), 1);
    const words = [`${day(data.times[index])}, ${clock(data.times[index])}`];
    for (const [name, found] of [["beer", data.vessel.mean], ["air", data.air.mean], ["foreseen", data.ahead]]) if (value(found) !== null) words.push(`${name} ${value(found)}`);
    this.readout.textContent = words.join("  ");
  }
}

/** Columns as uPlot has them, in the brewer's scale. */
function lines(data) {
  const shown = (line) => line.map((value) => (value === null ? null : shownTemp(value)));
  return [data.times, shown(data.air.min), shown(data.air.max), shown(data.air.mean),
    shown(data.vessel.min), shown(data.vessel.max), shown(data.vessel.mean), shown(data.ahead)];
}

/** What the temperatures span in a window, with room below for what was on. */
function reach(data, { from, to }) {
  let [low, high] = [Infinity, -Infinity];
  const take = (value) => { if (value !== null && value !== undefined) { low = Math.min(low, value); high = Math.max(high, value); } };
  data.times.forEach((time, index) => {
    if (time < from || time > to) return;
    for (const line of [data.vessel.min, data.vessel.max, data.air.min, data.air.max, data.ahead]) take(line[index]);
  });
  for (const corner of data.target) if (corner.utc_s >= from && corner.utc_s <= to) { take(corner.heat_c); take(corner.cool_c); }
  if (low > high) [low, high] = [0, 20];
  const room = Math.max(1, high - low);
  return [shownTemp(low - room * 0.28), shownTemp(high + room * 0.12)];
}

function nearest(times, at) {
  let [low, high] = [0, times.length - 1];
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (times[middle] <= at) low = middle; else high = middle;
  }
  return at - times[low] < times[high] - at ? low : high;
}

/** A degree on the axis; none beside the strips, which have names of their own there. */
function degreeWords(plot, temp) {
  const { min, max } = plot.scales.y;
  return (temp - min) / (max - min) < STRIPS_SHARE ? null : fixed(temp, Number.isInteger(temp) ? 0 : 1);
}

/** Times on the axis: the hour, and under the first of each day its date. */
function timeWords(times) {
  let before = null;
  const hasOnlyDays = times.length > 1 && times[1] - times[0] >= 86400 - 3600;
  if (hasOnlyDays) return times.map((utc_s) => date(utc_s));
  return times.map((utc_s) => {
    const { day: dayOfMonth, hour, minute } = parts(utc_s);
    const midnight = hour === "00" && minute === "00";
    const isNew = dayOfMonth !== before;
    before = dayOfMonth;
    const words = day(utc_s);
    if (midnight) return words;
    return isNew ? `${clock(utc_s)}\n${words}` : clock(utc_s);
  });
}
