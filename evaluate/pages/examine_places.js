// Places on a photograph that a person draws round: not of the design, or of another part than was read.
"use strict";
const PLACE_WORDS = {
  hand: "a hand", stain: "a stain", label: "a label", reflection: "a reflection", signature: "signature",
  numerals: "numerals", "minute track": "minute track", "seconds bit": "seconds bit", other: "something else",
};

// The same outline with at most so many corners: those that bend least are left out.
const fewerCorners = (points, most, slack) => {
  const far = ([x, y], [ax, ay], [bx, by]) => {
    const [dx, dy] = [bx - ax, by - ay];
    const share = Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1)));
    return Math.hypot(x - ax - share * dx, y - ay - share * dy);
  };
  const thinned = (from, to, within) => {
    let [worst, at] = [within, -1];
    for (let k = from + 1; k < to; k += 1) {
      const off = far(points[k], points[from], points[to]);
      if (off > worst) [worst, at] = [off, k];
    }
    return at < 0 ? [points[from]] : [...thinned(from, at, within), ...thinned(at, to, within)];
  };
  // from the middle on, so that the two ends, which meet, are no chord
  const middle = Math.floor(points.length / 2);
  for (let within = slack; ; within *= 1.5) {
    const found = [...thinned(0, middle, within), ...thinned(middle, points.length - 1, within), points[points.length - 1]];
    if (found.length <= most) return found;
  }
};

