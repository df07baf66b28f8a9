// What the page knows, and which find and path are looked at.

export const store = {
  finds: [],
  byLabel: new Map(),
  best: [],
  stops: [],
  matrix: {},
  pads: [],
  keys: new Set(),
  version: null,
  standing: null,
  picks: { of: {}, entries: [], aside: 0, trouble: null, order: [], best: [] },
  label: null,
  step: null,
  match: true,
  undo: [],
};

const BEST = 8;

// Take in all that the server tells. Finds that are shown keep their order unless it's asked for anew.
export function take(told, anew = false) {
  const held = anew ? [] : store.finds.map((one) => one.label);
  const best = anew ? [] : store.best;
  Object.assign(store, {
    finds: told.finds, stops: told.stops, matrix: told.matrix, pads: told.pads,
    version: told.version, standing: told.standing, picks: told.picks,
  });
  store.byLabel = new Map(told.finds.map((one) => [one.label, one]));
  store.keys = new Set(told.finds.map((one) => one.key));
  put(among(held, told.picks.order), held.length ? filledUp(best, told.picks.best) : told.picks.best);
}

// Order all as the person's taste has it by now.
export const orderAnew = () => put(store.picks.order, store.picks.best);

// Say whether that would change anything.
export function isStale() {
  const { order, best } = store.picks;
  const isListed = (one) => !store.byLabel.get(one)?.stops || store.stops.includes(one);
  const listed = store.finds.map((one) => one.label).filter(isListed);
  return order.length === store.finds.length
    && (order.filter(isListed).some((one, at) => listed[at] !== one) || best.some((one, at) => store.best[at] !== one));
}

function put(order, best) {
  store.finds = order.map((one) => store.byLabel.get(one)).filter(Boolean);
  store.best = best.filter((one) => store.byLabel.has(one));
}

// Those that are held stay as they are; each other one comes behind its neighbour of the new order.
function among(held, order) {
  const known = new Set(held), there = new Set(order);
  const behind = new Map([[null, []]]);
  let last = null;
  for (const one of order) {
    if (known.has(one)) behind.set(last = one, []);
    else behind.get(last).push(one);
  }
  return [...behind.get(null), ...held.filter((one) => there.has(one)).flatMap((one) => [one, ...behind.get(one)])];
}

function filledUp(held, best) {
  const kept = held.filter((one) => store.byLabel.has(one));
  const families = new Set(kept.map((one) => store.byLabel.get(one).family));
  return [...kept, ...best.filter((one) => !families.has(store.byLabel.get(one)?.family))].slice(0, BEST);
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
