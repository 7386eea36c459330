// The loupe: a photograph in full resolution, a grid of millimetres, distances, widths of strokes and angles.
"use strict";

// From px of a photograph to the dial's own plane, tilt taken out; lengths in mm, or in px without a scale.
// geometry : as a record has it, or null. millimetres : across the dial, or null.
// laid : { corners, width, height } of a close-up laid on the whole view, its corners in radii of the dial, or null.
const scaleOf = (geometry, millimetres, laid = null) => {
  if (!(geometry || laid) || !millimetres) {
    return { unit: "px", onto: (point) => point, back: (point) => point, perUnit: 1 };
  }
  if (laid) {
    const [[ox, oy], across, , down] = laid.corners.map((corner) => corner.map((value) => value * millimetres / 2));
    const [[a, b], [c, d]] = [[across[0] - ox, across[1] - oy], [down[0] - ox, down[1] - oy]];
    const area = a * d - b * c;
    return {
      unit: "mm",
      onto: ([x, y]) => [ox + a * x / laid.width + c * y / laid.height, oy + b * x / laid.width + d * y / laid.height],
      back: ([x, y]) => [(d * (x - ox) - c * (y - oy)) / area * laid.width, (a * (y - oy) - b * (x - ox)) / area * laid.height],
      perUnit: Math.sqrt(laid.width * laid.height / Math.abs(area)),
    };
  }
  const [a, b] = geometry.axes_px;
  const [cx, cy] = geometry.center_px;
  const slope = geometry.ellipse_angle_deg * Math.PI / 180;
  const [c, s] = [Math.cos(slope), Math.sin(slope)];
  const half = millimetres / 2;
  const flat = (x, y) => { // the outline made a circle
    const [u, v] = [(x * c + y * s) / a, (-x * s + y * c) / b];
    return [half * (u * c - v * s), half * (u * s + v * c)];
  };
  const turn = geometry.rotation_deg * Math.PI / 180;
  const twelve = flat(Math.sin(turn), -Math.cos(turn));
  const far = Math.hypot(...twelve);
  const [dx, dy] = [-twelve[1] / far, twelve[0] / far]; // what points right when 12 is up
  return {
    unit: "mm",
    onto: ([x, y]) => {
      const [u, v] = flat(x - cx, y - cy);
      return [u * dx + v * dy, -u * dy + v * dx];
    },
    back: ([x, y]) => {
      const [u, v] = [(x * dx - y * dy) / half, (x * dy + y * dx) / half];
      const [p, q] = [a * (u * c + v * s), b * (-u * s + v * c)];
      return [cx + p * c - q * s, cy + p * s + q * c];
    },
    perUnit: Math.sqrt(a * b) / half, // px of a photograph to a mm
  };
};

// Where a dark stroke begins and ends on the line from one point to another, at half its depth; null without one.
// light : brightness 0..1 at a point, in px of the photograph.
const strokeBetween = (light, from, to) => {
  const length = Math.hypot(to[0] - from[0], to[1] - from[1]);
  const count = Math.max(8, Math.ceil(length * 4));
  const along = (share) => [from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])];
  const row = Array.from({ length: count + 1 }, (_, k) => light(along(k / count)));
  const darkest = row.indexOf(Math.min(...row));
  const edge = (step) => {
    const side = step < 0 ? row.slice(0, darkest + 1) : row.slice(darkest);
    const ground = Math.max(...side);
    const level = (ground + row[darkest]) / 2;
    if (ground - row[darkest] < 0.08) return null;
    let k = darkest;
    while (row[k + step] !== undefined && row[k + step] < level) k += step;
    if (row[k + step] === undefined) return null;
    return (k + step * (level - row[k]) / (row[k + step] - row[k])) / count;
  };
  const [first, last] = [edge(-1), edge(1)];
  return first === null || last === null ? null : [along(first), along(last)];
};

