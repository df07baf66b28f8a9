// What is built of what was kept: controls with their positions to hear, what two do at once, the sheet.

import { Refused, ask } from "./ask.js";
import { $, fill, h } from "./dom.js";
import { store } from "./store.js";

const TURNS = ["fully left", "a quarter", "half", "three quarters", "fully right"];
const LACKING = "padsweep-lacking"; // what the PDF's fonts have no sign for

let told = null;
let asked = 0;
let waits = false; // what was told is drawn once nobody writes

// Read what is proposed anew, where somebody looks at it.
export async function renew(act) {
  $("build").querySelector("#build-count").textContent = store.picks.entries.length || "nothing yet";
  if (!$("build").open) return;
  const mine = asked += 1;
  try {
    const now = await ask("/build");
    if (mine !== asked) return;
    told = now;
    waits = isWriting();
    if (!waits) draw(act);
  } catch (trouble) {
    if (mine === asked) act.say(trouble.message);
  }
}

function draw(act) {
  const { controls, trouble } = told;
  $("build-none").hidden = Boolean(controls.length || trouble);
  $("build-trouble").textContent = trouble ?? "";
  $("build-sheet").hidden = !controls.length;
  fill($("build-controls"), controls.map((one) => control(one, act)));
  fill($("build-together"), together(told.together));
  $("build-bay").hidden = !told.patch_bay.length;
  fill($("build-bay").querySelector("ul"), told.patch_bay.map((one) => h("li", {}, one)));
  fill($("build-asked"), controls.length
    ? [...told.asked, told.verified].map((one) => h("li", {}, code(one))) : []);
}

// A field that somebody writes in is left alone: taken away, it would count as changed.
function isWriting() {
  const field = document.activeElement;
  return Boolean(field?.matches?.("#build-controls input")) && field.value !== field.defaultValue;
}

const dashed = (pair) => pair.replaceAll("-", "–");

function number(one) {
  const tag = h("span", { class: "tag" }, String(one.number));
  tag.style.setProperty("--ink-of", one.ink);
  return tag;
}

function control(one, act) {
  return h("li", { class: "made", "data-number": one.number },
    h("h3", {}, number(one), " ", h("b", {}, dashed(one.pair)), " ", one.part),
    h("p", { class: "facts" }, one.in_series ? h("span", {}, `${one.in_series} in series`) : null,
      one.pads.map((pad) => h("span", {}, h("i", {}, pad.pad), ` ${pad.note || "no note"}`))),
    h("p", { class: "why" }, one.why),
    one.warning ? h("p", { class: "warning" }, one.warning) : null,
    positions(one, act),
    one.picks.map((pick) => kept(one, pick, act)),
    one.verified ? h("p", { class: "verified" }, h("b", {}, `Built, it was heard: ${one.verified.verdict}`),
      `, ${one.verified.at}. ${one.verified.words} ${one.verified.next}`) : null,
    one.fitted ? h("details", {}, h("summary", {}, "Wiring"), h("ul", {},
      [one.keep, one.course, ...one.hints].filter(Boolean).map((text) => h("li", {}, text)))) : null);
}

// A knob's five positions, or those of a switch, with off before them.
function positions(one, act) {
  if (!one.positions.length) return null;
  const takes = [one.plain, ...one.positions.map((at) => at.touch)].filter((take) => take !== null);
  const place = (at) => (one.turns ? TURNS[at.number - 1] : `position ${at.number}`);
  const button = (take, at, children) => h("button", {
    type: "button", class: "position", "data-at": `position-${one.number}-${at}`, "data-take": take,
    "aria-pressed": "false", onclick: () => act.playTakes([take], takes),
  }, children);
  return h("div", { class: "positions", role: "group", "aria-label": `Positions of ${one.number}` },
    one.plain === null ? null : button(one.plain, "off", [h("b", {}, "off"), h("span", {}, "plain")]),
    one.positions.map((at) => button(at.touch, at.number, [
      h("b", {}, at.text), h("span", {}, place(at)), h("span", {}, at.says), at.far ? h("span", { class: "quiet" }, at.far) : null,
    ])),
    h("button", { type: "button", "data-at": `through-${one.number}`,
      onclick: () => act.playTakes(one.positions.map((at) => at.touch), takes) },
    one.turns ? "turn it through" : "step it through"));
}

