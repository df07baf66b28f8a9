// A night as it goes: what is new is asked for once a second.

import { ask } from "./ask.js";
import { $, fill, h } from "./dom.js";
import { store } from "./store.js";

const EVERY_MS = 1000, HIDDEN_MS = 5000, GONE_MS = 3000;
const LINES = 60;

export function standing() {
  const told = store.standing;
  if (!told) return;
  $("standing").className = `state-${told.state}`;
  $("said").textContent = told.said;
  $("alive").textContent = told.alive;
  $("alive").className = told.well ? "alive" : "alive ill";
  $("tally").textContent = told.tally;
  fill($("doubts"), [store.picks.trouble, ...told.doubts].filter(Boolean).map((one) => h("li", {}, one)));
  const { pairs, refused } = told.untouched;
  $("untouched").hidden = !pairs.length && !refused;
  $("untouched").querySelector("summary").textContent = [
    pairs.length ? `${pairs.length} ${pairs.length === 1 ? "pair" : "pairs"} untouched` : "",
    refused ? `${refused} left out as unsafe` : "",
  ].filter(Boolean).join(", ");
  $("untouched").querySelector("p").textContent = pairs.join(" ");
  if (told.state !== "running") $("run").hidden = true;
  progress(told.progress);
}

function progress(told) {
  const running = store.standing?.state === "running";
  $("run").hidden = !running || !told;
  if (!told) return;
  $("bar").max = told.planned;
  $("bar").value = told.done;
  $("pace").textContent = `${told.done.toLocaleString("en")} of ${told.planned.toLocaleString("en")} touches`
    + `${told.left ? `, about ${told.left} left` : ""}; last: ${told.what}`;
}

function lines(news) {
  const list = $("news").querySelector("ol");
  for (const one of news) {
    const at = new Date(one.at);
    list.prepend(h("li", { class: one.kind }, h("time", { datetime: one.at },
      at.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })), ` ${one.text}`));
  }
  while (list.children.length > LINES) list.lastChild.remove();
}

// `renewed` reads the finds anew, `decided` what was decided; `say` tells what is new.
export function begin({ renewed, decided, say }) {
  let told = 0, first = true, gone = false;
  async function look() {
    let wait = document.hidden ? HIDDEN_MS : EVERY_MS;
    try {
      const now = await ask(`/events?after=${told}`);
      if (gone) say("The page answers again.");
      gone = false;
      lines(now.news);
      progress(now.progress);
      if (!first && now.news.length) say(now.news.at(-1).text);
      if (now.standing) {
        store.standing = now.standing;
        standing();
      }
      if (now.version !== store.version) await renewed();
      else if (now.picks !== store.picks.stamp) await decided();
      told = now.last;
      first = false;
    } catch (trouble) {
      if (!gone) say(trouble.status ? trouble.message : "The page's server has ended: `padsweep page` starts it.");
      gone = true;
      wait = GONE_MS;
    }
    setTimeout(look, wait);
  }
  setTimeout(look, 200);
}
