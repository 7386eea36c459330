// The map of decades: a strip for each, its ten years side by side, the dials of a year stacked by their call. A strip
// that is pressed is the filter of the list; decade is the same filter as a choice, picked is called when it changed.
"use strict";
const mapOf = (decade, picked) => {
  const at = (id) => document.getElementById(id);
  const SVG = "http://www.w3.org/2000/svg";
  const KINDS = [["hand-painted", "hand"], ["printed", "print"], ["undetermined", "no"], ["kept back", "kept"], ["", "none"]]; // from below
  const FEWEST = 3; // dials that a strip is high at least
  const MOST = 40; // decades on end; above, those without dials are left out
  const WIDE = 20;
  const HIGH = 24;
  let drawn = "";
  let words = new Map(); // what is said of each strip, by the decade's value

  function strip(years, highest) {
    const drawing = document.createElementNS(SVG, "svg");
    drawing.setAttribute("viewBox", `0 0 ${WIDE} ${HIGH}`);
    drawing.setAttribute("preserveAspectRatio", "none");
    drawing.setAttribute("aria-hidden", "true");
    const wide = WIDE / years.length;
    const below = years.map(() => 0);
    for (const [call, name] of KINDS) {
      let bars = "";
      years.forEach((calls, place) => {
        const high = (HIGH * (calls.get(call) || 0)) / highest;
        if (high) bars += `M${(wide * place + 0.2).toFixed(2)} ${(HIGH - below[place]).toFixed(2)}h${(wide - 0.4).toFixed(2)}v${(-high).toFixed(2)}h${(0.4 - wide).toFixed(2)}z`;
        below[place] += high;
      });
      if (!bars) continue;
      const path = document.createElementNS(SVG, "path");
      path.setAttribute("d", bars);
      path.setAttribute("class", name);
      drawing.append(path);
    }
    return drawing;
  }

  function said(years) {
    const parts = KINDS.map(([call]) => [call || "not read", years.reduce((sum, calls) => sum + (calls.get(call) || 0), 0)]).filter(([, number]) => number);
    const all = parts.reduce((sum, [, number]) => sum + number, 0);
    const calls = parts.map(([call, number]) => `, ${number.toLocaleString("en")} ${call}`).join("");
    return { number: all.toLocaleString("en"), calls: ` dial${all === 1 ? "" : "s"}${calls}` };
  }

  function draw(rows, all) {
    const by = new Map();
    for (const [year, call, number] of rows) {
      if (!by.has(year)) by.set(year, new Map());
      by.get(year).set(call, number);
    }
    let starts = all.map(([start]) => start).filter(Boolean);
    const last = starts[starts.length - 1];
    if ((last - starts[0]) / 10 < MOST) starts = Array.from({ length: (last - starts[0]) / 10 + 1 }, (_, k) => starts[0] + 10 * k);
    const total = (calls) => [...calls.values()].reduce((sum, number) => sum + number, 0);
    const highest = Math.max(FEWEST, ...[...by].filter(([year]) => year).map(([, calls]) => total(calls)));
    const made = starts.map((start) => [String(start), `${start}s`, Array.from({ length: 10 }, (_, k) => by.get(start + k) || new Map()), highest]);
    const without = by.get(0) || new Map();
    if (all.some(([start]) => !start)) made.push(["0", "No year", [without], Math.max(FEWEST, total(without))]);
    words = new Map();
    const focused = at("decades").contains(document.activeElement) ? document.activeElement.value : null;
    at("decades").replaceChildren(...made.map(([value, title, years, high]) => {
      const told = said(years);
      words.set(value, `${title}: ${told.number}${told.calls}.`);
      const button = document.createElement("button");
      button.type = "button";
      button.value = value;
      button.dataset.none = told.number === "0" ? "1" : "";
      if (value === "0") button.className = "apart";
      button.append(strip(years, high), ...[["", title], ["", ` ${told.number}`], ["unseen", told.calls]].map(([name, text]) => {
        const span = document.createElement("span");
        span.className = name;
        span.textContent = text;
        return span;
      }));
      return button;
    }));
    for (const span of document.querySelectorAll(".key span")) {
      const call = KINDS.find(([, name]) => name === span.className)[0];
      span.hidden = !rows.some((row) => row[1] === call);
    }
    if (focused !== null) {
      const again = [...at("decades").children].find((each) => each.value === focused);
      if (again) again.focus({ preventScroll: true });
    }
  }

  const strips = () => [...at("decades").querySelectorAll("button:enabled")];

  // one stop of the Tab key for all of them; the pressed one, or the one that was left last
  function stop(one) {
    for (const each of strips()) each.tabIndex = each === one ? 0 : -1;
  }

  const tell = (value) => { at("decade-said").textContent = words.get(value) || ""; };

  // rows : year, call and number of the dials that are wanted, of any year; all : decade and number of all dials
  function show(rows, all) {
    at("map").hidden = !all.some(([start]) => start);
    const now = JSON.stringify([rows, all]);
    const fresh = now !== drawn;
    if (fresh) draw(rows, all);
    drawn = now;
    for (const each of at("decades").children) {
      each.setAttribute("aria-pressed", String(each.value === decade.value));
      each.disabled = !!each.dataset.none && each.value !== decade.value;
    }
    const pressed = strips().find((each) => each.value === decade.value);
    if (fresh || pressed) stop(pressed || strips()[0]);
    if (!at("decades").contains(document.activeElement)) tell(decade.value);
  }

  at("decades").addEventListener("click", (event) => {
    const made = event.target.closest("button");
    if (!made) return;
    decade.value = decade.value === made.value ? "" : made.value;
    stop(made);
    picked();
  });
  at("decades").addEventListener("keydown", (event) => {
    const all = strips();
    const here = all.indexOf(document.activeElement);
    const to = all[{ ArrowRight: here + 1, ArrowLeft: here - 1, Home: 0, End: all.length - 1 }[event.key]];
    if (here < 0 || !to) return;
    event.preventDefault();
    stop(to);
    to.focus();
  });
  for (const kind of ["focusin", "pointerover"]) at("decades").addEventListener(kind, (event) => {
    const made = event.target.closest("button");
    if (made) tell(made.value);
  });
  for (const kind of ["focusout", "pointerleave"]) at("decades").addEventListener(kind, () => tell(decade.value));
  return { show };
};
