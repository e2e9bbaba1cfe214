// The changes of a schedule, as they stand in a profile's text: [{ at = "08:00", target_c = 12.0 }, …].
//
// Each is found with its place, so that a change to one of them leaves all else as it was written.

const PART = /([A-Za-z0-9_-]+)\s*=\s*("(?:[^"\\]|\\.)*"|'[^']*'|[^\s,{}"']+)/g;

/** [{from, to, at, target_c}], `at` and `target_c` {from, to, value} or absent; null if it is written in another way. */
export function changesOf(text) {
  const plain = text.replace(/"(?:[^"\\\n]|\\.)*"|'[^'\n]*'|#[^\n]*/g, (found) => (found[0] === "#" ? " " : "_").repeat(found.length));
  if (!/^\s*\[[\s,]*(\{[^{}[\]]*\}[\s,]*)+\]\s*$/.test(plain)) return null;
  const found = [...plain.matchAll(/\{[^{}]*\}/g)].map((one) => change(text, one.index, one.index + one[0].length));
  return found.every(Boolean) ? found : null;
}

function change(text, from, to) {
  const made = { from, to };
  for (const part of text.slice(from, to).matchAll(PART)) {
    const [, key, value] = part;
    if (key !== "at" && key !== "target_c") return null;
    const begins = from + part.index + part[0].length - value.length;
    made[key] = { from: begins, to: begins + value.length, value };
  }
  return made;
}

/** The text with a value of one change set (as it is written in the file). */
export function withChange(text, index, key, value) {
  const one = changesOf(text)[index];
  if (one[key]) return text.slice(0, one[key].from) + value + text.slice(one[key].to);
  const inside = text.slice(one.from + 1, one.to - 1).trim();
  return `${text.slice(0, one.from)}{ ${inside ? `${inside}, ` : ""}${key} = ${value} }${text.slice(one.to)}`;
}

/** The text without one change; the last one stays. */
export function withoutChange(text, index) {
  const all = changesOf(text);
  const one = all[index];
  const next = all[index + 1];
  if (next) return text.slice(0, one.from) + text.slice(next.from);
  return all[index - 1] ? text.slice(0, all[index - 1].to) + text.slice(one.to) : text;
}

/** The text with a change more, laid out as those before it. */
export function withOneMore(text) {
  const all = changesOf(text);
  const last = all.at(-1);
  const between = all.length > 1 ? text.slice(all.at(-2).to, last.from) : ", ";
  return `${text.slice(0, last.to)}${between.includes("#") ? ",\n  " : between}{ at = "18:00", target_c = ${last.target_c?.value ?? "12.0"} }${text.slice(last.to)}`;
}
