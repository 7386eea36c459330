// A canvas moved and enlarged by mouse, wheel and fingers. Everything in px shown, from the canvas's corner.
// move(x, y): what is seen goes on by so much; zoom(factor, x, y): about a place; tap(x, y): touched and let go.
"use strict";
const gesturesOn = (canvas, { move, zoom, tap = () => {} }) => {
  const held = new Map(); // pointers down
  let still = true; // no pointer has moved since it went down
  canvas.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    event.preventDefault();
    canvas.setPointerCapture(event.pointerId);
    still = !held.size;
    held.set(event.pointerId, [event.offsetX, event.offsetY]);
  });
  canvas.addEventListener("pointermove", (event) => {
    const was = held.get(event.pointerId);
    if (!was) return;
    const is = [event.offsetX, event.offsetY];
    if (still && Math.hypot(is[0] - was[0], is[1] - was[1]) < 5) return; // a tap shakes
    still = false;
    held.set(event.pointerId, is);
    const other = [...held].find(([id]) => id !== event.pointerId);
    if (!other) {
      move(was[0] - is[0], was[1] - is[1]);
    } else {
      const [x, y] = other[1];
      const factor = Math.hypot(is[0] - x, is[1] - y) / Math.max(Math.hypot(was[0] - x, was[1] - y), 1);
      move((was[0] - is[0]) / 2, (was[1] - is[1]) / 2);
      zoom(factor, (is[0] + x) / 2, (is[1] + y) / 2);
    }
  });
  const up = (event) => {
    if (!held.delete(event.pointerId)) return;
    if (event.type === "pointerup" && still && !held.size) tap(event.offsetX, event.offsetY);
  };
  canvas.addEventListener("pointerup", up);
  canvas.addEventListener("pointercancel", up);
  canvas.addEventListener("wheel", (event) => {
    event.preventDefault();
    zoom(Math.exp(-event.deltaY / 400), event.offsetX, event.offsetY);
  }, { passive: false });
};
