// The magnifier of the label page: follows the pointer, a tap or the arrow keys.
"use strict";
// over : draws upon what it shows; is given the brush, a function from shares of the photograph to px of the canvas,
// the photograph's width in px of the canvas, and px of the canvas per CSS px.
function makeLens(stage, photo, canvas, state, over) {
  const spot = { x: 0.5, y: 0.5 }; // shares of the photograph's width and height
  let power = 3;
  const within = (value) => Math.min(1, Math.max(0, value));

  function draw() {
    if (canvas.hidden || !photo.naturalWidth || photo.classList.contains("coming")) return;
    const frame = photo.getBoundingClientRect();
    const sharp = window.devicePixelRatio || 1;
    canvas.width = canvas.height = Math.round(canvas.clientWidth * sharp);
    canvas.style.left = `${100 * spot.x}%`;
    canvas.style.top = `${100 * spot.y}%`;
    const brush = canvas.getContext("2d");
    brush.fillStyle = "#dddddd";
    brush.fillRect(0, 0, canvas.width, canvas.height);
    brush.imageSmoothingQuality = "high";
    const width = frame.width * power * sharp;
    const height = frame.height * power * sharp;
    const onto = (x, y) => [canvas.width / 2 + (x - spot.x) * width, canvas.height / 2 + (y - spot.y) * height];
    brush.drawImage(photo, ...onto(0, 0), width, height);
    over(brush, onto, width, sharp);
  }

  function show(x, y) {
    spot.x = within(x);
    spot.y = within(y);
    canvas.hidden = false;
    draw();
  }

  function hide() {
    canvas.hidden = true;
    state.textContent = "";
  }

  function follow(event) {
    const frame = photo.getBoundingClientRect();
    show((event.clientX - frame.left) / frame.width, (event.clientY - frame.top) / frame.height);
  }

  function tell() {
    state.textContent = `Now ${Math.round(100 * spot.x)} % across, ${Math.round(100 * spot.y)} % down, power ${power.toFixed(1)}.`;
  }

  function enlarge(times) {
    power = Math.min(24, Math.max(1.5, power * times));
    show(spot.x, spot.y);
    tell();
  }

  function move(x, y, far) {
    const step = (far ? 0.15 : 0.03) / power; // of the photograph: finer when it shows less
    show(spot.x + x * step, spot.y + y * step);
    tell();
  }

  stage.addEventListener("pointermove", (event) => { if (event.pointerType !== "touch") follow(event); });
  stage.addEventListener("click", follow);
  stage.addEventListener("pointerleave", (event) => { if (event.pointerType !== "touch") hide(); });
  return { spot, draw, hide, move, enlarge };
}
