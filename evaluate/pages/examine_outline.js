// The dial's outline and 12 o'clock on a photograph, with handles: drawn, dragged, moved by key.
"use strict";
const outlineOn = (svg, released) => {
  const SPACE = "http://www.w3.org/2000/svg";
  const HANDLES = [
    ["centre", "Middle of the dial"],
    ["major", "Longer half of the outline and its slope"],
    ["minor", "Shorter half of the outline"],
    ["twelve", "12 o’clock"],
  ];
  let size = [1, 1]; // of the photograph, px
  let at = null; // { cx, cy, a, b, degrees, twelve }
  let held = null; // name of the handle in hand
  let moved = { outline: false, twelve: false };
  let timer = 0;

  const make = (kind, name, under) => {
    const node = document.createElementNS(SPACE, kind);
    node.setAttribute("class", name);
    under.append(node);
    return node;
  };
  const zones = make("g", "zones", svg);
  const edge = make("ellipse", "edge", svg);
  const way = make("line", "way", svg);
  const handles = HANDLES.map(([name, title]) => {
    const grip = make("circle", "grip", svg); // as wide as a finger
    const node = make("circle", `handle ${name}`, svg);
    node.setAttribute("tabindex", "0");
    node.setAttribute("role", "button");
    node.setAttribute("aria-label", title);
    node.id = `handle-${name}`;
    const hint = document.createElementNS(SPACE, "title");
    hint.textContent = title;
    grip.append(hint);
    node.append(hint.cloneNode(true));
    for (const each of [grip, node]) each.addEventListener("pointerdown", (event) => take(event, name, node));
    node.addEventListener("keydown", (event) => key(event, name));
    return { name, node, grip };
  });

  const turn = (degrees) => [Math.cos(degrees * Math.PI / 180), Math.sin(degrees * Math.PI / 180)];
  const scale = () => size[0] / Math.max(svg.getBoundingClientRect().width, 1); // px of the photograph per px shown

  // where 12 stands is an angle as the photograph shows it, clockwise from up
  function rim(degrees) {
    const [x, y] = [Math.sin(degrees * Math.PI / 180), -Math.cos(degrees * Math.PI / 180)];
    const [c, s] = turn(at.degrees);
    const [u, v] = [x * c + y * s, -x * s + y * c];
    const far = 1 / Math.hypot(u / at.a, v / at.b);
    return [at.cx + x * far, at.cy + y * far];
  }

  function place(name) {
    const [c, s] = turn(at.degrees);
    if (name === "centre") return [at.cx, at.cy];
    if (name === "major") return [at.cx + at.a * c, at.cy + at.a * s];
    if (name === "minor") return [at.cx - at.b * s, at.cy + at.b * c];
    return rim(at.twelve);
  }

  function draw() {
    svg.setAttribute("viewBox", `0 0 ${size[0]} ${size[1]}`);
    for (const node of [edge, way, ...handles.flatMap(({ node, grip }) => [node, grip])]) node.style.display = at ? "" : "none";
    if (!at) return;
    for (const [name, value] of [["cx", at.cx], ["cy", at.cy], ["rx", at.a], ["ry", at.b]]) edge.setAttribute(name, value);
    edge.setAttribute("transform", `rotate(${at.degrees} ${at.cx} ${at.cy})`);
    const [x, y] = place("twelve");
    for (const [name, value] of [["x1", at.cx], ["y1", at.cy], ["x2", x], ["y2", y]]) way.setAttribute(name, value);
    for (const { name, node, grip } of handles) {
      const [hx, hy] = place(name);
      for (const [each, radius] of [[node, 8], [grip, 22]]) {
        each.setAttribute("cx", hx);
        each.setAttribute("cy", hy);
        each.setAttribute("r", radius * scale());
      }
    }
  }

  function move(name, x, y) {
    if (name === "centre") {
      at.cx = x;
      at.cy = y;
    } else if (name === "twelve") {
      at.twelve = Math.atan2(x - at.cx, at.cy - y) * 180 / Math.PI;
    } else {
      const long = Math.max(Math.hypot(x - at.cx, y - at.cy), 8);
      const angle = Math.atan2(y - at.cy, x - at.cx) * 180 / Math.PI;
      if (name === "major") {
        const round = Math.abs(at.a - at.b) < 0.005 * at.a; // a circle stays one
        [at.a, at.degrees] = [long, angle];
        if (round) at.b = long;
      } else {
        at.b = long;
      }
    }
    moved[name === "twelve" ? "twelve" : "outline"] = true;
    draw();
  }

  function release() {
    held = null;
    if (at.b > at.a) [at.a, at.b, at.degrees] = [at.b, at.a, at.degrees + 90];
    draw();
    if (moved.outline || moved.twelve) {
      released({
        outline: moved.outline ? [at.cx, at.cy, at.a, at.b, ((at.degrees % 180) + 180) % 180] : null,
        twelve_deg: moved.twelve ? at.twelve : null,
      });
    }
  }

  function take(event, name, node) {
    if (event.button !== 0) return;
    event.preventDefault();
    node.focus({ preventScroll: true });
    held = name;
    svg.setPointerCapture(event.pointerId);
  }
  svg.addEventListener("pointermove", (event) => {
    if (!held) return;
    const box = svg.getBoundingClientRect();
    move(held, (event.clientX - box.left) * scale(), (event.clientY - box.top) * scale());
  });
  svg.addEventListener("pointerup", () => { if (held) release(); });
  svg.addEventListener("pointercancel", () => { if (held) release(); });

  function key(event, name) {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!step || !at) return;
    event.preventDefault();
    const far = scale() * (event.shiftKey ? 10 : 1);
    const [x, y] = place(name);
    move(name, x + step[0] * far, y + step[1] * far);
    clearTimeout(timer);
    timer = setTimeout(release, 600); // several presses are one change
  }

  new ResizeObserver(draw).observe(svg);
  return {
    busy: () => held !== null,
    // geometry as a record has it, or null; marked: what a person said before
    show: (width, height, geometry, marked) => {
      if (held) return;
      size = [width || 1, height || 1];
      moved = { outline: !!marked.outline, twelve: marked.twelve_deg !== undefined };
      at = geometry && {
        cx: geometry.center_px[0], cy: geometry.center_px[1],
        a: Math.max(...geometry.axes_px), b: Math.min(...geometry.axes_px),
        degrees: geometry.ellipse_angle_deg, twelve: geometry.rotation_deg,
      };
      if (marked.outline) {
        const [cx, cy, a, b, degrees] = marked.outline;
        at = { cx, cy, a, b, degrees, twelve: at ? at.twelve : 0 };
      }
      if (at && marked.twelve_deg !== undefined) at.twelve = marked.twelve_deg;
      draw();
    },
    begin: () => {
      const radius = 0.4 * Math.min(...size);
      at = { cx: size[0] / 2, cy: size[1] / 2, a: radius, b: radius, degrees: 0, twelve: 0 };
      moved.outline = true;
      draw();
      handles[0].node.focus();
    },
    zones: (list) => {
      zones.replaceChildren();
      for (const { points, kind } of list) {
        make("polygon", `zone ${kind}`, zones).setAttribute("points", points.map((point) => point.join(",")).join(" "));
      }
    },
  };
};
