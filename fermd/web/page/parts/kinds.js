// The kinds of step in words, and what each one asks for.

const WORDS = {
  hold: "hold",
  soak: "soak",
  ramp: "ramp",
  jump: "jump",
  "free-rise": "free rise",
  "hold-until": "hold until a time",
  wait: "wait for a person",
  schedule: "by the calendar",
  "final-hold": "final hold",
};

export const kindWords = (kind) => WORDS[kind] ?? kind;

/** Where a profile stands, in words. */
export const stepWords = (profile) =>
  `Step ${Math.min(profile.step, profile.steps)} of ${profile.steps}, ${kindWords(profile.kind)}${profile.step_name && profile.step_name !== kindWords(profile.kind) ? ` (${profile.step_name})` : ""}`;

/** What a kind is, in half a sentence. */
export const KIND_HINTS = {
  hold: "so long at a temperature; the clock runs at once",
  soak: "so long at a temperature; the clock runs only while the beer is there",
  ramp: "to a temperature at a rate",
  jump: "to a temperature at once; over when the beer is there",
  "free-rise": "let the beer warm itself up to a ceiling",
  "hold-until": "at a temperature until a time of the calendar",
  wait: "at a temperature until somebody says so",
  schedule: "another target by the calendar, again and again; last step only",
  "final-hold": "at a temperature without end; last step only",
};

/** The keys of each kind, in the order in which they are asked for. */
export const KIND_KEYS = {
  hold: ["target_c", "for"],
  soak: ["target_c", "for", "within_c"],
  ramp: ["to_c", "rate_c_per_day"],
  jump: ["to_c", "within_c"],
  "free-rise": ["floor_c", "ceiling_c", "for"],
  "hold-until": ["target_c", "until"],
  wait: ["target_c", "prompt"],
  schedule: ["changes"],
  "final-hold": ["target_c"],
};

export const KINDS = Object.keys(KIND_KEYS);
