// Keys for the list of alarms. They work only while the focus is in the list,
// so that they take nothing from a screen reader or from typing elsewhere.
"use strict";
(() => {
  const rows = () => [...document.querySelectorAll("#list .alarm")];
  const go = (from, by) => {
    const all = rows(), next = all[Math.min(Math.max(all.indexOf(from) + by, 0), all.length - 1)];
    next?.querySelector("input[name=pick], a")?.focus();
  };
  document.addEventListener("keydown", (event) => {
    const at = event.target, row = at.closest?.("#list .alarm");
    if (!row || event.ctrlKey || event.altKey || event.metaKey || (at.tagName === "INPUT" && at.type !== "checkbox")) return;
    const box = row.querySelector("input[name=pick]");
    switch (event.key) {
      case "j": case "ArrowDown": go(row, 1); break;
      case "k": case "ArrowUp": go(row, -1); break;
      case "x": if (box) box.checked = !box.checked; break;
      case "a": row.querySelector("button[value=acknowledge]")?.click(); break;
      case "t": document.getElementById("together-do")?.focus(); break;
      default: return;
    }
    event.preventDefault();
  });
})();
