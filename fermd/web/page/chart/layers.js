// What is drawn under and over the lines: the target with its band, the strips of what was on, the
// marks of steps, alarms and notes, and where now is.

import { shownTemp } from "../base/words.js";

const STRIP = 9; // px, height of a strip
const GAP = 4;

/** The target and its band, and the strips of heat and cooling. */
export function paintUnder(plot, data, paint) {
  if (!data) return;
  const { ctx } = plot;
  ctx.save();
  clip(plot);
  band(plot, data, paint);
  strips(plot, data, paint);
  ctx.restore();
  names(plot, paint);
}

/** Now, the target's line, and the marks. */
export function paintOver(plot, data, paint, now_s) {
  if (!data) return;
  const { ctx } = plot;
  ctx.save();
  clip(plot);
  aim(plot, data, paint);
  if (now_s !== null) nowLine(plot, now_s, paint);
  for (const mark of data.marks) markAt(plot, mark, paint);
  ctx.restore();
}

const dots = () => window.devicePixelRatio;
const x = (plot, utc_s) => plot.valToPos(utc_s, "x", true);
const y = (plot, temp) => plot.valToPos(temp, "y", true);

function clip({ ctx, bbox }) {
  ctx.beginPath();
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
  ctx.clip();
}

/** Corners as stretches without gaps: [[corner, ...], ...]; a gap has no `key`. */
function stretches(corners, key) {
  const found = [];
  for (const corner of corners) {
    if (corner[key] === null) found.push([]);
    else {
      if (!found.length) found.push([]);
      found.at(-1).push(corner);
    }
  }
  return found.filter((stretch) => stretch.length > 0);
}

function band(plot, data, paint) {
  const { ctx } = plot;
  ctx.fillStyle = paint.band;
  for (const stretch of stretches(data.band, "low_c")) {
    ctx.beginPath();
    for (const corner of stretch) ctx.lineTo(x(plot, corner.utc_s), y(plot, shownTemp(corner.high_c)));
    for (const corner of [...stretch].reverse()) ctx.lineTo(x(plot, corner.utc_s), y(plot, shownTemp(corner.low_c)));
    ctx.fill();
  }
}

function aim(plot, data, paint) {
  const { ctx } = plot;
  ctx.strokeStyle = paint.malt;
  ctx.lineWidth = 1.5 * dots();
  ctx.setLineDash([6 * dots(), 4 * dots()]);
  for (const stretch of stretches(data.target, "heat_c")) {
    for (const side of ["heat_c", "cool_c"]) {
      ctx.beginPath();
      for (const corner of stretch) ctx.lineTo(x(plot, corner.utc_s), y(plot, shownTemp(corner[side])));
      ctx.stroke();
    }
  }
  ctx.setLineDash([]);
}

/** Heat above, cooling below; told apart by place and pattern as well as by colour. */
function strips(plot, data, paint) {
  const { ctx, bbox } = plot;
  ["cool", "heat"].forEach((duty, row) => {
    const top = bbox.top + bbox.height - (row + 1) * (STRIP + GAP) * dots();
    ctx.fillStyle = paint.thin;
    ctx.fillRect(bbox.left, top, bbox.width, STRIP * dots());
    ctx.fillStyle = paint[duty];
    for (const run of data.runs) {
      if (run.duty !== duty) continue;
      const from = x(plot, run.from_utc_s);
      const width = Math.max(dots(), x(plot, run.to_utc_s) - from);
      ctx.fillRect(from, top, width, STRIP * dots());
    }
    if (duty === "heat") hatch(plot, top, data, paint);
  });
}

/** What the strips are, beside them. */
function names({ ctx, bbox }, paint) {
  ctx.save();
  ctx.fillStyle = paint.faint;
  ctx.font = `${11 * dots()}px sans-serif`;
  ctx.textAlign = "right";
  ctx.textBaseline = "middle";
  ["cool", "heat"].forEach((duty, row) => {
    ctx.fillText(duty, bbox.left - 6 * dots(), bbox.top + bbox.height - ((row + 1) * (STRIP + GAP) - STRIP / 2) * dots());
  });
  ctx.restore();
}

/** Heat is hatched. */
function hatch(plot, top, data, paint) {
  const { ctx } = plot;
  ctx.strokeStyle = paint.paper;
  ctx.lineWidth = dots();
  for (const run of data.runs) {
    if (run.duty !== "heat") continue;
    const [from, to] = [x(plot, run.from_utc_s), x(plot, run.to_utc_s)];
    for (let at = from + 3 * dots(); at < to; at += 5 * dots()) {
      ctx.beginPath();
      ctx.moveTo(at, top + STRIP * dots());
      ctx.lineTo(at + 3 * dots(), top);
      ctx.stroke();
    }
  }
}

function nowLine(plot, now_s, paint) {
  const { ctx, bbox } = plot;
  ctx.strokeStyle = paint.ink;
  ctx.lineWidth = dots();
  ctx.beginPath();
  ctx.moveTo(x(plot, now_s), bbox.top);
  ctx.lineTo(x(plot, now_s), bbox.top + bbox.height);
  ctx.stroke();
}

/** A step is a tick from the top, an alarm a triangle, a note a diamond. */
function markAt(plot, mark, paint) {
  const { ctx, bbox } = plot;
  const [at, top, size] = [x(plot, mark.utc_s), bbox.top + 4 * dots(), 6 * dots()];
  ctx.beginPath();
  if (mark.kind === "step") {
    ctx.strokeStyle = paint.malt;
    ctx.lineWidth = 2 * dots();
    ctx.moveTo(at, bbox.top);
    ctx.lineTo(at, bbox.top + 14 * dots());
    ctx.stroke();
    return;
  }
  const corners = mark.kind === "alarm"
    ? [[0, 0], [size, 2 * size], [-size, 2 * size]]
    : [[0, 0], [size, size], [0, 2 * size], [-size, size]];
  for (const [right, down] of corners) ctx.lineTo(at + right, top + down);
  ctx.closePath();
  ctx.fillStyle = mark.kind === "alarm" ? paint.critical : paint.malt;
  ctx.fill();
}
