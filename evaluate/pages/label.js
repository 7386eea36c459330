// The label page: one photograph at a time, labels by key or button, each change saved at once.
"use strict";
(() => {
  const at = (id) => document.getElementById(id);
  const PROCESS = [["1", "painted"], ["2", "printed"]];
  const NOT = ["0", "cannot tell"];
  const ROWS = [
    { key: "d", column: "dial_process", title: "Dial", words: [...PROCESS, ["3", "mixed"], NOT] },
    { key: "s", column: "signature", title: "Signature", words: [...PROCESS, NOT] },
    { key: "n", column: "numerals", title: "Numerals", words: [...PROCESS, NOT] },
    { key: "m", column: "minute_track", title: "Minute track", words: [...PROCESS, NOT] },
    { key: "b", column: "seconds_bit", title: "Seconds bit", words: [...PROCESS, NOT] },
    { key: "p", column: "print_process", title: "Printed by", words: [["1", "transfer"], ["2", "photographic"], NOT] },
    { key: "a", column: "basis", title: "Basis", words: [["1", "by eye"], ["2", "record"], ["3", "examined object"]] },
  ];
  const LAST_IN_TURN = 4; // after a label the next row is picked, up to the seconds bit
  const FREE = [
    { key: "w", column: "notes", title: "Notes", wide: true },
    { key: "i", column: "dial", title: "Dial id" },
    { key: "z", column: "size_mm", title: "Diameter, mm" },
    { key: "", column: "source", title: "Source" },
    { key: "", column: "object_type", title: "Object" },
  ];
  const FEWEST = 5;

  let photos = [];
  let here = -1; // index of the photograph shown
  let shown = null; // its details
  let found = null; // the dial the finder sees
  let inHand = 0;
  let marking = false;
  let points = []; // on the rim, px of the photograph
  let showCalls = false;

  // ---- asking the server, one request after another ----

  let queue = Promise.resolve();
  const enqueue = (work) => (queue = queue.then(work).catch((error) => trouble(error.message)));

  async function ask(path, body) {
    let reply;
    try {
      reply = await fetch(path, body === undefined ? {} : {
        method: "POST", keepalive: true, headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
      });
    } catch {
      throw new Error("Not saved: `dialtell label` is no longer running. Start it again; what was saved before is kept.");
    }
    const told = await reply.json();
    if (!reply.ok) throw new Error(body === undefined ? told.error : `Not changed: ${told.error}.`);
    return told;
  }

  function trouble(words) {
    at("trouble").textContent = words;
    at("trouble").hidden = !words;
    if (words) at("state").textContent = "";
  }

  function say(words) {
    at("state").textContent = words;
  }

  // ---- the panel ----

  function button(key, text) {
    const made = document.createElement("button");
    made.type = "button";
    const cap = document.createElement("kbd");
    cap.textContent = key;
    made.append(cap, " " + text);
    return made;
  }

  function build() {
    ROWS.forEach((row, index) => {
      const box = document.createElement("div");
      box.className = "row";
      box.setAttribute("role", "group");
      const head = document.createElement("h2");
      const cap = document.createElement("kbd");
      cap.textContent = row.key.toUpperCase();
      head.append(cap, " " + row.title);
      head.id = `row-${row.column}`;
      box.setAttribute("aria-labelledby", head.id);
      const choices = document.createElement("div");
      choices.className = "choices";
      row.buttons = row.words.map(([key, word]) => {
        const made = button(key, word);
        made.addEventListener("click", () => { pick(index); label(index, row.columnValue === word ? "" : word); });
        choices.append(made);
        return made;
      });
      box.append(head, choices);
      row.box = box;
      at("rows").append(box);
    });
    for (const free of FREE) {
      const box = document.createElement("label");
      if (free.wide) box.className = "wide";
      const title = document.createElement("span");
      if (free.key) {
        const cap = document.createElement("kbd");
        cap.textContent = free.key.toUpperCase();
        title.append(cap, " ");
      }
      title.append(free.title);
      free.input = document.createElement("input");
      free.input.maxLength = 1000;
      free.input.autocomplete = "off";
      free.input.addEventListener("input", () => { clearTimeout(free.timer); free.timer = setTimeout(() => keep(free), 600); });
      free.input.addEventListener("change", () => keep(free));
      box.append(title, free.input);
      at("free").append(box);
    }
  }

  function pick(index) {
    inHand = index;
    ROWS.forEach((row, place) => {
      row.box.classList.toggle("hand-on", place === index);
      row.box.setAttribute("aria-current", String(place === index));
    });
    if (index > 0 || window.scrollY > 0) ROWS[index].box.scrollIntoView({ block: "nearest" });
  }

  function fill() {
    for (const row of ROWS) {
      row.columnValue = shown.row[row.column];
      row.words.forEach(([, word], place) => row.buttons[place].setAttribute("aria-pressed", String(word === row.columnValue)));
    }
    for (const free of FREE) if (document.activeElement !== free.input) free.input.value = shown.row[free.column];
    const labelled = shown.row.dial_process !== "";
    photos[here].labelled = labelled;
    const done = photos.filter((photo) => photo.labelled).length;
    at("name").textContent = shown.name;
    at("place").textContent = `photograph ${here + 1} of ${photos.length}, ${done} labelled`;
    at("progress").max = photos.length;
    at("progress").value = done;
    at("reveal").disabled = !(labelled || showCalls);
    at("kept").hidden = labelled || showCalls;
    document.title = `${done} of ${photos.length} labelled: label dials`;
    trace();
  }

  // ---- changes ----

  function took(details, words) {
    trouble("");
    shown = details;
    fill();
    say([words, ...details.said].filter(Boolean).join(" "));
  }

  function label(index, word) {
    const id = shown && shown.id;
    enqueue(async () => {
      if (!shown || shown.id !== id) return;
      took(await ask("/change", { id, changes: { [ROWS[index].column]: word } }), "Saved.");
      if (word && index === inHand && index < LAST_IN_TURN) pick(index + 1);
    });
  }

  function labelInHand(key) {
    // which row is in hand is known only when earlier keys have been saved
    enqueue(async () => {
      const row = ROWS[inHand];
      const word = key === "" ? "" : (row.words.find(([cap]) => cap === key) || [])[1];
      if (!shown) return;
      if (word === undefined) return say(`${row.title} has no label ${key}.`);
      took(await ask("/change", { id: shown.id, changes: { [row.column]: word } }), "Saved.");
      if (word && inHand < LAST_IN_TURN) pick(inHand + 1);
    });
  }

  function keep(free) {
    clearTimeout(free.timer);
    const id = shown && shown.id;
    const value = free.input.value;
    enqueue(async () => {
      if (!shown || shown.id !== id) return;
      free.refused = false;
      if (value === shown.row[free.column]) return;
      try {
        took(await ask("/change", { id, changes: { [free.column]: value } }), "Saved.");
      } catch (error) {
        free.refused = true; // the page stays on this photograph until it is mended
        throw error;
      }
    });
  }

  const keepAll = () => FREE.forEach((free) => { if (shown && (free.refused || free.input.value !== shown.row[free.column])) keep(free); });
  const stuck = () => FREE.some((free) => free.refused);

  function undo() {
    keepAll();
    enqueue(async () => {
      if (stuck()) return;
      const details = await ask("/undo", {});
      if (!details.id) return say("There is nothing to undo.");
      const index = photos.findIndex((photo) => photo.id === details.id);
      if (index === here) {
        points = [];
        took(details, "");
      } else {
        await visit(index);
        took(details, "");
      }
    });
  }

  // ---- from photograph to photograph ----

  async function visit(index) {
    const details = await ask(`/photo/${photos[index].id}`);
    here = index;
    shown = details;
    found = null;
    points = [];
    setMarking(false);
    lens.hide();
    pick(0);
    trouble("");
    say("");
    at("call").replaceChildren();
    const readable = !details.error;
    at("unread").hidden = readable;
    at("unread").textContent = details.error;
    at("stage").hidden = !readable;
    at("mark").disabled = !readable;
    if (readable) {
      at("stage").style.setProperty("--shape", String(details.width / details.height));
      at("marks").setAttribute("viewBox", `0 0 ${details.width} ${details.height}`);
      at("photo").classList.add("coming"); // not the last photograph under this one's name
      at("photo").src = `/picture/${details.id}`;
      seek(details.id);
    } else at("photo").removeAttribute("src");
    fill();
    const next = photos[index + 1];
    if (next) new Image().src = `/picture/${next.id}`;
    if (showCalls && readable) reveal();
  }

  async function seek(id) {
    try {
      const told = await ask(`/dial/${id}`);
      if (!shown || shown.id !== id) return;
      found = told;
    } catch (error) {
      if (!shown || shown.id !== id) return;
      found = { outline: "", reason: error.message };
    }
    trace();
  }

  function go(step) {
    keepAll();
    enqueue(async () => {
      if (stuck()) return;
      const index = here + step;
      if (index >= 0 && index < photos.length) await visit(index);
      else say(step > 0 ? "This is the last photograph." : "This is the first photograph.");
    });
  }

  function onward() {
    keepAll();
    enqueue(async () => {
      if (stuck()) return;
      for (let step = 1; step <= photos.length; step += 1) {
        const index = (here + step) % photos.length;
        if (!photos[index].labelled) {
          if (index !== here) return visit(index);
          return say("All others are labelled.");
        }
      }
      say("All photographs are labelled.");
    });
  }

  // ---- the tool's own call ----

  function line(text) {
    const made = document.createElement("p");
    made.textContent = text;
    return made;
  }

  const number = (ratio) => (ratio === null ? "" : `, log10 LR ${ratio > 0 ? "+" : ratio < 0 ? "\u2212" : ""}${Math.abs(ratio).toFixed(2)}`);

  function reveal() {
    if (at("reveal").disabled) return;
    enqueue(async () => {
      const id = shown.id;
      say("Reading the dial\u2026");
      const told = await ask("/call", { id });
      if (shown.id !== id) return;
      say("");
      const head = document.createElement("strong");
      head.textContent = `Its call: ${told.call}${number(told.log10_lr)}.`;
      const list = document.createElement("ul");
      for (const zone of told.zones) {
        const item = document.createElement("li");
        item.textContent = `${zone.zone}: ${zone.judged ? zone.call + number(zone.log10_lr) : "not judged"}`;
        list.append(item);
      }
      const first = line("");
      first.append(head);
      at("call").replaceChildren(first, line(told.reason), list, line(told.cautions));
      if (!showCalls) at("call").append(line("A label you change from here on is marked in the notes as given with the call in view."));
    });
  }

  // ---- the outline ----

  function numbers() {
    return shown && shown.row.outline ? shown.row.outline.split(/\s+/).map(Number) : null;
  }

  function shape(name, attributes, style) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
    made.setAttribute("class", style);
    return made;
  }

  function ellipse([x, y, a, b, degrees], style) {
    return shape("ellipse", { cx: x, cy: y, rx: a, ry: b, transform: `rotate(${degrees} ${x} ${y})` }, style);
  }

  function trace() {
    const drawn = numbers();
    const parts = [];
    if (found && found.outline && !drawn) {
      const places = found.outline.split(" ").map(Number);
      parts.push(ellipse(places, "halo"), ellipse(places, "found"));
    }
    if (drawn && drawn.length === 5) parts.push(ellipse(drawn, "halo"), ellipse(drawn, "drawn"));
    if (shown && shown.width) {
      const radius = (5 * shown.width) / Math.max(1, at("stage").clientWidth);
      for (const [x, y] of points) parts.push(shape("circle", { cx: x, cy: y, r: radius }, "point"));
    }
    at("marks").replaceChildren(...parts);
    at("back").disabled = points.length === 0;
    at("clear").disabled = !drawn && points.length === 0;
    let words = "Looking for the dial\u2026";
    if (drawn) words = "Solid line: the outline as marked.";
    else if (found) words = found.outline ? "Dotted line: the dial as found. If it misses the rim of the enamel, mark the outline." : `No dial was found (${found.reason}). Mark its outline.`;
    if (marking) words = `Click on the rim of the enamel, or press Space at the middle of the magnifier: ${points.length} of at least ${FEWEST} points. ${drawn ? "More points make it better." : ""}`;
    at("outline").textContent = shown && shown.error ? "" : words;
    lens.draw();
  }

  function setMarking(on) {
    marking = on;
    at("mark").setAttribute("aria-pressed", String(on));
    at("stage").classList.toggle("marking", on);
  }

  function toggleMarking() {
    if (!shown || shown.error) return;
    setMarking(!marking);
    if (marking) points = [];
    trace();
  }

  function fit() {
    const id = shown.id;
    const sent = points.map(([x, y]) => [x, y]);
    trace();
    if (sent.length >= FEWEST || (sent.length === 0 && numbers()) || (sent.length === FEWEST - 1 && numbers())) {
      enqueue(async () => {
        if (shown.id !== id) return;
        took(await ask("/rim", { id, points: sent.length >= FEWEST ? sent : [] }), sent.length >= FEWEST ? "Outline saved." : "Outline taken away.");
      });
    }
  }

  function drop(x, y) {
    points.push([x * shown.width, y * shown.height]);
    fit();
  }

  function back() {
    if (!points.length) return;
    points.pop();
    fit();
  }

  function clear() {
    if (!shown || (!points.length && !numbers())) return;
    points = [];
    fit();
  }

  // ---- the magnifier ----

  const lens = makeLens(at("stage"), at("photo"), at("lens"), at("lens-state"), (brush, onto, scale, sharp) => {
    if (!marking) return;
    const drawn = numbers();
    const middle = at("lens").width / 2;
    for (const [colour, wide] of [["#ffffff", 3.5], ["#1e1d1a", 1.5]]) {
      brush.strokeStyle = colour;
      brush.lineWidth = wide * sharp;
      brush.beginPath();
      if (drawn) brush.ellipse(...onto(drawn[0] / shown.width, drawn[1] / shown.height), drawn[2] * scale / shown.width, drawn[3] * scale / shown.width, (drawn[4] * Math.PI) / 180, 0, 2 * Math.PI);
      brush.moveTo(middle - 14 * sharp, middle);
      brush.lineTo(middle + 14 * sharp, middle);
      brush.moveTo(middle, middle - 14 * sharp);
      brush.lineTo(middle, middle + 14 * sharp);
      brush.stroke();
    }
  });

  at("stage").addEventListener("click", () => { if (marking && shown && !shown.error) drop(lens.spot.x, lens.spot.y); });
  at("photo").addEventListener("load", () => { at("photo").classList.remove("coming"); trace(); });
  at("photo").addEventListener("error", () => { if (at("photo").hasAttribute("src")) trouble("The photograph could not be shown; reload the page."); });
  window.addEventListener("resize", trace);

  // ---- keys ----

  const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  const ACTS = {
    Enter: onward, ".": () => go(1), ",": () => go(-1), PageDown: () => go(1), PageUp: () => go(-1), u: undo, v: reveal,
    o: toggleMarking, l: back, x: clear, "+": () => lens.enlarge(1.25), "=": () => lens.enlarge(1.25), "-": () => lens.enlarge(0.8),
    Backspace: () => labelInHand(""), Delete: () => labelInHand(""),
    Escape: () => { lens.hide(); if (marking) { setMarking(false); trace(); } },
  };

  document.addEventListener("keydown", (event) => {
    const writing = event.target instanceof HTMLInputElement;
    if (writing) {
      if (event.key === "Escape" || event.key === "Enter") { event.target.blur(); event.preventDefault(); }
      return;
    }
    if (event.altKey || !shown) return;
    if (event.ctrlKey || event.metaKey) {
      if (event.key.toLowerCase() === "z" && !event.shiftKey) { undo(); event.preventDefault(); }
      return;
    }
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const onButton = event.target instanceof HTMLButtonElement && (key === "Enter" || key === " ");
    if (onButton) return; // the button's own
    const move = MOVES[key];
    const row = ROWS.findIndex((one) => one.key === key);
    const free = FREE.find((one) => one.key && one.key === key);
    if (move) {
      if (!shown.error) lens.move(...move, event.shiftKey);
    } else if (key === " " && marking) {
      if (!event.repeat) drop(lens.spot.x, lens.spot.y);
    } else if (/^\d$/.test(key)) {
      if (!event.repeat) labelInHand(key);
    } else if (row >= 0) {
      enqueue(async () => pick(row)); // after what was typed before it
    } else if (free) {
      free.input.focus();
      free.input.select();
    } else if (ACTS[key]) {
      ACTS[key]();
    } else {
      return;
    }
    event.preventDefault();
  });

  const BUTTONS = { onward, previous: () => go(-1), next: () => go(1), undo, reveal, mark: toggleMarking, back, clear };
  for (const [id, act] of Object.entries(BUTTONS)) at(id).addEventListener("click", act);
  // after a click the keys are meant for the page again, not for the button
  document.addEventListener("click", (event) => { if (event.detail > 0 && event.target.closest("button")) event.target.closest("button").blur(); });
  at("panel").addEventListener("submit", (event) => event.preventDefault());
  window.addEventListener("pagehide", keepAll);

  build();
  enqueue(async () => {
    const told = await ask("/photos");
    photos = told.photos;
    showCalls = told.show_calls;
    const first = photos.findIndex((photo) => !photo.labelled);
    await visit(first < 0 ? 0 : first);
    const who = told.labeller ? `${told.labeller}, saving in ${told.file}` : `Saving in ${told.file}`;
    say(first < 0 ? "All photographs are labelled." : `${who}.`);
  });
})();
