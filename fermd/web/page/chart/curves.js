// Which window of the record a chart shows, and the curves for it: fetched a little wider than the
// window so that a move shows something at once, and again when they are too coarse or too old.

import { chamberPlace, get } from "../base/api.js";
import { forecast } from "../base/forecast.js";
import { isFresh, pageNow, siteNow } from "../base/live.js";
import { know, state } from "../base/store.js";

const HOUR_S = 3600;
const DAY_S = 86400;
const LOOKED_BACK_S = 120 * DAY_S; // no batch takes longer
const AHEAD = 0.2; // of the past that is shown
const REST_MS = 180;
const POINTS = 900;

export const SPANS = [
  ["hour", "1 h", "1 h: the last hour"],
  ["quarter", "6 h", "6 h: the last six hours"],
  ["day", "1 d", "1 d: the last day"],
  ["week", "1 w", "1 w: the last week"],
  ["all", "Batch", "Batch: the whole of it"],
];
const LENGTHS_S = { hour: HOUR_S, quarter: 6 * HOUR_S, day: DAY_S, week: 7 * DAY_S };

const charts = {};

/** A chart; its key is null until somebody has chosen how much of it to see. */
const of = (name) => (charts[name] ??= { key: null, data: null, found: null, seen: null, trouble: "", got: null, batch: null, due: 0 });

/** The window of a chart: {key, from, to}. One with a key goes along with the time. */
export function wanted(name) {
  const chart = of(name);
  if (chart.key === "custom") return { key: "custom", from: chart.from, to: chart.to };
  const now = siteNow();
  const key = chart.key ?? usual(now, chart);
  if (key === "all") {
    const from = Math.min(now - HOUR_S, batchStart(name, chart));
    return { key: "all", from, to: Math.max(now + HOUR_S, forecast(name)?.beer.at(-1)?.[0] ?? 0) };
  }
  return { key, from: now - LENGTHS_S[key], to: now + LENGTHS_S[key] * AHEAD };
}

/** The last day, or less while the batch is younger: its curve would be no wider than a stroke. */
const usual = (now, { batch }) => ["hour", "quarter"].find((key) => batch !== null && now - batch < LENGTHS_S[key]) ?? "day";

export function look(name, key) {
  Object.assign(of(name), { key, due: 0, hurry: true });
  know({});
}

export function lookAt(name, from, to) {
  Object.assign(of(name), { key: "custom", from, to });
  ask(name);
}

/** {data, trouble} of a chart; data is null until the first curves have come. */
export function curvesOf(name) {
  const chart = of(name);
  ask(name);
  // The forecast comes by itself, mostly after the curves that it goes on from.
  if (chart.found && chart.seen !== forecast(name)) lay(name, chart);
  return chart;
}

function lay(name, chart) {
  chart.seen = forecast(name);
  chart.data = columns(name, chart.found);
}

/** When the batch began: its profile's start, or the first reading. Asked for once. */
function batchStart(name, chart) {
  if (chart.batch === null) {
    chart.batch = siteNow() - 7 * DAY_S;
    const now = siteNow();
    get(`${chamberPlace(name, "curves")}?from_utc_s=${now - LOOKED_BACK_S}&to_utc_s=${now}&points=500`).then((found) => {
      const started = found.marks.filter((mark) => mark.kind === "profile" && / started\b/.test(mark.words)).at(-1);
      const first = found.probes[found.vessel].mean_c.findIndex((mean) => mean !== null);
      const first_s = first < 0 ? now - DAY_S : found.from_utc_s + first * found.bucket_s;
      chart.batch = started ? Math.max(started.utc_s, first_s) : first_s;
      know({});
    }, () => undefined);
  }
  return chart.batch;
}

function ask(name) {
  const chart = of(name);
  if (!state.status || chart.asking) return;
  const window = wanted(name);
  const length = window.to - window.from;
  const { got } = chart;
  const fits = got && got.units === state.unit && got.said === state.said?.words
    && window.from >= got.from - 1 && Math.min(window.to, siteNow()) <= got.to + length * 0.02
    && got.to - got.from < 4 * length;
  const grown = window.to > siteNow() && isFresh() && siteNow() - (got?.to ?? 0) > Math.max(8, length / 400);
  if (fits && !grown) return;
  const now = pageNow();
  if (now < chart.due) return;
  // A gesture goes through many windows; only the one in which it comes to rest is asked for.
  const rest_ms = got && !chart.hurry ? REST_MS : 0;
  Object.assign(chart, { due: now + rest_ms, asking: true, hurry: false });
  setTimeout(() => fetchCurves(name, chart), rest_ms);
}

