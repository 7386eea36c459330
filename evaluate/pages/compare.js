"use strict";
(() => {
  const both = document.querySelector("[data-both]");
  const panes = [...document.querySelectorAll("[data-pane]")];
  const layers = [...document.querySelectorAll("[data-pane] img, [data-pane] svg")];
  const over = document.querySelector("[data-over]");
  const lines = document.querySelector("[data-arrows]");
  const overlay = document.getElementById("overlay");
  const blink = document.getElementById("blink");
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
  for (const pane of panes) {
    pane.addEventListener("wheel", (event) => {
      event.preventDefault();
      const box = pane.getBoundingClientRect();
      zoomAt(event.deltaY < 0 ? 1.25 : 0.8, (event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
    }, { passive: false });
    pane.addEventListener("pointerdown", (event) => pane.setPointerCapture(event.pointerId));
    pane.addEventListener("pointermove", (event) => {
      if (!pane.hasPointerCapture(event.pointerId)) return;
      const side = pane.clientWidth * zoom;
      x -= event.movementX / side;
      y -= event.movementY / side;
      show();
    });
  }
  both.addEventListener("keydown", (event) => {
    const step = 0.1 / zoom;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    if (moves[event.key]) {
      x += moves[event.key][0];
      y += moves[event.key][1];
      show();
    } else if (event.key === "+" || event.key === "=") zoomAt(1.25, 0.5, 0.5);
    else if (event.key === "-") zoomAt(0.8, 0.5, 0.5);
    else if (event.key === "0") {
      zoom = 1;
      show();
    } else if (event.key === "b" || event.key === "B") blink.click();
    else return;
    event.preventDefault();
  });
  const cover = () => {
    if (over) over.style.opacity = overlay.value / 100;
  };
  overlay.addEventListener("input", cover);
  blink.addEventListener("change", () => {
    clearInterval(timer);
    if (!over) return;
    if (blink.checked) timer = setInterval(() => (over.style.opacity = over.style.opacity === "1" ? "0" : "1"), 600);
    else cover();
  });
  arrows.addEventListener("change", () => {
    if (lines) lines.toggleAttribute("hidden", !arrows.checked);
  });
  addEventListener("resize", show);
  show();
})();