const loupeOn = () => {
  const at = (id) => document.getElementById(id);
  const box = at("loupe");
  const lens = at("lens");
  const image = new Image();
  const NEEDS = { look: 0, distance: 2, width: 2, angle: 3 };
  const ASKS = {
    look: "Drag to move, turn the wheel or pinch to come nearer.",
    distance: "Set two points.",
    width: "Set a point on each side of a stroke.",
    angle: "Set three points; the angle is at the second.",
  };
  let scale = scaleOf(null, null);
  let view = { x: 0, y: 0, zoom: 1 }; // px of the photograph in the middle; px shown per px of it
  let tool = "look";
  let points = [];
  let grid = false;
  let fitted = true; // the whole photograph is shown
  let pixels = null; // of the photograph round what was measured last

  const size = () => [lens.clientWidth || 1, lens.clientHeight || 1];
  const shown = ([x, y]) => [(x - view.x) * view.zoom + size()[0] / 2, (y - view.y) * view.zoom + size()[1] / 2];
  const under = (x, y) => [(x - size()[0] / 2) / view.zoom + view.x, (y - size()[1] / 2) / view.zoom + view.y];
  const within = (value, most) => Math.min(Math.max(value, 0), most);
  const apart = (p, q) => {
    const [a, b] = [scale.onto(p), scale.onto(q)];
    return Math.hypot(a[0] - b[0], a[1] - b[1]);
  };
  const words = (length) => (scale.unit === "mm" ? `${length.toFixed(length < 1 ? 3 : 2)} mm` : `${length.toFixed(1)} px`);

  function light([x, y]) {
    if (!pixels) {
      const xs = points.map((point) => point[0]);
      const ys = points.map((point) => point[1]);
      const left = Math.floor(Math.min(...xs)) - 2;
      const top = Math.floor(Math.min(...ys)) - 2;
      const width = Math.min(Math.ceil(Math.max(...xs)) - left + 4, 4000);
      const height = Math.min(Math.ceil(Math.max(...ys)) - top + 4, 4000);
      const copy = new OffscreenCanvas(width, height).getContext("2d", { willReadFrequently: true });
      copy.drawImage(image, -left, -top);
      pixels = { left, top, width, data: copy.getImageData(0, 0, width, height).data };
    }
    const value = (column, row) => {
      const k = 4 * ((row - pixels.top) * pixels.width + column - pixels.left);
      const [r, g, b] = [0, 1, 2].map((channel) => ((pixels.data[k + channel] || 0) / 255) ** 2.2);
      return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    };
    const [u, v] = [x - 0.5, y - 0.5]; // a pixel's value is that of its middle
    const [i, j] = [Math.floor(u), Math.floor(v)];
    const [p, q] = [u - i, v - j];
    return (1 - q) * ((1 - p) * value(i, j) + p * value(i + 1, j)) + q * ((1 - p) * value(i, j + 1) + p * value(i + 1, j + 1));
  }

  // what was measured: the words, and the lines that show it
  function measured() {
    if (!NEEDS[tool] || points.length < NEEDS[tool]) return null;
    if (tool === "distance") return { words: words(apart(...points)), lines: [points] };
    if (tool === "angle") {
      const [p, q, r] = points.map(scale.onto);
      const between = Math.abs(Math.atan2(p[1] - q[1], p[0] - q[0]) - Math.atan2(r[1] - q[1], r[0] - q[0])) * 180 / Math.PI;
      return { words: `${Math.min(between, 360 - between).toFixed(1)}°`, lines: [points] };
    }
    const found = strokeBetween(light, ...points);
    return found ? { words: `${words(apart(...found))} wide`, lines: [found] } : { words: "No dark stroke lies between these two points.", lines: [points] };
  }

  function rule(brush) {
    const [wide, high] = size();
    const step = (scale.unit === "mm" ? [0.1, 0.5, 1, 5, 10] : [1, 10, 100, 1000]).find((each) => each * scale.perUnit * view.zoom >= 9);
    if (!step) return "";
    const corners = [[0, 0], [wide, 0], [wide, high], [0, high]].map(([x, y]) => scale.onto(under(x, y)));
    for (const axis of [0, 1]) {
      const [low, top] = [Math.min, Math.max].map((f) => f(...corners.map((corner) => corner[axis])));
      const [from, to] = [Math.min, Math.max].map((f) => f(...corners.map((corner) => corner[1 - axis])));
      for (let k = Math.ceil(low / step); k <= top / step; k += 1) {
        const ends = [from, to].map((other) => shown(scale.back(axis ? [other, k * step] : [k * step, other])));
        brush.strokeStyle = k % 5 ? "rgba(0, 60, 120, 0.3)" : "rgba(0, 60, 120, 0.75)";
        brush.lineWidth = k === 0 ? 2 : 1;
        brush.beginPath();
        brush.moveTo(...ends[0]);
        brush.lineTo(...ends[1]);
        brush.stroke();
      }
    }
    return `Grid: ${step} ${scale.unit}`;
  }

  function draw() {
    if (!box.open || !image.naturalWidth) return;
    const sharp = window.devicePixelRatio || 1;
    const [wide, high] = size();
    lens.width = Math.round(wide * sharp);
    lens.height = Math.round(high * sharp);
    const brush = lens.getContext("2d");
    brush.scale(sharp, sharp);
    brush.fillStyle = "#777";
    brush.fillRect(0, 0, wide, high);
    brush.imageSmoothingEnabled = view.zoom < 3;
    brush.imageSmoothingQuality = "high";
    brush.drawImage(image, ...shown([0, 0]), image.naturalWidth * view.zoom, image.naturalHeight * view.zoom);
    const ruled = grid ? rule(brush) : "";
    const found = measured();
    const line = (path, colour, width) => {
      brush.strokeStyle = colour;
      brush.lineWidth = width;
      brush.beginPath();
      path.map(shown).forEach(([x, y], k) => (k ? brush.lineTo(x, y) : brush.moveTo(x, y)));
      brush.stroke();
    };
    for (const path of found ? found.lines : [points]) {
      line(path, "#000", 4);
      line(path, "#ffd54a", 2);
    }
    for (const [x, y] of points.map(shown)) {
      brush.beginPath();
      brush.arc(x, y, 6, 0, 7);
      brush.strokeStyle = "#000";
      brush.lineWidth = 3.5;
      brush.stroke();
      brush.strokeStyle = "#ffd54a";
      brush.lineWidth = 1.8;
      brush.stroke();
    }
    if (NEEDS[tool] && document.activeElement === lens) { // where Enter sets a point
      brush.strokeStyle = "#fff";
      brush.lineWidth = 1;
      brush.globalCompositeOperation = "difference";
      for (const [x, y] of [[14, 0], [0, 14]]) {
        brush.beginPath();
        brush.moveTo(wide / 2 - x, high / 2 - y);
        brush.lineTo(wide / 2 + x, high / 2 + y);
        brush.stroke();
      }
      brush.globalCompositeOperation = "source-over";
    }
    const said = found ? found.words : ASKS[tool];
    if (at("measured").textContent !== said) at("measured").textContent = said;
    const near = scale.unit === "mm" ? `1 mm is ${scale.perUnit.toFixed(0)} px of the photograph.` : "Lengths are in px: give the dial’s size for millimetres.";
    at("loupe-scale").textContent = `Shown at ${Number(view.zoom.toFixed(view.zoom >= 1 ? 1 : 2))} times the photograph’s own size. ${near} ${ruled}`;
    at("loupe-anew").hidden = !points.length;
  }

  function zoom(factor, x = size()[0] / 2, y = size()[1] / 2) {
    const [px, py] = under(x, y);
    view.zoom = Math.min(Math.max(view.zoom * factor, 0.02), 40);
    const [nx, ny] = under(x, y);
    move(px - nx, py - ny);
  }

  function move(x, y) { // by px of the photograph
    fitted = false;
    view.x = within(view.x + x, image.naturalWidth);
    view.y = within(view.y + y, image.naturalHeight);
    draw();
  }

  function whole() {
    fitted = true;
    view = { x: image.naturalWidth / 2, y: image.naturalHeight / 2, zoom: Math.min(size()[0] / image.naturalWidth, size()[1] / image.naturalHeight) };
    draw();
  }

  function set(point) {
    if (!NEEDS[tool]) return;
    if (points.length >= NEEDS[tool]) points = [];
    points.push([within(point[0], image.naturalWidth), within(point[1], image.naturalHeight)]);
    pixels = null;
    draw();
  }

  function anew() {
    points = [];
    draw();
  }

  function take(name) {
    tool = name;
    for (const each of Object.keys(NEEDS)) at(`tool-${each}`).setAttribute("aria-pressed", String(each === name));
    anew();
  }

  gesturesOn(lens, { move: (x, y) => move(x / view.zoom, y / view.zoom), zoom, tap: (x, y) => set(under(x, y)) });
  lens.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const far = event.shiftKey ? 1 : 40 / view.zoom;
    if (way) move(way[0] * far, way[1] * far);
    else if (event.key === "+" || event.key === "=") zoom(1.4);
    else if (event.key === "-") zoom(1 / 1.4);
    else if (event.key === "0") whole();
    else if (event.key === "Enter" || event.key === " ") set([view.x, view.y]);
    else if (event.key === "Backspace") anew();
    else return;
    event.preventDefault();
  });
  for (const kind of ["focus", "blur"]) lens.addEventListener(kind, draw);
  for (const name of Object.keys(NEEDS)) at(`tool-${name}`).addEventListener("click", () => take(name));
  at("loupe-grid").addEventListener("click", () => {
    grid = !grid;
    at("loupe-grid").setAttribute("aria-pressed", String(grid));
    draw();
  });
  at("loupe-in").addEventListener("click", () => zoom(1.4));
  at("loupe-out").addEventListener("click", () => zoom(1 / 1.4));
  at("loupe-whole").addEventListener("click", whole);
  at("loupe-anew").addEventListener("click", () => { anew(); at("lens").focus(); });
  at("loupe-close").addEventListener("click", () => box.close());
  image.addEventListener("load", () => { at("loupe-wait").hidden = true; whole(); });
  image.addEventListener("error", () => { at("loupe-wait").textContent = "This photograph cannot be shown in full."; });
  new ResizeObserver(() => (fitted && image.naturalWidth ? whole() : draw())).observe(lens);

  return {
    open: (photo, millimetres) => {
      const laid = photo.corners && { corners: photo.corners, width: photo.width, height: photo.height };
      scale = scaleOf(photo.scaled ? photo.geometry : null, millimetres, laid);
      points = [];
      box.showModal();
      lens.setAttribute("aria-label", `Photograph ${photo.name} under the loupe. Arrow keys move, plus and minus come nearer and go back, Enter sets a point at the cross.`);
      const address = `/pictures/${photo.sha256}/full`;
      if (image.getAttribute("src") !== address) {
        at("loupe-wait").textContent = "Fetching the photograph in full…";
        at("loupe-wait").hidden = false;
        image.src = address;
      } else if (image.naturalWidth) whole();
      lens.focus();
    },
  };
};
