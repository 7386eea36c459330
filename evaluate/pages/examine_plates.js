// Dials laid on each other: those chosen on the list, or all of like design; and what was found of them.
"use strict";
const platesOf = (ask, trouble, titled) => {
  const at = (id) => document.getElementById(id);
  const KIND = { "same design, one plate fits both": "print-word" };
  const chosen = new Map(); // what the dials that are ticked are called, by number
  let only = ""; // the dials that were laid last, where they were chosen
  const attempt = (work) => work().then(() => trouble(""), (error) => trouble(error.message));
  const capital = (words) => words && words[0].toUpperCase() + words.slice(1);
  const element = (kind, words, name) => {
    const made = document.createElement(kind);
    if (words !== undefined) made.textContent = words;
    if (name) made.className = name;
    return made;
  };

  // ---- choosing ----

  const choosing = () => at("dials").classList.contains("choosing");

  function tick() {
    for (const box of at("dials").querySelectorAll("input")) box.checked = chosen.has(Number(box.value));
    at("choosing").hidden = !choosing();
    at("plates-choose").setAttribute("aria-pressed", String(choosing()));
    const words = chosen.size ? `Chosen: ${[...chosen.values()].join(", ")}.` : "Tick two dials or more on the list.";
    if (at("chosen").textContent !== words) at("chosen").textContent = words;
    at("plates-chosen").disabled = chosen.size < 2;
  }

  function choose(on) {
    at("dials").classList.toggle("choosing", on);
    if (!on) chosen.clear();
    tick();
  }

  at("dials").addEventListener("change", (event) => {
    const row = JSON.parse(event.target.closest("li").dataset.row);
    if (event.target.checked) chosen.set(row.id, titled(row));
    else chosen.delete(row.id);
    tick();
  });
  at("plates-choose").addEventListener("click", () => {
    choose(!choosing());
    if (!choosing()) return;
    const first = at("dials").querySelector("input");
    if (first) first.focus({ preventScroll: true });
    at("found").scrollIntoView({ block: "start" });
  });
  at("plates-leave").addEventListener("click", () => {
    choose(false);
    at("plates-choose").focus();
  });

  // ---- laying ----

  async function lay(dials) {
    await ask("/plates", { dials });
    only = dials ? dials.join(",") : "";
    at("plates-every").checked = !!dials; // who chose two dials wants to be told of them, whatever it is
    if (dials) choose(false);
    at("plates").open = true;
    at("plates-now").focus({ preventScroll: true });
    at("plates").scrollIntoView({ block: "start" });
    await tell();
  }

  at("plates-chosen").addEventListener("click", () => attempt(() => lay([...chosen.keys()])));
  at("plates-all").addEventListener("click", () => attempt(() => lay(null)));
  at("plates-stop").addEventListener("click", () => attempt(async () => {
    await ask("/plates/stop", {});
    await tell();
  }));

  // ---- what was found ----

  function line(row) {
    const made = document.createElement("tr");
    const dials = row.dials.map((dial) => {
      const cell = document.createElement("td");
      const link = element("a", titled(dial));
      link.href = `#dial-${dial.id}`;
      cell.append(link);
      return cell;
    });
    const found = document.createElement("td");
    found.append(element("span", row.finding === "cannot tell" ? "It cannot be told" : capital(row.finding), KIND[row.finding]));
    if (row.note) found.append(element("p", capital(row.note), "soft"));
    made.append(...dials, found, element("td", row.support), element("td", row.reason));
    return made;
  }

  async function tell() {
    const given = new URLSearchParams();
    if (only) given.set("dials", only);
    if (at("plates-every").checked) given.set("every", "1");
    const told = await ask(`/plates?${given}`);
    at("plates-all").disabled = told.busy;
    at("plates-stop").hidden = !told.busy;
    const back = told.kept_back === 1 ? "1 dial is left out, as its call is kept back." : `${told.kept_back} dials are left out, as their calls are kept back.`;
    if (at("plates-now").textContent !== told.now) at("plates-now").textContent = told.now;
    const words = [told.said, told.kept_back ? back : ""].filter(Boolean).join(" ");
    if (at("plates-said").textContent !== words) at("plates-said").textContent = words;
    at("plates-wrong").replaceChildren(...told.errors.map((error) => element("li", capital(error))));
    at("plates-more").hidden = !told.laid && !only;
    at("plates-only").hidden = !only;
    at("plates-table").hidden = !told.rows.length;
    at("plates-table").tBodies[0].replaceChildren(...told.rows.map(line));
    at("plates-rest").hidden = told.rows.length === told.listed;
    at("plates-rest").textContent = `The first ${told.rows.length} of ${told.listed} pairs are shown.`;
  }

  at("plates-every").addEventListener("change", () => attempt(tell));
  at("plates-only").addEventListener("click", () => attempt(async () => {
    only = "";
    at("plates-every").checked = false;
    await tell();
    at("plates-now").focus({ preventScroll: true });
  }));
  const show = async () => { if (at("plates").open) await tell(); };
  at("plates").addEventListener("toggle", () => attempt(show));
  return { show, tick };
};
