// Which finds are shown; it stands in the address, so that a view can be kept and gone back to.

import { $, h, fill } from "./dom.js";
import { store, stateOf } from "./store.js";

const NAMES = ["q", "pad", "ohm", "key", "kept", "family"];
const fields = () => NAMES.map((name) => [name, $(`view-${name}`)]);

export function readAddress() {
  const query = new URLSearchParams(location.search);
  for (const [name, field] of fields()) {
    const value = query.get(name) ?? "";
    if (field.tagName === "SELECT" && value && ![...field.options].some((one) => one.value === value)) {
      field.append(h("option", { value }, value)); // what it stands for may not be found yet
    }
    field.value = value;
  }
  return query.get("find");
}

export function writeAddress() {
  const query = new URLSearchParams();
  for (const [name, field] of fields()) if (field.value) query.set(name, field.value);
  if (store.label) query.set("find", store.label);
  const text = query.toString();
  history.replaceState(null, "", text ? `?${text}` : location.pathname);
}

export function offer() {
  const finds = store.finds;
  options("pad", store.pads.filter((one) => !one.unused)
    .map((one) => [one.pad, one.note ? `${one.pad} ${one.note}` : one.pad]), "any");
  const paths = new Map();
  for (const find of finds) {
    for (const step of find.steps) if (step.state === "heard") paths.set(step.short, step.ohm);
  }
  options("ohm", [...paths].sort((a, b) => a[1] - b[1]).map(([short]) => [short, short]), "any path");
  options("key", [...store.keys].map((one) => [one || "none", one || "none"]), "any");
  const families = new Map();
  for (const find of finds) families.set(find.family, (families.get(find.family) ?? 0) + 1);
  options("family", [...families].filter(([, count]) => count > 1)
    .map(([name, count]) => [name, `${name} (${count})`]), "all");
}

function options(name, values, any) {
  const field = $(`view-${name}`), kept = field.value;
  if (kept && !values.some(([value]) => value === kept)) values.push([kept, kept]);
  fill(field, h("option", { value: "" }, any), values.map(([value, text]) => h("option", { value }, text)));
  field.value = kept;
}

// Give those of some finds that are shown.
export function chosen(finds) {
  const wanted = fields().map(([, field]) => field.value);
  return wanted.some(Boolean) ? finds.filter((one) => fits(one, wanted)) : finds;
}

function fits(find, [q, pad, ohm, key, kept, family]) {
  const state = stateOf(find);
  return (!q || says(find, q.toLowerCase().split(/\s+/)))
    && (!pad || find.pads.some((one) => one.pad === pad))
    && (!ohm || find.steps.some((one) => one.state === "heard" && one.short === ohm))
    && (!key || (find.key || "none") === key)
    && (!family || find.family === family)
    && (!kept || { kept: state === "kept", aside: state === "set aside", open: !state }[kept]);
}

function says(find, words) {
  const entry = store.picks.of[find.label]?.entry;
  const text = [find.label, find.says, find.after, find.sound, entry?.name, entry?.note,
    ...find.pads.map((one) => one.note)].join(" ").toLowerCase();
  return words.every((word) => text.includes(word));
}

export function setPad(pad) {
  const field = $("view-pad");
  field.value = field.value === pad ? "" : pad;
}

export function listen(changed) {
  $("views").addEventListener("submit", (event) => event.preventDefault());
  $("views").addEventListener("input", changed);
  $("views").addEventListener("reset", (event) => {
    event.preventDefault();
    for (const [, field] of fields()) field.value = "";
    changed();
  });
}
