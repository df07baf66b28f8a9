// What the page knows, and which find and path are looked at.

export const store = {
  finds: [],
  byLabel: new Map(),
  best: [],
  stops: [],
  matrix: {},
  pads: [],
  version: null,
  last: 0,
  standing: null,
  picks: { of: {}, entries: [], aside: 0, trouble: null },
  label: null,
  step: null,
  match: true,
  undo: [],
  writing: null, // ends when what was changed on the board is written
  board: null,
};

export function take(told) {
  Object.assign(store, {
    finds: told.finds, best: told.best, stops: told.stops, matrix: told.matrix, pads: told.pads,
    version: told.version, last: told.last, standing: told.standing, picks: told.picks,
  });
  store.byLabel = new Map(told.finds.map((one) => [one.label, one]));
}

export const current = () => store.byLabel.get(store.label) ?? null;

export function shown() {
  const find = current();
  return find?.steps[store.step ?? find.at] ?? null;
}

export const isAlong = () => current() !== null && (store.step ?? current().at) !== current().at;

// The entry for the very path that is shown; of a pair that only stops the toy, that of the pair.
export function entryHere() {
  const find = current(), step = shown();
  const decided = find && store.picks.of[find.label];
  if (!decided) return null;
  return decided.steps[step?.touch] ?? (find.stops ? decided.entry : null);
}

// Kept or set aside; where it isn't this path's own entry, the sound's.
export const stateOf = (find) => store.picks.of[find.label]?.state ?? "";
