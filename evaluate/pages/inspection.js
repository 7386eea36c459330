// The magnifier: follows the pointer, a tap or the arrow keys. Layers are switched by the style sheet alone.
(() => {
  "use strict";
  const stage = document.querySelector("[data-stage]");
  const lens = document.querySelector("[data-lens]");
  const state = document.querySelector("[data-lens-state]");
  const photo = document.querySelector("[data-photo]");
  const maps = [...document.querySelectorAll("[data-map]")];
  const strokes = document.querySelector(".strokes");
  const strokesOn = document.getElementById("layer-strokes");
  const drawing = document.querySelector("svg.layer").viewBox.baseVal;
  const lines = strokes ? [...strokes.querySelectorAll(".trace path")] : [];
  const halos = strokes ? [...strokes.querySelectorAll(".halo path")] : [];
  const at = { x: 0.5, y: 0.5 }; // shares of the photograph's width and height
  let power = 3;
  document.querySelector("[data-lens-help]").hidden = false;

  const within = (value) => Math.min(1, Math.max(0, value));

  const switchOf = (map) => document.getElementById(map.dataset.map);

  function draw() {
    if (lens.hidden) return;
    const frame = stage.getBoundingClientRect();
    const side = lens.clientWidth;
    const sharp = window.devicePixelRatio || 1;
    lens.width = lens.height = Math.round(side * sharp);
    lens.style.left = `${100 * at.x}%`;
    lens.style.top = `${100 * at.y}%`;
    const brush = lens.getContext("2d");
    brush.fillStyle = "#dddddd";
    brush.fillRect(0, 0, lens.width, lens.height);
    brush.imageSmoothingQuality = "high";
    const width = frame.width * power * sharp;
    const height = frame.height * power * sharp;
    const left = lens.width / 2 - at.x * width;
    const top = lens.height / 2 - at.y * height;
    brush.drawImage(photo, left, top, width, height);
    for (const map of maps) if (switchOf(map).checked) brush.drawImage(map, left, top, width, height);
    if (strokes && strokesOn.checked) drawStrokes(brush, left, top, width / drawing.width, height / drawing.height);
  }

  // The strokes measured, as over the photograph: a light edge, then the line.
  function drawStrokes(brush, left, top, across, down) {
    brush.setTransform(across, 0, 0, down, left, top);
    brush.lineJoin = "round";
    const sharp = (window.devicePixelRatio || 1) / across;
    const shown = lines.filter((line) => line.classList.contains(strokes.classList.contains("some") ? "on" : "searched") === strokes.classList.contains("some"));
    for (const [ink, broad] of [["#ffffff", 3.5], ["#9c0063", 1.6]]) {
      brush.strokeStyle = ink;
      brush.lineWidth = broad * sharp;
      for (const line of shown) brush.stroke(new Path2D(line.getAttribute("d")));
    }
    brush.setTransform(1, 0, 0, 1, 0, 0);
  }

  function show(x, y) {
    at.x = within(x);
    at.y = within(y);
    lens.hidden = false;
    draw();
  }

  function hide() {
    lens.hidden = true;
    state.textContent = "";
  }

  function follow(event) {
    const frame = stage.getBoundingClientRect();
    show((event.clientX - frame.left) / frame.width, (event.clientY - frame.top) / frame.height);
  }

  function setPower(value) {
    power = Math.min(10, Math.max(1.5, value));
    draw();
  }

  stage.addEventListener("pointermove", (event) => { if (event.pointerType !== "touch") follow(event); });
  stage.addEventListener("click", follow);
  stage.addEventListener("pointerleave", (event) => {
    if (event.pointerType !== "touch" && document.activeElement !== stage) hide();
  });
  stage.addEventListener("blur", hide);
  for (const map of maps) {
    switchOf(map).addEventListener("change", (event) => {
      // one over the other they could not be read
      if (event.target.checked) for (const other of maps) if (other !== map) switchOf(other).checked = false;
      draw();
    });
  }
  if (strokesOn) strokesOn.addEventListener("change", draw);
  window.addEventListener("resize", draw);

  const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  stage.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const move = moves[event.key];
    if (move) {
      const step = event.shiftKey ? 0.05 : 0.01;
      show(at.x + move[0] * step, at.y + move[1] * step);
    } else if (event.key === "+" || event.key === "=") {
      if (lens.hidden) show(at.x, at.y);
      setPower(power * 1.25);
    } else if (event.key === "-") {
      setPower(power / 1.25);
    } else if (event.key === "Escape") {
      hide();
      return;
    } else {
      return;
    }
    event.preventDefault();
    state.textContent = `Now ${Math.round(100 * at.x)} % across, ${Math.round(100 * at.y)} % down, power ${power.toFixed(1)}.`;
  });

  // Which strokes a measurement was taken from: its button leaves only those on the photograph.
  if (!strokes) return;
  const chosen = document.querySelector("[data-chosen]");
  let asked = null;

  function numbers(text) {
    return text.split(" ").flatMap((part) => {
      const [first, last] = part.split("-").map(Number);
      return Array.from({ length: (last ?? first) - first + 1 }, (_, k) => first + k);
    });
  }

  function choose(button) {
    const some = button ? new Set(numbers(button.dataset.lines)) : null;
    strokes.classList.toggle("some", Boolean(some));
    [lines, halos].forEach((list) => list.forEach((line, k) => line.classList.toggle("on", Boolean(some && some.has(k)))));
    chosen.hidden = !some;
    document.querySelector("[data-chosen-said]").textContent = some ? `Only: ${button.dataset.said}.` : "";
    draw();
  }

  for (const button of document.querySelectorAll(".show")) {
    button.hidden = false;
    button.addEventListener("click", () => {
      asked = button;
      strokesOn.checked = true;
      choose(button);
      stage.scrollIntoView({ block: "center" });
      stage.focus({ preventScroll: true });
    });
  }
  document.querySelector("[data-all]").addEventListener("click", () => {
    choose(null);
    strokesOn.focus();
  });
  document.querySelector("[data-back]").addEventListener("click", (event) => {
    if (!asked) return;
    event.preventDefault();
    asked.scrollIntoView({ block: "center" });
    asked.focus({ preventScroll: true });
  });
})();
