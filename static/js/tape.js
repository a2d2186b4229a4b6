// Taping a room: tapped points fill From and To, keys fill the length, Enter in the list sends the line.
// Everything here also works without this script, by links and forms.
(function () {
  "use strict";
  const find = (selector) => document.querySelector(selector);
  const box = (name) => find(`#take [name=${name}]`);

  function mark() {
    const chosen = [box("start").value, box("end").value];
    document.querySelectorAll("[data-point]").forEach((link) => {
      const on = chosen.includes(link.dataset.point) && link.dataset.point !== "";
      if (on) link.setAttribute("aria-current", "true");
      else link.removeAttribute("aria-current");
    });
    const hint = find("[data-pair]");
    if (hint) hint.textContent = !chosen[0] ? "Tap the point the tape starts at."
      : !chosen[1] ? `From ${chosen[0]}: tap the other point.` : `${chosen[0]} to ${chosen[1]}: what does the tape say?`;
  }

  function choose(name) {
    const start = box("start"), end = box("end");
    if (start.value && !end.value && start.value !== name) end.value = name;
    else { start.value = name; end.value = ""; }
    mark();
    if (end.value) find("[data-value]").focus({ preventScroll: false });
  }

  document.addEventListener("click", (event) => {
    const point = event.target.closest("[data-point]");
    if (point && find("#take")) {
      event.preventDefault();
      choose(point.dataset.point);
      return;
    }
    const key = event.target.closest("[data-key]");
    if (key) {
      const field = find("[data-value]"), text = key.dataset.key;
      if (text === "back") field.value = field.value.replace(/\s$/, "").slice(0, -1);
      else if (text === "clear") field.value = "";
      else if (text.startsWith(" ")) field.value = field.value.replace(/\s+$/, "") + text;
      else field.value += text;
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }
    const board = event.target.closest("[data-board]");
    if (board) {
      const field = find("[data-value]");
      const plain = field.inputMode === "none";
      field.inputMode = plain ? "text" : "none";
      board.setAttribute("aria-pressed", String(plain));
      field.focus();
    }
  });

  document.addEventListener("change", (event) => {
    if (event.target.closest("#take select[name=start], #take select[name=end]")) mark();
  });

  document.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !event.target.matches("[data-lines]")) return;
    const field = event.target;
    const rest = field.value.slice(field.selectionEnd);
    if (rest.trim() || !field.value.trim()) return;
    event.preventDefault();
    field.form.requestSubmit();
  });

  function ready() {
    const pad = find("[data-keypad]");
    if (pad) pad.hidden = false;
    const field = find("[data-value]");
    if (field && window.matchMedia("(pointer: coarse)").matches) field.inputMode = "none";
    if (find("#take")) mark();
  }

  let last = "";
  document.addEventListener("htmx:beforeRequest", (event) => { last = event.detail.elt.id || ""; });
  document.addEventListener("htmx:beforeSwap", (event) => {
    // What was wrong is told in the page itself, with what was typed kept.
    if (event.detail.xhr.status === 422) { event.detail.shouldSwap = true; event.detail.isError = false; }
  });
  document.addEventListener("htmx:afterSwap", () => {
    ready();
    if (last === "list") find("[data-lines]").focus();
    else if (find("#take [aria-invalid=true]")) find("#take [aria-invalid=true]").focus({ preventScroll: true });
  });
  ready();
})();
