// What a drawing says of the part that is pointed at, tapped or reached with the keyboard, in a line above it.
// Without this script browsers show it beside the pointer, screen readers read it out, and a table has all of it.
(function () {
  "use strict";
  const told = (event) => {
    const part = event.target.closest && event.target.closest("figure.drawing svg g");
    const title = part && part.querySelector(":scope > title");
    const line = document.querySelector("[data-readout]");
    if (title && line) line.textContent = title.textContent;
  };
  for (const name of ["focusin", "pointerover", "click"]) document.addEventListener(name, told);
})();
