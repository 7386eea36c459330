"use strict";
(() => {
  const dials = JSON.parse(document.getElementById("data").textContent);
  const grid = document.getElementById("grid");
  const more = document.getElementById("more");
  const shown = document.getElementById("shown");
  const inputs = ["by-call", "by-zone", "by-support", "by-decade", "by-words", "by-label"].map((id) => document.getElementById(id));
  const blocks = document.querySelectorAll("script[data-pictures]");
  const BLOCK = Number(grid.dataset.block);
  const opened = new Map(); // blocks of thumbnails, parsed when first needed: all of them at once take seconds
  const STYLES = { "hand-painted": "hand", printed: "print" };
  const STEP = 240; // tiles added at a time
  let room = STEP;
  dials.forEach((dial, place) => {
    dial.place = place;
    dial.words = [dial.id, dial.name, dial.who, dial.year, dial.label].join(" ").toLowerCase();
  });

  function picture(dial) {
    const block = Math.floor(dial.place / BLOCK);
    if (!opened.has(block)) opened.set(block, JSON.parse(blocks[block].textContent));
    const data = opened.get(block)[dial.place % BLOCK];
    if (!data) return null;
    const image = document.createElement("img");
    image.src = "data:image/jpeg;base64," + data;
    image.alt = "Dial " + dial.id;
    image.loading = "lazy";
    image.decoding = "async";
    return image;
  }

  const verdict = (dial, zone) => (zone ? dial.zones[zone] || [null, null] : [dial.call, dial.ratio]);

  function wanted() {
    const [call, zone, support, decade, words, label] = inputs.map((input) => (input ? input.value : ""));
    const sought = words.toLowerCase().split(/\s+/).filter(Boolean);
    return dials.filter((dial) => {
      const [said, ratio] = verdict(dial, zone);
      if (call && said !== call) return false;
      if (Number(support) > 0 && (ratio === null || Math.abs(ratio) < Number(support))) return false;
      if (!sought.every((word) => dial.words.includes(word))) return false;
      if (label === "some" && !dial.label) return false;
      if (label === "none" && dial.label) return false;
      if (label === "otherwise" && !dial.otherwise) return false;
      if (decade === "none") return dial.year === null;
      return !decade || (dial.year !== null && Math.floor(dial.year / 10) * 10 === Number(decade));
    });
  }

  function line(text, name) {
    const p = document.createElement("p");
    p.textContent = text;
    if (name) p.className = name;
    return p;
  }

  function tile(dial) {
    const box = document.createElement("article");
    box.className = "tile " + (STYLES[dial.call] || "open");
    const image = picture(dial);
    if (image) box.append(image);
    const ratio = dial.ratio === null ? "" : " " + (dial.ratio > 0 ? "+" : dial.ratio < 0 ? "\u2212" : "") + Math.abs(dial.ratio).toFixed(2);
    box.append(line(dial.call + ratio, "called"));
    if (dial.ratio !== null && dial.support) box.append(line(dial.support));
    if (dial.label) box.append(line("labelled " + dial.label + (dial.otherwise ? ": contradicts the call" : ""), dial.otherwise ? "otherwise" : ""));
    box.append(line(dial.id + (dial.year === null ? "" : ", " + dial.year) + (dial.who ? ", " + dial.who : "")));
    const last = line("");
    if (dial.link) {
      const anchor = document.createElement("a");
      anchor.href = dial.link;
      anchor.textContent = dial.name;
      last.append(anchor);
    } else last.textContent = dial.name;
    box.append(last);
    return box;
  }

  function draw() {
    const chosen = wanted();
    const groups = new Map();
    for (const dial of chosen.slice(0, room)) {
      const key = dial.year === null ? "No year" : Math.floor(dial.year / 10) * 10 + "s";
      if (!groups.has(key)) groups.set(key, []);
      groups.get(key).push(dial);
    }
    grid.replaceChildren();
    for (const [key, members] of groups) {
      const part = document.createElement("section");
      part.className = "decade";
      const head = document.createElement("h3");
      head.textContent = key;
      const tiles = document.createElement("div");
      tiles.className = "tiles";
      tiles.append(...members.map(tile));
      part.append(head, tiles);
      grid.append(part);
    }
    const seen = Math.min(room, chosen.length);
    shown.textContent = chosen.length + " of " + dials.length + " dials" + (seen < chosen.length ? ", first " + seen + " shown" : "");
    more.hidden = seen >= chosen.length;
  }

  for (const input of inputs)
    if (input) input.addEventListener("input", () => {
      room = STEP;
      draw();
    });
  more.addEventListener("click", () => {
    room += STEP;
    draw();
  });
  draw();
  const byId = new Map(dials.map((dial) => [String(dial.id), dial]));
  for (const spot of document.querySelectorAll("[data-thumb]")) {
    const image = byId.has(spot.dataset.thumb) ? picture(byId.get(spot.dataset.thumb)) : null;
    if (image) spot.append(image);
  }
})();
