"use strict";
// Turns the picture of a pattern. All other pictures stand without this script.
(() => {
  const data = JSON.parse(document.getElementById("pattern-data").textContent);
  const slider = document.getElementById("turn-presses");
  const told = document.getElementById("turn-told");
  const play = document.getElementById("turn-play");
  const cells = document.querySelectorAll("#turning [data-cell]");
  const all = Number(slider.max) + 1;
  let timer = 0;

  const show = () => {
    const presses = Number(slider.value);
    for (const cell of cells) {
      const at = Number(cell.dataset.cell);
      const [start, length] = data.loops[at];
      const mark = data.marks[start + ((((at - start - presses) % length) + length) % length)];
      const [rect, text] = cell.children;
      rect.setAttribute("fill", data.colours[mark]);
      text.setAttribute("fill", data.inks[mark]);
      text.textContent = mark === data.blank ? "" : mark;
    }
    told.textContent = presses === 0 ? "at the start" : `after ${presses} press${presses > 1 ? "es" : ""}`;
  };
  const turn = (by) => {
    slider.value = String((Number(slider.value) + by + all) % all);
    show();
  };
  const stop = () => {
    clearInterval(timer);
    timer = 0;
    play.textContent = "Play";
  };
  slider.addEventListener("input", show);
  document.getElementById("turn-back").addEventListener("click", () => turn(-1));
  document.getElementById("turn-on").addEventListener("click", () => turn(1));
  play.addEventListener("click", () => {
    if (timer) return stop();
    play.textContent = "Stop";
    timer = setInterval(() => turn(1), 700);
  });
  document.getElementById("player").hidden = false;
  show();
})();