// send(path, body) changes what is marked on the photograph shown, and answers when it is kept.
const placesOn = (send) => {
  const SPACE = "http://www.w3.org/2000/svg";
  const MOST_CORNERS = 80;
  const LEAST_AREA = 12; // px shown
  const NEAR = 14; // px shown, within which a corner is met again
  const at = (id) => document.getElementById(id);
  const svg = at("drawn");
  let photo = null;
  let drawing = false;
  let corners = []; // px of the photograph
  let cross = [0, 0]; // where Enter sets a corner
  let held = null; // { id, from, path } while a pointer is down

  const scale = () => (photo && photo.width ? photo.width : 1) / Math.max(svg.getBoundingClientRect().width, 1);
  const make = (kind, name, values) => {
    const node = document.createElementNS(SPACE, kind);
    node.setAttribute("class", name);
    for (const [key, value] of Object.entries(values)) node.setAttribute(key, value);
    svg.append(node);
    return node;
  };
  const text = (points) => points.map((point) => point.join(",")).join(" ");
  const within = ([x, y]) => [Math.min(Math.max(x, 0), photo.width), Math.min(Math.max(y, 0), photo.height)];
  const close = (p, q) => Math.hypot(p[0] - q[0], p[1] - q[1]) < NEAR * scale();

  function draw() {
    svg.replaceChildren();
    if (!photo || !photo.width) return;
    svg.setAttribute("viewBox", `0 0 ${photo.width} ${photo.height}`);
    for (const { what, polygon } of photo.places) {
      make("polygon", `spot ${what in { hand: 1, stain: 1, label: 1, reflection: 1 } ? "out" : "part"}`, { points: text(polygon) });
      const [x, y] = [0, 1].map((axis) => polygon.reduce((sum, point) => sum + point[axis], 0) / polygon.length);
      make("text", "spot-name", { x, y, "font-size": 13 * scale() }).textContent = PLACE_WORDS[what];
    }
    if (!drawing) return;
    const path = held && held.path ? held.path : corners;
    if (path.length) make("polyline", "draft", { points: text(path) });
    if (!held || !held.path) for (const [cx, cy] of corners) make("circle", "corner", { cx, cy, r: 5 * scale() });
    if (document.activeElement === svg) {
      const arm = 12 * scale();
      make("path", "cross", { d: `M${cross[0] - arm},${cross[1]}h${2 * arm}M${cross[0]},${cross[1] - arm}v${2 * arm}` });
    }
  }

  function tell(words) {
    if (at("spot-said").textContent !== words) at("spot-said").textContent = words;
  }

  function progress() {
    const count = corners.length;
    at("spot-done").disabled = count < 3;
    at("spot-back").disabled = !count;
    tell(!drawing ? "" : count ? `${count} corner${count === 1 ? "" : "s"} set.` : "Drag round it, or set corner after corner. Keys: arrows move the cross, Enter sets a corner.");
    draw();
  }

  function begin() {
    drawing = true;
    corners = [];
    cross = [photo.width / 2, photo.height / 2];
    modes();
    svg.focus({ preventScroll: true });
    svg.scrollIntoView({ block: "nearest" });
    progress();
  }

  function end() {
    drawing = false;
    corners = [];
    held = null;
    modes();
    progress();
  }

  function modes() {
    svg.classList.toggle("on", drawing);
    svg.closest(".look").classList.toggle("drawing", drawing);
    if (drawing) {
      svg.setAttribute("tabindex", "0");
      svg.removeAttribute("aria-hidden");
    } else {
      svg.removeAttribute("tabindex");
      svg.setAttribute("aria-hidden", "true");
    }
    at("spot-draw").setAttribute("aria-pressed", String(drawing));
    at("spot-draw").textContent = drawing ? "Draw no more" : "Draw round it";
    at("spot-done").hidden = !drawing;
    at("spot-back").hidden = !drawing;
  }

  // px shown that an outline encloses
  const area = (points) => Math.abs(points.reduce((sum, [x, y], k) => {
    const [u, v] = points[(k + 1) % points.length];
    return sum + x * v - u * y;
  }, 0)) / 2 / scale() ** 2;

  async function keep(points) {
    if (area(points) < LEAST_AREA) {
      corners = [];
      progress();
      tell("That encloses nothing. Draw round the place.");
      return;
    }
    const what = at("spot-what").value;
    const polygon = points.map((point) => within(point).map((value) => Math.round(value * 10) / 10));
    end();
    if (await send("", { what, polygon })) tell(`Marked: ${PLACE_WORDS[what]}.`);
    at("spot-draw").focus({ preventScroll: true });
  }

  function corner(point) {
    const met = corners.length && (close(point, corners[0]) || close(point, corners[corners.length - 1]));
    if (met || corners.length === MOST_CORNERS) {
      if (corners.length > 2) keep(corners);
      return;
    }
    corners.push(within(point));
    cross = within(point);
    progress();
  }

  const under = (event) => {
    const box = svg.getBoundingClientRect();
    return [(event.clientX - box.left) * scale(), (event.clientY - box.top) * scale()];
  };
  svg.addEventListener("pointerdown", (event) => {
    if (!drawing || event.button !== 0) return;
    if (held) { // a second finger: the photograph is enlarged, nothing drawn
      held = null;
      draw();
      return;
    }
    event.preventDefault();
    svg.focus({ preventScroll: true });
    svg.setPointerCapture(event.pointerId);
    held = { id: event.pointerId, from: under(event), path: null };
  });
  svg.addEventListener("pointermove", (event) => {
    if (!held || held.id !== event.pointerId) return;
    const point = within(under(event));
    if (!held.path && Math.hypot(point[0] - held.from[0], point[1] - held.from[1]) < 6 * scale()) return; // a tap shakes
    held.path = held.path || [within(held.from)];
    held.path.push(point);
    draw();
  });
  svg.addEventListener("pointerup", (event) => {
    if (!held || held.id !== event.pointerId) return;
    const { from, path } = held;
    held = null;
    if (!path) corner(from);
    else keep(fewerCorners(path, MOST_CORNERS, scale()));
  });
  svg.addEventListener("pointercancel", () => { held = null; draw(); });
  svg.addEventListener("keydown", (event) => {
    if (!drawing) return;
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const far = scale() * (event.shiftKey ? 1 : 10);
    if (step) {
      cross = within([cross[0] + step[0] * far, cross[1] + step[1] * far]);
      draw();
    } else if (event.key === "Enter" || event.key === " ") corner(cross);
    else if (event.key === "Backspace") back();
    else if (event.key === "Escape") {
      end();
      at("spot-draw").focus();
    } else return;
    event.preventDefault();
  });
  for (const kind of ["focus", "blur"]) svg.addEventListener(kind, draw);

  function back() {
    corners.pop();
    progress();
  }

  function list() {
    const rows = JSON.stringify([photo.sha256, photo.places]);
    if (at("spot-list").dataset.rows === rows) return;
    at("spot-list").dataset.rows = rows;
    at("spot-list").replaceChildren(...photo.places.map((place) => {
      const item = document.createElement("li");
      const day = place.at ? new Date(place.at).toLocaleDateString("en-GB", { day: "numeric", month: "short", year: "numeric" }) : "";
      const who = [place.by ? `marked by ${place.by}` : "marked", day && `on ${day}`].filter(Boolean).join(" ");
      const words = PLACE_WORDS[place.what];
      const away = document.createElement("button");
      away.type = "button";
      away.textContent = "Take away";
      away.setAttribute("aria-label", `Take away: ${words}`);
      away.addEventListener("click", () => send("/drop", { at: place.at }));
      item.append(`${words[0].toUpperCase()}${words.slice(1)}, ${who} `, away);
      return item;
    }));
  }

  at("spot-draw").addEventListener("click", () => (drawing ? end() : begin()));
  at("spot-done").addEventListener("click", () => keep(corners));
  at("spot-back").addEventListener("click", back);
  at("spot-undo").addEventListener("click", () => send("/undo", {}));
  at("spot-clear").addEventListener("click", () => send("/clear", {}));
  at("spots").addEventListener("toggle", () => { if (drawing && !at("spots").open) end(); });
  new ResizeObserver(draw).observe(svg);

  return {
    busy: () => held !== null,
    // the photograph that is shown now, null without one; marker: who marked a place last
    show: (shown, marker) => {
      if (drawing && (!shown || !photo || shown.sha256 !== photo.sha256)) end();
      photo = shown && shown.width ? shown : null;
      at("spots").hidden = !photo;
      if (!photo) {
        draw();
        return;
      }
      if (!at("spot-by").value && document.activeElement !== at("spot-by")) at("spot-by").value = marker;
      at("spot-parts").disabled = !photo.scaled && !photo.corners; // where on the dial it lies is not known
      if (at("spot-parts").disabled && at("spot-what").selectedOptions[0].parentElement === at("spot-parts")) at("spot-what").value = "hand";
      at("spot-undo").disabled = !photo.undo;
      at("spot-clear").disabled = !photo.places.length;
      list();
      if (!held) draw();
    },
  };
};
