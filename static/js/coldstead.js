// Small helps for pages that work without them. No state, no markup of its own.

// A part that was swapped in may have a line to say: HX-Trigger: {"said": "Revision 14 logged"}.
document.addEventListener("said", (event) => {
  const region = document.getElementById("said");
  const line = document.createElement("p");
  line.textContent = event.detail?.value ?? event.detail;
  region?.replaceChildren(line);
});

// What belongs together lights together: the row of a table and its run on the ladder share a data-key.
function light(target, on) {
  const key = target.closest?.("[data-key]")?.dataset.key;
  if (!key) return;
  for (const part of document.querySelectorAll(`[data-key="${CSS.escape(key)}"]`)) {
    part.classList.toggle("lit", on);
  }
}
for (const [name, on] of [["mouseover", true], ["mouseout", false], ["focusin", true], ["focusout", false]]) {
  document.addEventListener(name, (event) => light(event.target, on));
}

// An open menu shuts when somebody goes on elsewhere, or presses Escape.
function shutMenus(but) {
  for (const menu of document.querySelectorAll("[data-shut-outside][open]")) {
    if (!menu.contains(but)) menu.open = false;
  }
}
document.addEventListener("click", (event) => shutMenus(event.target));
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  document.activeElement?.closest?.("[data-shut-outside][open]")?.querySelector("summary").focus();
  shutMenus(null);
});

// Buttons that need this script are hidden until it runs.
function reveal() {
  for (const button of document.querySelectorAll("[data-print][hidden]")) button.hidden = false;
}
document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) window.print();
});
document.addEventListener("htmx:after:swap", reveal);
document.addEventListener("DOMContentLoaded", reveal);

// A sheet of paper says when it was printed.
window.addEventListener("beforeprint", () => {
  const at = new Date().toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
  for (const place of document.querySelectorAll("[data-printed-at]")) place.textContent = `, ${at}`;
});