async function fetchCurves(name, chart) {
  const window = wanted(name);
  const wider = (window.to - window.from) * 0.4;
  const now = siteNow();
  const to = Math.max(Math.min(window.to + wider, now), window.from + 60);
  const from = Math.min(window.from - wider, to - 60);
  const got = { from, to, units: state.unit, said: state.said?.words };
  try {
    const found = await get(`${chamberPlace(name, "curves")}?from_utc_s=${from.toFixed(1)}&to_utc_s=${to.toFixed(1)}&points=${POINTS}&units=${state.unit}`);
    Object.assign(chart, { found, got, trouble: "" });
    lay(name, chart);
    batchStart(name, chart);
  } catch (refused) {
    chart.trouble = `No curves: ${refused.message}`;
    chart.due = pageNow() + 5_000;
    chart.got ??= null;
  } finally {
    chart.asking = false;
  }
  know({});
}

/** The record and the forecast behind it, as columns over one line of times. */
function columns(name, found) {
  const seen = forecast(name);
  const ahead = (seen?.beer ?? []).filter(([utc_s]) => utc_s > siteNow());
  const times = Array.from({ length: found.count }, (_, index) => found.from_utc_s + (index + 0.5) * found.bucket_s);
  const recorded = times.filter((time) => time <= siteNow());
  const after = ahead.map(([utc_s]) => utc_s).filter((time) => time > (recorded.at(-1) ?? 0));
  const empty = after.map(() => null);
  const line = (values) => [...recorded.map((_, index) => values?.[index] ?? null), ...empty];
  const probe = (one) => {
    const buckets = found.probes[one] ?? {};
    return { mean: line(buckets.mean_c), min: line(buckets.min_c), max: line(buckets.max_c) };
  };
  const last = state.status.chambers[name]?.vessel;
  const bridge = recorded.map((_, index) => (index === recorded.length - 1 && last?.trusted ? last.temp_c : null));
  return {
    times: [...recorded, ...after],
    vessel: probe(found.vessel), air: probe(found.air),
    ahead: [...bridge, ...ahead.slice(ahead.length - after.length).map(([, beer_c]) => beer_c)],
    target: [
      ...recorded.map((utc_s, index) => ({ utc_s, heat_c: found.target.heat_c[index], cool_c: found.target.cool_c[index] })),
      ...(seen?.target ?? []).filter(([utc_s]) => utc_s > siteNow()).map(([utc_s, heat_c, cool_c]) => ({ utc_s, heat_c, cool_c })),
    ],
    band: [
      ...recorded.map((utc_s, index) => ({ utc_s, ...edges(found.target, found.band, index) })),
      ...edgesAhead(state.status.chambers[name], seen?.target ?? []),
    ],
    runs: Object.values(found.runs).flatMap(({ duty, spans }) => spans.map(([from_utc_s, to_utc_s]) => ({ duty, from_utc_s, to_utc_s: to_utc_s ?? siteNow() }))),
    marks: found.marks.map((mark) => ({ ...mark, kind: MARKS[mark.kind] })).filter((mark) => mark.kind),
  };
}

/** The band's edges in a bucket, as the record tells them; a side that no call tells ends at the target. */
const edges = (target, told, index) => {
  const [low_c, high_c] = [told.heat_c[index] ?? null, told.cool_c[index] ?? null];
  return low_c === null && high_c === null ? { low_c, high_c } : { low_c: low_c ?? target.heat_c[index], high_c: high_c ?? target.cool_c[index] };
};

/** From now on it is the band that control goes by now, if one decides. */
function edgesAhead(chamber, target) {
  if (!chamber?.edges || !chamber.target) return [];
  const now = siteNow();
  const { heat_from_c, cool_from_c } = chamber.edges;
  const [below_k, above_k] = [chamber.target.heat_c - heat_from_c, cool_from_c - chamber.target.cool_c];
  return [
    { utc_s: now, low_c: heat_from_c, high_c: cool_from_c },
    ...target.filter(([utc_s]) => utc_s > now).map(([utc_s, heat_c, cool_c]) => ({ utc_s, low_c: heat_c - below_k, high_c: cool_c + above_k })),
  ];
}

const MARKS = { step: "step", "step-change": "step", profile: "step", "alarm-raised": "alarm", outage: "alarm", note: "note" };
