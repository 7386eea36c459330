// The list of dials: searched, and shown a page at a time. shown is called with what the page was told of it.
"use strict";
const listOf = (ask, trouble, titled, shown) => {
  const at = (id) => document.getElementById(id);
  const sought = at("sought");
  const map = mapOf(sought.elements.decade, () => again(0));
  let start = 0;
  let asked = 0; // number of the last question; answers to older ones are thrown away

  const count = (number, one, many) => `${number.toLocaleString("en")} ${number === 1 ? one : many}`;
  const element = (kind, words, name) => {
    const made = document.createElement(kind);
    if (words !== undefined) made.textContent = words;
    if (name) made.className = name;
    return made;
  };

  function item(row) {
    const made = document.createElement("li");
    made.dataset.row = JSON.stringify(row);
    const open = document.createElement("a");
    open.href = `#dial-${row.id}`;
    if (row.cover) {
      const image = document.createElement("img");
      image.src = `/thumbnails/${row.cover}`;
      image.alt = "";
      open.append(image);
    } else {
      open.append(element("span", "", "blank"));
    }
    open.append(element("strong", titled(row)));
    const facts = [row.year, count(row.photographs, "photograph", "photographs"), row.waiting ? `${row.waiting} to read` : "", row.failed ? `${row.failed} not read` : ""];
    open.append(element("span", facts.filter(Boolean).join(", "), "soft"));
    const kind = { "hand-painted": "hand", printed: "print" }[row.call] || "no";
    if (row.call) open.append(element("span", row.call, `${kind}-word`));
    else if (row.kept_back) open.append(element("span", "call kept back", "soft"));
    const choose = element("label", "", "tick");
    const box = document.createElement("input");
    box.type = "checkbox";
    box.value = row.id;
    choose.append(box, "Choose", element("span", ` ${titled(row)}`, "unseen"));
    made.append(open, choose);
    return made;
  }

  async function show() {
    const number = ++asked;
    const given = new URLSearchParams(new FormData(sought));
    for (const [name, value] of [...given]) if (!value) given.delete(name);
    const searched = [...given.keys()].some((name) => name !== "zone" && name !== "aside");
    given.set("start", start);
    const told = await ask(`/dials?${given}`);
    if (number !== asked) return told.version;
    start = told.start;
    const box = at("dials");
    const kept = new Map([...box.children].map((each) => [each.dataset.row, each]));
    box.replaceChildren(...told.dials.map((row) => kept.get(JSON.stringify(row)) || item(row)));
    at("none").hidden = told.dials.length > 0 || !told.of;
    at("first").hidden = told.of > 0 || told.aside > 0;
    at("plates").hidden = told.of < 2; // of no use before
    at("below").hidden = told.of < 12; // they are in view
    at("agree").hidden = at("along-links").hidden = !told.of && !told.aside;
    at("seek").hidden = !told.of && !told.aside;
    at("seek-aside").hidden = !told.aside && !sought.elements.aside.value;
    const last = told.start + told.dials.length;
    const found = told.total > told.page ? `Dials ${(told.start + 1).toLocaleString("en")} to ${last.toLocaleString("en")} of ${told.total.toLocaleString("en")}` : count(told.total, "dial", "dials");
    const words = searched ? `${found} found among ${told.of.toLocaleString("en")}.` : `${found}.`;
    if (at("found").textContent !== words) at("found").textContent = words;
    at("seek-all").hidden = !searched;
    at("pager").hidden = told.total <= told.page;
    at("page-back").disabled = told.start === 0;
    at("page-on").disabled = last >= told.total;
    const decade = sought.elements.decade;
    const chosen = decade.value;
    const rows = told.decades.map(([year, dials]) => [String(year), `${year || "year unknown"}${year ? "s" : ""} (${dials})`]);
    if (decade.dataset.rows !== JSON.stringify(rows)) {
      decade.dataset.rows = JSON.stringify(rows);
      decade.replaceChildren(new Option("any year", ""), ...rows.map(([value, title]) => new Option(title, value, false, value === chosen)));
    }
    map.show(told.years, told.decades);
    sought.elements.zone.disabled = !sought.elements.call.value;
    shown(told);
    return told.version;
  }

  // one question at a time, and the last one always: who types is answered at once, and as often as answers come
  let asking = false;
  let more = false;
  const again = async (from) => {
    start = from;
    more = true;
    if (asking) return;
    asking = true;
    while (more) {
      more = false;
      await show().then(() => trouble(""), (error) => trouble(error.message));
    }
    asking = false;
  };
  at("below").addEventListener("click", (event) => {
    const panel = event.target.value && at(event.target.value);
    if (!panel) return;
    panel.open = true;
    panel.querySelector("summary").focus({ preventScroll: true });
    panel.scrollIntoView({ block: "start" });
  });
  at("seek-all").addEventListener("click", () => {
    sought.reset();
    again(0);
    at("found").focus({ preventScroll: true });
  });
  sought.addEventListener("submit", (event) => event.preventDefault());
  sought.addEventListener("input", () => again(0));
  for (const [id, step] of [["page-back", -1], ["page-on", 1]]) {
    at(id).addEventListener("click", () => {
      again(Math.max(0, start + step * 60));
      at("found").focus({ preventScroll: true });
      at("found").scrollIntoView({ block: "nearest" });
    });
  }
  return { show };
};
