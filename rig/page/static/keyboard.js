// Single keys; none of them acts while somebody writes, or with Ctrl, Alt or the like.

import { $ } from "./dom.js";

const OFF = "padsweep keys off";

// `first` gives actions that come before the others just now.
export function listen(actions, first = () => ({})) {
  const box = $("keys-on");
  try {
    box.checked = localStorage.getItem(OFF) === null;
  } catch { /* a browser may keep nothing */ }
  box.addEventListener("change", () => {
    try {
      if (box.checked) localStorage.removeItem(OFF);
      else localStorage.setItem(OFF, "1");
    } catch { /* then it holds for this tab */ }
  });
  document.addEventListener("keydown", (event) => {
    const field = event.target.closest?.("input, textarea, select, dialog");
    if (event.key === "Escape" && field && !field.closest("dialog")) {
      event.preventDefault(); // a search field would be emptied, and nobody told
      field.blur();
      return;
    }
    if (field?.type !== "checkbox" && field) return;
    if (!box.checked || event.ctrlKey || event.metaKey || event.altKey) return;
    // A button that has the focus is pressed by space, as everywhere.
    if (event.key === " " && event.target.closest?.("button, summary, [role=button]")) return;
    const act = first()[event.key] ?? actions[event.key] ?? actions[event.key.toLowerCase()];
    if (!act || event.repeat) return;
    event.preventDefault();
    act();
  });
}
