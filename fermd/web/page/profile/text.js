// A profile's text is the truth; the form is a view on it. What is changed in the form is changed in
// its own place in the text, so that comments, order and spacing stay as the brewer wrote them.
//
// Understands what a profile is written with: keys, texts, numbers, lists of small tables, and
// [[step]] headings. Whether it is right is for the daemon to say (POST /api/profiles/check).

const HEADING = /^\s*\[\[\s*step\s*\]\]\s*(#.*)?$/;
const KEY = /^\s*([A-Za-z0-9_-]+|"[^"]*")\s*=\s*/;

/** {head: [entry], steps: [{from, to, entries}]}, lines counted from 0; `to` is not itself in it. */
export function read(text) {
  const lines = text.split("\n");
  const found = { lines, head: [], steps: [] };
  let entries = found.head;
  for (let at = 0; at < lines.length; at += 1) {
    if (HEADING.test(lines[at])) {
      entries = [];
      found.steps.push({ from: withComments(lines, at), heading: at, to: lines.length, entries });
      const before = found.steps.at(-2);
      if (before) before.to = found.steps.at(-1).from;
      continue;
    }
    const key = KEY.exec(lines[at]);
    if (!key) continue;
    const last = endOfValue(lines, at, key[0].length);
    entries.push({ key: key[1].replaceAll('"', ""), from: at, to: last.line + 1, column: key[0].length, end: last.column, value: lines.slice(at, last.line + 1) });
    at = last.line;
  }
  for (const entry of [...found.head, ...found.steps.flatMap((step) => step.entries)]) entry.value = valueText(found.lines, entry);
  return found;
}

/** Comments right above a heading belong to its step. */
function withComments(lines, heading) {
  let from = heading;
  while (from > 0 && /^\s*#/.test(lines[from - 1])) from -= 1;
  return from;
}

/** Where a value ends: {line, column}; what follows is a comment. */
function endOfValue(lines, line, column) {
  let depth = 0;
  for (let at = line; at < lines.length; at += 1) {
    const text = lines[at];
    let place = at === line ? column : 0;
    let end = place;
    while (place < text.length && text[place] !== "#") {
      const mark = text[place];
      if (mark === '"' || mark === "'") place = endOfText(text, place);
      else if ("[{".includes(mark)) depth += 1;
      else if ("]}".includes(mark)) depth -= 1;
      place += 1;
      if (mark.trim()) end = place;
    }
    if (depth <= 0) return { line: at, column: end };
  }
  return { line, column: lines[line].length };
}

function endOfText(text, from) {
  const mark = text[from];
  let place = from + 1;
  while (place < text.length && text[place] !== mark) place += mark === '"' && text[place] === "\\" ? 2 : 1;
  return place;
}

function valueText(lines, entry) {
  if (entry.to === entry.from + 1) return lines[entry.from].slice(entry.column, entry.end);
  return [lines[entry.from].slice(entry.column), ...lines.slice(entry.from + 1, entry.to - 1), lines[entry.to - 1].slice(0, entry.end)].join("\n");
}

/** What stands behind a key of the head (step null) or of a step, as the form shows it. */
export const shown = (found, step, key) => plain(written(found, step, key));

/** The same as it is written in the file; nothing if it is not there. */
export const written = (found, step, key) => entriesOf(found, step).find((one) => one.key === key)?.value.trim() ?? "";

/** A value without its quotes. */
export function plain(value) {
  if (value.startsWith('"')) {
    try {
      return JSON.parse(value);
    } catch {
      return value;
    }
  }
  return value.startsWith("'") ? value.slice(1, -1) : value;
}

const entriesOf = (found, step) => (step === null ? found.head : found.steps[step]?.entries ?? []);

/** The text with a key set to a value (as it is written in the file), or taken out with null. */
export function withKey(text, step, key, value) {
  const found = read(text);
  const { lines } = found;
  const entries = entriesOf(found, step);
  const entry = entries.find((one) => one.key === key);
  if (value === null) {
    if (entry) lines.splice(entry.from, entry.to - entry.from);
  } else if (entry) {
    const comment = lines[entry.to - 1].slice(entry.end);
    lines.splice(entry.from, entry.to - entry.from, lines[entry.from].slice(0, entry.column) + value + comment);
  } else {
    const after = entries.at(-1)?.to ?? (step === null ? 0 : found.steps[step].heading + 1);
    lines.splice(after, 0, `${key} = ${value}`);
  }
  return lines.join("\n");
}

/** A text as it is written in the file. */
export const quoted = (text) => JSON.stringify(String(text));

/** A step's own lines. */
const block = (found, step) => found.lines.slice(found.steps[step].from, found.steps[step].to);

export function withStepAfter(text, step, entries) {
  const found = read(text);
  const lines = ["[[step]]", ...entries.map(([key, value]) => `${key} = ${value}`), ""];
  const at = step === null || !found.steps[step] ? found.lines.length : found.steps[step].to;
  if (at > 0 && found.lines[at - 1].trim() !== "") lines.unshift("");
  found.lines.splice(at, 0, ...lines);
  return found.lines.join("\n").replace(/\n+$/, "\n");
}

export function withoutStep(text, step) {
  const found = read(text);
  found.lines.splice(found.steps[step].from, found.steps[step].to - found.steps[step].from);
  return found.lines.join("\n");
}

/** The step changes places with the one before it. */
export function withStepUp(text, step) {
  const found = read(text);
  const [before, moved] = [block(found, step - 1), block(found, step)];
  if (moved.at(-1)?.trim()) moved.push("");
  found.lines.splice(found.steps[step - 1].from, before.length + block(found, step).length, ...moved, ...before);
  return found.lines.join("\n");
}

/** Let a step be of another kind: what it shares with the old one is kept, the rest goes. */
export function withKind(text, step, kind, keys, defaults) {
  const kept = ["kind", "name", ...keys];
  let changed = withKey(text, step, "kind", quoted(kind));
  for (const { key } of read(changed).steps[step].entries) if (!kept.includes(key)) changed = withKey(changed, step, key, null);
  for (const key of keys) {
    if (key !== "within_c" && !read(changed).steps[step].entries.some((one) => one.key === key)) changed = withKey(changed, step, key, defaults[key]);
  }
  return changed;
}

export const NEW = `name = "New profile"
description = ""

[[step]]
kind = "hold"
name = "fermentation"
target_c = 18.0
for = "7 d"

[[step]]
kind = "final-hold"
name = "keep"
target_c = 12.0
`;

/** What a key begins with where a step gets it. */
export const DEFAULTS = {
  target_c: "18.0",
  to_c: "18.0",
  rate_c_per_day: "1.5",
  floor_c: "18.0",
  ceiling_c: "21.0",
  for: '"3 d"',
  until: '"fri 18:00"',
  prompt: '"Taste it"',
  changes: '[{ at = "08:00", target_c = 12.0 }, { at = "22:00", target_c = 11.0 }]',
};
