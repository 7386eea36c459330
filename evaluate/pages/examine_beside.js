// Two dials side by side, 12 o'clock up in both: one place of the one lies where the same place of the other lies, at
// one scale in mm where both sizes are known, else as if both were equally large. What moves one moves both.
"use strict";
const besideOn = (ask, trouble, titled) => {
  const at = (id) => document.getElementById(id);
  const box = at("beside");
  const both = at("beside-both");
  const panes = [...both.children].map((glass, side) => {
    const pane = {
      glass, canvas: glass.querySelector("canvas"), words: glass.querySelector("p"), pick: at(`beside-photo-${side}`),
      name: at(`beside-name-${side}`), image: new Image(), full: new Image(), dial: null, photo: null, scale: null,
    };
    for (const image of [pane.image, pane.full]) image.addEventListener("load", () => draw());
    pane.pick.addEventListener("change", () => { take(pane, pane.pick.value); measure(); });
    gesturesOn(pane.canvas, { move, zoom: (factor, x, y) => zoom(factor, x - pane.canvas.clientWidth / 2, y - pane.canvas.clientHeight / 2) });
    return pane;
  });
  const RIM = 1.08; // of the dial's radius, which the whole dial is shown with
  const MOST = 80; // times the whole dial
  let radius = 1; // of the larger dial, in the unit of the view
  let unit = "";
  let view = { x: 0, y: 0, zoom: 1 }; // the dials' place in the middle of each pane; px shown per unit
  let fitted = true; // whole dials are shown
  let none = ""; // said while no other dial is chosen
  let asked = 0;
  let timer = 0;

  const sized = (dial) => dial && dial.size_mm;
  const usable = (dial) => dial.photographs.filter((photo) => photo.seen && (photo.corners || (photo.scaled && photo.geometry)));

  // where both dials are shown whole
  const least = () => Math.min(...panes.map(({ canvas }) => Math.min(canvas.clientWidth, canvas.clientHeight))) / (2 * RIM * radius);

  function put(pane, dial) {
    pane.dial = dial;
    const photos = dial ? usable(dial) : [];
    pane.name.textContent = dial ? titled(dial) : "";
    pane.pick.replaceChildren(...photos.map((photo) => new Option(photo.name, photo.sha256)));
    pane.pick.hidden = photos.length < 2;
    pane.pick.setAttribute("aria-label", dial ? `Photograph of ${titled(dial)}` : "Photograph");
    const first = photos.find((photo) => photo.role === "whole view") || photos.find((photo) => !photo.corners) || photos[0];
    take(pane, first ? first.sha256 : "");
    measure();
  }

  function take(pane, sha256) {
    const photo = pane.dial && pane.dial.photographs.find((each) => each.sha256 === sha256);
    pane.photo = photo || null;
    pane.words.hidden = !!photo;
    pane.words.textContent = !pane.dial ? "No other dial is chosen." : pane.dial.photographs.some((photo) => photo.state === "waiting") ? "Its photographs are being read. Close this and come back then." : "Where the dial lies is not known on any of its photographs.";
    pane.pick.value = sha256;
    for (const image of [pane.image, pane.full]) image.removeAttribute("src");
    pane.canvas.setAttribute("aria-label", photo ? `${titled(pane.dial)}, photograph ${photo.name}` : "No photograph");
    if (!photo) return;
    pane.image.src = `/pictures/${sha256}`;
    pane.full.src = `/pictures/${sha256}/full`;
  }

  // one unit for both, and where each photograph lies in it
  function measure() {
    const dials = panes.map((pane) => pane.dial);
    const mm = dials.every(sized);
    const was = radius;
    for (const pane of panes) {
      const { photo } = pane;
      const laid = photo && photo.corners && { corners: photo.corners, width: photo.width, height: photo.height };
      pane.scale = photo && scaleOf(laid ? null : photo.geometry, mm ? pane.dial.size_mm : 2, laid);
    }
    unit = mm ? "mm" : "radii";
    radius = mm ? Math.max(...dials.map(sized)) / 2 : 1;
    for (const name of ["x", "y"]) view[name] *= radius / was;
    view.zoom *= was / radius;
    if (fitted) whole();
    else draw();
  }

  function say() {
    const without = panes.map((pane) => pane.dial).filter((dial) => dial && !sized(dial));
    const words = !panes[1].dial ? none
      : unit === "mm" ? `Both at one scale, ${view.zoom.toFixed(view.zoom < 10 ? 1 : 0)} px to the millimetre here.`
        : `Shown as if both dials were equally large: give the size of ${without.map(titled).join(" and of ")} for millimetres.`;
    if (at("beside-scale").textContent !== words) at("beside-scale").textContent = words;
    both.dataset.view = [view.x, view.y, view.zoom].map((value) => value.toFixed(4)).join(" ");
  }

  function draw() {
    if (!box.open) return;
    const sharp = window.devicePixelRatio || 1;
    for (const { canvas, photo, scale, image, full } of panes) {
      const [wide, high] = [canvas.clientWidth, canvas.clientHeight];
      canvas.width = Math.round(wide * sharp);
      canvas.height = Math.round(high * sharp);
      const brush = canvas.getContext("2d");
      const shown = [full, image].find((each) => each.complete && each.naturalWidth);
      if (!photo || !shown) continue;
      const [[ox, oy], [ax, ay], [bx, by]] = [[0, 0], [1, 0], [0, 1]].map(scale.onto);
      const k = sharp * view.zoom;
      brush.setTransform(
        k * (ax - ox), k * (ay - oy), k * (bx - ox), k * (by - oy),
        k * (ox - view.x) + sharp * wide / 2, k * (oy - view.y) + sharp * high / 2,
      );
      brush.imageSmoothingEnabled = view.zoom / scale.perUnit < 3;
      brush.imageSmoothingQuality = "high";
      brush.drawImage(shown, 0, 0, photo.width, photo.height);
    }
    say();
  }

  function move(x, y) { // px shown
    fitted = false;
    view.x = Math.min(Math.max(view.x + x / view.zoom, -RIM * radius), RIM * radius);
    view.y = Math.min(Math.max(view.y + y / view.zoom, -RIM * radius), RIM * radius);
    draw();
  }

  function zoom(factor, x = 0, y = 0) { // about a place, px shown from the middle
    const was = view.zoom;
    view.zoom = Math.min(Math.max(was * factor, least() / 2), least() * MOST);
    move(x * (view.zoom / was - 1), y * (view.zoom / was - 1));
  }

  function whole() {
    fitted = true;
    view = { x: 0, y: 0, zoom: least() };
    draw();
  }

  // the dials that can be chosen
  async function find() {
    const number = ++asked;
    const text = at("beside-find").value.trim();
    const told = await ask(`/dials${text ? `?${new URLSearchParams({ text })}` : ""}`);
    if (number !== asked || !panes[0].dial) return;
    const others = told.dials.filter((row) => row.id !== panes[0].dial.id && row.photographs);
    at("beside-dial").replaceChildren(...others.map((row) => new Option(titled(row), row.id)));
    at("beside-dial").disabled = !others.length;
    none = text ? "No other dial is like that." : "There is no other dial yet.";
    await other();
  }

  async function other() {
    const id = at("beside-dial").value;
    const dial = id ? await ask(`/dials/${id}`) : null;
    if (id === at("beside-dial").value) put(panes[1], dial);
  }

  const attempt = (work) => work().then(() => trouble(""), (error) => { box.close(); trouble(error.message); });
  at("beside-find").addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(() => attempt(find), 200);
  });
  at("beside-dial").addEventListener("change", () => attempt(other));
  at("beside-in").addEventListener("click", () => zoom(1.4));
  at("beside-out").addEventListener("click", () => zoom(1 / 1.4));
  at("beside-whole").addEventListener("click", whole);
  at("beside-close").addEventListener("click", () => box.close());
  both.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const far = event.shiftKey ? 4 : 40;
    if (way) move(way[0] * far, way[1] * far);
    else if (event.key === "+" || event.key === "=") zoom(1.4);
    else if (event.key === "-") zoom(1 / 1.4);
    else if (event.key === "0") whole();
    else return;
    event.preventDefault();
  });
  new ResizeObserver(() => (fitted ? whole() : draw())).observe(both);

  return {
    open: async (dial) => {
      box.showModal();
      fitted = true;
      at("beside-find").value = none = "";
      panes[1].dial = panes[1].photo = null;
      put(panes[0], dial);
      put(panes[1], null);
      both.focus();
      await find();
    },
  };
};