function kept(one, pick, act) {
  const at = `${one.number}-${pick.label}`;
  const field = (name, made) => {
    made.addEventListener("focus", () => { made.dataset.began = JSON.stringify(pick.entry); });
    made.addEventListener("change", () => {
      const was = JSON.parse(made.dataset.began ?? JSON.stringify(pick.entry));
      const value = made.value.trim();
      act.rewrite(was, { ...was, [name]: name === "control" ? value || null : value },
        `${pick.label}: ${name} ${value ? `“${value}”` : "taken out"}`);
    });
    return made;
  };
  const wish = field("control", h("select", { "data-at": `wish-${at}` },
    ["", ...store.picks.controls].map((kind) => h("option", { value: kind, selected: (pick.entry.control ?? "") === kind },
      kind || "as proposed"))));
  const name = field("name", h("input", { value: pick.entry.name, maxlength: 200, autocomplete: "off", "data-at": `name-${at}`,
    onkeydown: (event) => event.key === "Enter" && event.target.blur() }));
  return h("div", { class: "kept-one" },
    h("p", {}, h("button", { type: "button", "data-at": `hear-${at}`, disabled: pick.touch === null,
      "aria-label": `Hear ${pick.label}`, onclick: () => act.hearPick(pick) }, "hear"), " ",
    h("span", { class: "says" }, pick.says || "nothing was heard there"), pick.at ? ` over ${pick.at}` : "",
    pick.entry.note ? h("span", { class: "quiet" }, ` ${pick.entry.note}`) : null),
    h("label", {}, h("span", {}, "name on the panel"), name),
    h("label", {}, h("span", {}, "control wished"), wish));
}

// -- two at once ------------------------------------------------------------------------------

function together(all) {
  if (!all.length) return [];
  const of = (verdict) => all.filter((one) => one.verdict === verdict);
  const stops = of("stops").map((one) => h("li", { class: "stops" },
    h("b", {}, `${one.numbers.join(" and ")} will stop the toy`), `: ${one.told}. ${one.wiring}`));
  const groups = (verdict, before) => grouped(of(verdict), (one) => one.told).map(([why, mine]) => h("li", {},
    h("b", {}, before), ` ${why}: ${partners(mine)}`));
  return [h("h3", {}, "Two at once"), h("ul", { class: "together" }, stops,
    groups("tried", "The toy lived,"), groups("unknown", "Not known,")),
  of("unknown").length ? h("p", { class: "quiet" }, "Try these once by hand, with the reset at hand.") : null];
}

function grouped(all, by) {
  const groups = new Map();
  for (const one of all) groups.set(by(one), [...(groups.get(by(one)) ?? []), one]);
  return [...groups];
}

// "1 with 2, 3; 2 with 5"
function partners(mine) {
  return grouped(mine, (one) => one.numbers[0])
    .map(([first, others]) => `${first} with ${others.map((one) => one.numbers[1]).join(", ")}`).join("; ");
}

function code(text) {
  return text.split("`").map((piece, at) => (at % 2 ? h("code", {}, piece) : piece));
}

// Show which take is heard, null where none is.
export function point(take) {
  for (const one of $("build-controls").querySelectorAll(".position")) {
    one.setAttribute("aria-pressed", String(take !== null && Number(one.dataset.take) === take));
  }
}

// -- the sheet --------------------------------------------------------------------------------

function wanted() {
  return new URLSearchParams({
    paper: $("sheet-paper").value, face: $("sheet-face").value, line_out: $("sheet-line").checked ? "1" : "0",
  });
}

async function pdf(say) {
  const button = $("sheet-pdf");
  button.disabled = true;
  say("The PDF is being made.");
  try {
    const answer = await fetch(`/sheet.pdf?${wanted()}`);
    if (!answer.ok) throw new Refused(answer.status, await answer.json().catch(() => ({})));
    const address = URL.createObjectURL(await answer.blob());
    h("a", { href: address, download: "sheet.pdf" }).click();
    setTimeout(() => URL.revokeObjectURL(address), 60_000);
    const lacking = decodeURIComponent(answer.headers.get(LACKING) ?? "");
    $("build-lacking").textContent = lacking;
    say(lacking || `sheet.pdf is made: print it on ${$("sheet-paper").selectedOptions[0].text} at 100 %.`);
  } catch (trouble) {
    $("build-lacking").textContent = trouble.message;
    say(trouble.message);
  } finally {
    button.disabled = false;
  }
}

export function begin(act) {
  const link = () => { $("sheet-html").href = `/sheet.html?${wanted()}`; };
  link();
  $("build-sheet").addEventListener("submit", (event) => event.preventDefault());
  $("build-sheet").addEventListener("change", link);
  $("sheet-pdf").addEventListener("click", () => pdf(act.say));
  $("build").addEventListener("toggle", () => renew(act));
  $("build-controls").addEventListener("focusout", () => setTimeout(() => {
    if (waits && !isWriting()) {
      waits = false;
      draw(act);
    }
  }));
}
