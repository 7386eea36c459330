"use strict";
(() => {
  const both = document.querySelector("[data-both]");
  const panes = [...document.querySelectorAll("[data-pane]")];
  const layers = [...document.querySelectorAll("[data-pane] img, [data-pane] svg")];
  const over = document.querySelector("[data-over]");
  const lines = document.querySelector("[data-arrows]");
  const overlay = document.getElementById("overlay");
  const blink = document.getElementById("blink");
  const differ = document.getElementById("differ");
  const arrows = document.getElementById("arrows");
  const MOST = 12;
  let zoom = 1;
  let x = 0; // of the view's corner, shares of the dial's side
  let y = 0;
  let timer = 0;

  function show() {
    zoom = Math.min(MOST, Math.max(1, zoom));
    x = Math.min(1 - 1 / zoom, Math.max(0, x));
    y = Math.min(1 - 1 / zoom, Math.max(0, y));
    const side = panes[0].clientWidth;
    for (const layer of layers) layer.style.transform = "translate(" + -x * side * zoom + "px," + -y * side * zoom + "px) scale(" + zoom + ")";
    both.dataset.view = [zoom.toFixed(3), x.toFixed(4), y.toFixed(4)].join(" ");
  }
  function zoomAt(factor, atX, atY) {
    const before = zoom;
    zoom = Math.min(MOST, Math.max(1, zoom * factor));
    x += atX / before - atX / zoom;
    y += atY / before - atY / zoom;
    show();
  }
  const fingers = new Map(); // pointers that are down, by id: their places on the page
  let apart = 0; // distance between two fingers
  for (const pane of panes) {
    pane.addEventListener("wheel", (event) => {
      event.preventDefault();
      const box = pane.getBoundingClientRect();
      zoomAt(event.deltaY < 0 ? 1.25 : 0.8, (event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
    }, { passive: false });
    pane.addEventListener("pointerdown", (event) => {
      pane.setPointerCapture(event.pointerId);
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
      apart = 0;
    });
    pane.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
      const side = pane.clientWidth * zoom;
      x -= (event.clientX - before[0]) / side / fingers.size;
      y -= (event.clientY - before[1]) / side / fingers.size;
      if (fingers.size === 2) {
        const [one, two] = [...fingers.values()];
        const now = Math.hypot(one[0] - two[0], one[1] - two[1]);
        const box = pane.getBoundingClientRect();
        if (apart > 0) zoomAt(now / apart, ((one[0] + two[0]) / 2 - box.left) / box.width, ((one[1] + two[1]) / 2 - box.top) / box.height);
        apart = now;
      }
      show();
    });
    for (const end of ["pointerup", "pointercancel"])
      pane.addEventListener(end, (event) => {
        fingers.delete(event.pointerId);
        apart = 0;
      });
  }
  function whole() {
    zoom = 1;
    show();
  }
  for (const button of document.querySelectorAll("[data-by]"))
    button.addEventListener("click", () => (button.dataset.by === "0" ? whole() : zoomAt(Number(button.dataset.by), 0.5, 0.5)));
  both.addEventListener("keydown", (event) => {
    const step = 0.1 / zoom;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    if (moves[event.key]) {
      x += moves[event.key][0];
      y += moves[event.key][1];
      show();
    } else if (event.key === "+" || event.key === "=") zoomAt(1.25, 0.5, 0.5);
    else if (event.key === "-") zoomAt(0.8, 0.5, 0.5);
    else if (event.key === "0") whole();
    else if (over && (event.key === "b" || event.key === "B")) blink.click();
    else return;
    event.preventDefault();
  });
  // controls of what is laid over the first dial; of different designs there are none
  if (over) {
    const cover = () => {
      over.classList.toggle("differ", differ.checked);
      over.style.opacity = differ.checked ? 0.5 : overlay.value / 100;
    };
    differ.addEventListener("change", () => {
      if (differ.checked && blink.checked) blink.click();
      cover();
    });
    overlay.addEventListener("input", cover);
    blink.addEventListener("change", () => {
      clearInterval(timer);
      if (blink.checked && differ.checked) differ.checked = false;
      over.classList.remove("differ");
      if (blink.checked) timer = setInterval(() => (over.style.opacity = over.style.opacity === "1" ? "0" : "1"), 600);
      else cover();
    });
    arrows.addEventListener("change", () => {
      lines.toggleAttribute("hidden", !arrows.checked);
    });
  }
  addEventListener("resize", show);
  [zoom, x, y] = both.dataset.start.split(" ").map(Number);
  show();
})();
