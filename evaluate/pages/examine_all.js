// All dials together: how far the person and the program agree, dials taken along and brought in.
"use strict";
const allOf = (ask, trouble) => {
  const at = (id) => document.getElementById(id);
  const TITLES = { dial: "The dial" };
  const title = (zone) => TITLES[zone] || zone[0].toUpperCase() + zone.slice(1);
  const text = (kind, words) => {
    const made = document.createElement(kind);
    made.textContent = words;
    return made;
  };

  async function agreement() {
    const { agreement: parts } = await ask("/agreement");
    const said = parts.filter((part) => part.n);
    at("agreed").hidden = !said.length;
    at("not-agreed").hidden = said.length > 0;
    at("agreed-words").hidden = !said.length;
    at("agreed").tBodies[0].replaceChildren(...said.map((part) => {
      const row = document.createElement("tr");
      const head = text("th", title(part.zone));
      head.scope = "row";
      const beyond = part.kappa === null ? "not to be told" : part.kappa.toFixed(2);
      const within = part.interval ? `${part.interval[0].toFixed(2)} to ${part.interval[1].toFixed(2)}` : "not to be told";
      row.append(head, ...[part.n, part.alike, part.opposed, beyond, within].map((words) => text("td", String(words))));
      return row;
    }));
    at("agreed-few").hidden = !said.some((part) => part.few);
  }

  async function bring(file) {
    at("brought").textContent = `Bringing in ${file.name}…`;
    at("bring").disabled = true;
    try {
      const told = await ask("/brought", file, "application/octet-stream");
      const count = (number, one, many) => `${number} ${number === 1 ? one : many}`;
      const words = [`${count(told.dials, "new dial", "new dials")} and ${count(told.photographs, "new photograph", "new photographs")} brought in`];
      if (told.known) words.push(`${count(told.known, "dial was", "dials were")} here already; only empty fields were filled`);
      if (told.missing) words.push(`${count(told.missing, "photograph", "photographs")} did not come along`);
      if (told.elsewhere) words.push(`${count(told.elsewhere, "photograph lies", "photographs lie")} under another dial here, and stayed there`);
      at("brought").textContent = `${words.join(". ")}.`;
    } catch (error) {
      at("brought").textContent = `Nothing more was brought in: ${error.message}.`;
    }
    at("bring").disabled = false;
  }

  at("bring").addEventListener("click", () => at("bring-file").click());
  at("bring-file").addEventListener("change", () => {
    const file = at("bring-file").files[0];
    at("bring-file").value = "";
    if (file) bring(file);
  });
  const show = async () => { if (at("agree").open) await agreement(); };
  at("agree").addEventListener("toggle", () => show().then(() => trouble(""), (error) => trouble(error.message)));
  return { show };
};
