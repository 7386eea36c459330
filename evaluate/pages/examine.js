// The examination: dials, their photographs, what the person says of them, and the program's call beside it.
"use strict";
(() => {
  const at = (id) => document.getElementById(id);
  const PLACES = [["dial", "The dial"], ["signature", "Signature"], ["numerals", "Numerals"], ["minute track", "Minute track"], ["seconds bit", "Seconds bit"]];
  const LABELS = [["painted", "painted"], ["printed", "printed"], ["cannot tell", "cannot tell"]];
  const FIELDS = ["name", "maker", "serial", "year", "source", "price", "notes"];
  const UNITS = { mm: "size_mm", size: "size", lignes: "lignes" };
  const ROLES = { "whole view": "the others are laid on this one", "laid on it": "laid on the whole view", "cut from it": "cut out of the whole view’s photograph, shows nothing new; left out", "not placed": "could not be laid on the whole view; left out", "another dial": "perhaps of another dial, for it does not fit; left out" };
  const PHOTOGRAPH = /^[^.].*\.(jpe?g|png|hei[cf]|tiff?|webp|avif|jp2|gif|bmp|ppm)$/i;
  const TOGETHER = 2; // photographs sent at a time
  const PACE = 700; // ms between two questions how far the work is, while something is in hand or the server is gone
  const NEXT = 200; // ms from an answer to the next question, which is answered when there is news

  let version = -1;
  let dial = null; // the one that is open
  let here = ""; // sha256 of the photograph shown
  let coming = 0; // photographs on their way to the folder

  // ---- asking ----

  async function ask(path, body, form) {
    let reply;
    try {
      reply = await fetch(path, body === undefined ? {} : {
        method: "POST",
        headers: { "Content-Type": form || "application/json" },
        body: form ? body : JSON.stringify(body),
      });
    } catch {
      throw new Error("`dialtell examine` is no longer running. Start it again; what was kept is still there.");
    }
    const told = await reply.json();
    if (!reply.ok) throw new Error(told.error);
    return told;
  }

  function trouble(words) {
    at("trouble").textContent = words && words[0].toUpperCase() + words.slice(1);
    at("trouble").hidden = !words;
  }

  const attempt = (work) => work().then(() => trouble(""), (error) => trouble(error.message));

  function element(kind, words, name) {
    const made = document.createElement(kind);
    if (words !== undefined) made.textContent = words;
    if (name) made.className = name;
    return made;
  }

  // ---- photographs on their way ----

  // what was dropped: loose photographs are one dial, each folder that holds some is another
  async function drop(things) {
    const folders = [];
    const gather = async (things, name) => {
      const files = [];
      for (const thing of things) {
        if (thing.isDirectory) {
          const reader = thing.createReader();
          const inside = [];
          for (let part = null; !part || part.length; inside.push(...part)) part = await new Promise((done, failed) => { reader.readEntries(done, failed); });
          await gather(inside, thing.name);
        } else {
          const file = thing.isFile ? await new Promise((done, failed) => { thing.file(done, failed); }) : thing;
          if (!name || PHOTOGRAPH.test(file.name)) files.push(file);
        }
      }
      if (files.length) folders.push({ name, files });
    };
    await gather(things, "");
    if (!folders.length && things.length) throw new Error("There is no photograph in what was dropped.");
    const wrong = [];
    const to = dial && dial.id;
    for (const { name, files } of folders) {
      await add(files, to, name, folders.length === 1).catch((error) => wrong.push(error.message));
    }
    if (wrong.length) throw new Error(wrong.join(" "));
  }

  // to : number of the dial whose photographs they are, null for a new one, called name; or for one each, if that is ticked
  async function add(files, to, name = "", look = true) {
    const each = !to && at("each-new").checked;
    const wrong = [];
    const before = new Map(); // photographs of a dial that were kept before
    const left = [...files];
    let target = to;
    coming += left.length;
    tell();
    const carry = async (file) => {
      const given = new URLSearchParams({ name: file.name });
      if (!target) {
        if (at("blind-new").checked) given.set("blind", "1");
        given.set("as", (each ? file.name.replace(/\.\w+$/, "") : name).slice(0, 200));
      }
      try {
        const kept = await ask(`${target ? `/dials/${target}` : ""}/photographs?${given}`, file, "application/octet-stream");
        if (kept.fresh && !each) {
          target = kept.dial;
          if (look) location.hash = `dial-${target}`;
        } else if (!kept.fresh && kept.dial !== target) before.set(kept.dial, [...(before.get(kept.dial) || []), file.name]);
      } catch (error) {
        wrong.push(`${file.name} was not kept: ${error.message}`);
      }
      coming -= 1;
      tell();
      version = -1;
    };
    while (left.length && !target && !each) await carry(left.shift()); // the first that is new begins the dial
    await Promise.all(Array.from({ length: TOGETHER }, async () => { while (left.length) await carry(left.shift()); }));
    if (look && before.size === 1 && !target && !each) location.hash = `dial-${[...before.keys()][0]}`;
    if (before.size > 3) wrong.push(`${[...before.values()].flat().length} photographs were kept before, under ${before.size} other dials`);
    else for (const [number, names] of before) wrong.push(`${names.join(", ")} ${names.length === 1 ? "was" : "were"} kept before, under ${titled(await ask(`/dials/${number}`))}`);
    if (wrong.length) throw new Error(wrong.join(". ") + ".");
  }

  let state = { waiting: 0, doing: [] };
  function tell() {
    const words = [];
    if (coming) words.push(`keeping ${coming} photograph${coming === 1 ? "" : "s"}`);
    words.push(...state.doing);
    if (state.waiting) words.push(`${state.waiting} more to do`);
    const writing = state.doing.some((what) => what.startsWith("writing the page")) ? "Both are being written; that takes some seconds." : "";
    if (at("writing").textContent !== writing) at("writing").textContent = writing;
    const text = words.join(", ");
    const not = dial && at("fields").querySelector("[aria-invalid]");
    const said = text ? text[0].toUpperCase() + text.slice(1) : not ? "One field is not kept." : "Everything is kept.";
    if (at("doing").textContent !== said) at("doing").textContent = said;
  }

  // ---- the list ----

  const titled = (row) => row.name || [row.maker, row.serial].filter(Boolean).join(" ") || `Dial ${row.id}`;

  function blank() {
    const made = element("div", undefined, "blank");
    made.setAttribute("aria-hidden", "true");
    return made;
  }

  function small(sha256) {
    const made = document.createElement("img");
    made.src = `/thumbnails/${sha256}`;
    made.alt = "";
    made.loading = "lazy";
    return made;
  }

  const plates = platesOf(ask, trouble, titled);
  const list = listOf(ask, trouble, titled, plates.tick);
  const all = allOf(ask, trouble);

  // ---- one dial ----

  // the one picked, else the first that shows anything
  function photoHere() {
    const all = dial ? dial.photographs : [];
    return all.find((photo) => photo.sha256 === here) || all.find((photo) => photo.role === "whole view") || all.find((photo) => photo.seen) || all[0];
  }
  const kind = (call) => ({ "hand-painted": "hand", printed: "print" })[call] || "";

  const outline = outlineOn(at("marks"), (marked) => {
    const photo = photoHere();
    const said = { ...photo.marked };
    delete said.close_up;
    if (marked.outline) said.outline = marked.outline;
    if (marked.twelve_deg !== null) said.twelve_deg = marked.twelve_deg;
    mark(photo, said);
  });

  const loupe = loupeOn();

  const beside = besideOn(ask, trouble, titled);

  const places = placesOn(async (path, body) => {
    const by = at("spot-by").value.trim();
    let kept = false;
    await attempt(async () => {
      took(await ask(`/photographs/${photoHere().sha256}/places${path}`, path === "/undo" ? body : { ...body, by }));
      kept = true;
    });
    return kept;
  });

  function mark(photo, said) {
    return attempt(async () => took(await ask(`/photographs/${photo.sha256}/mark`, said)));
  }

  function took(told) {
    dial = told;
    fill();
  }

  function word(call, ratio, reason) {
    const made = document.createElement("span");
    made.append(element("span", call, `${kind(call)}-word`));
    if (ratio) made.append(`, ${ratio}`);
    if (reason) made.title = reason;
    return made;
  }

  function fill() {
    at("name").textContent = titled(dial);
    document.title = titled(dial);
    for (const name of FIELDS) {
      const input = at("fields").elements[name];
      if (document.activeElement !== input) input.value = dial[name] === null ? "" : dial[name];
    }
    const { size, unit } = at("fields").elements;
    if (document.activeElement !== size) size.value = dial.size === null ? "" : dial.size;
    if (document.activeElement !== unit && dial.size_as) unit.value = UNITS[dial.size_as];
    at("blind").checked = dial.blind;
    at("aside").textContent = dial.aside ? "Put this dial back on the list" : "Set this dial aside";
    fillPhoto();
    fillStrip();
    fillOpinions();
  }

  function fillPhoto() {
    const photo = photoHere();
    at("stage").hidden = !photo || (photo.state === "failed" && !photo.seen);
    for (const id of ["circle", "unmark", "part", "open-loupe", "open-beside"]) at(id).hidden = !photo || (photo.state === "failed" && !photo.seen);
    if (!photo) {
      at("said").textContent = "No photographs yet.";
      at("other").hidden = true;
      places.show(null);
      return;
    }
    const address = `/pictures/${photo.sha256}`;
    if (photo.seen && at("photo").getAttribute("src") !== address) at("photo").src = address;
    if (!photo.seen) at("photo").removeAttribute("src");
    at("photo").alt = `Photograph ${photo.name}`;
    at("stage").style.setProperty("--shape", photo.width ? photo.width / photo.height : 1);
    outline.show(photo.width, photo.height, photo.close_up ? null : photo.geometry, photo.marked);
    const zones = photo.call ? photo.call.zones : {};
    outline.zones(photo.zones.map(({ zone, polygon_px }) => ({ points: polygon_px, kind: kind(zones[zone] && zones[zone].call) })));
    places.show(photo, dial.marker);
    const waiting = photo.state === "waiting";
    const marked = Object.keys(photo.marked).length > 0;
    at("said").textContent = photo.error
      || (waiting ? "Being read…"
        : photo.role === "laid on it" ? "A close-up. It was laid on the whole view and read with it."
        : photo.no_dial
        || (marked || photo.places.length ? "Read with what you marked. Drag the handles to put it right again."
          : "Is the outline right, and 12 o’clock, the yellow handle? Drag the handles, or move them with the arrow keys. Broken lines go round the parts."));
    at("other").hidden = dial.photographs.length < 2;
    at("open-loupe").disabled = !photo.seen;
    at("circle").hidden = !!photo.geometry || !!photo.marked.outline || !photo.width || photo.role === "laid on it";
    at("unmark").hidden = !marked;
    at("part").setAttribute("aria-pressed", String(!!photo.marked.close_up));
  }

  function fillStrip() {
    const inHand = document.activeElement && document.activeElement.dataset.sha256;
    const waitingNow = dial.photographs.some((photo) => photo.state === "waiting");
    at("strip").replaceChildren(...dial.photographs.map((photo) => {
      const item = document.createElement("li");
      const pick = element("button");
      pick.type = "button";
      pick.dataset.sha256 = photo.sha256;
      pick.setAttribute("aria-current", String(photo === photoHere()));
      pick.append(photo.seen ? small(photo.sha256) : blank(), element("span", photo.name));
      const call = photo.call && !photo.no_dial ? photo.call.call : "";
      const words = photo.state === "waiting" ? "being read" : photo.state === "failed" ? "" : dial.kept_back ? "read" : call || (photo.role === "laid on it" ? "" : "no dial found");
      pick.append(element("span", words, `${kind(words)}-word`));
      pick.addEventListener("click", () => { here = photo.sha256; fillPhoto(); fillStrip(); });
      item.append(pick);
      const of = photo.role === "whole view" && !dial.photographs.some((each) => each.role === "laid on it") ? "" : photo.role;
      if (of && !waitingNow) item.append(element("p", ROLES[of] || "", of === "another dial" ? "wrong" : "soft role"));
      if (photo.error) item.append(element("p", photo.error, "wrong"));
      if (photo.sha256 === inHand) queueMicrotask(() => pick.focus());
      return item;
    }));
  }

  function fillOpinions() {
    const body = at("opinions").tBodies[0];
    const call = dial.call;
    if (!body.rows.length) {
      for (const [zone, title] of PLACES) {
        const row = body.insertRow();
        const head = element("th", title);
        head.scope = "row";
        head.id = `part-${zone.replace(" ", "-")}`;
        const choices = element("div", undefined, "choices");
        choices.setAttribute("role", "group");
        choices.setAttribute("aria-labelledby", head.id);
        for (const [label, words] of zone === "dial" ? [...LABELS.slice(0, 2), ["mixed", "both"], LABELS[2]] : LABELS) {
          const choice = element("button", words);
          choice.type = "button";
          choice.dataset.zone = zone;
          choice.dataset.label = label;
          choice.addEventListener("click", () => {
            const taken = choice.getAttribute("aria-pressed") === "true";
            attempt(async () => took(await ask(`/dials/${dial.id}/opinion`, { zone, label: taken ? "" : label })));
          });
          choices.append(choice);
        }
        row.append(head);
        row.insertCell().append(choices);
        row.insertCell().dataset.zone = zone;
      }
    }
    for (const choice of body.querySelectorAll("button")) {
      const said = dial.opinions[choice.dataset.zone];
      choice.setAttribute("aria-pressed", String(!!said && said.label === choice.dataset.label));
    }
    for (const cell of body.querySelectorAll("td[data-zone]")) {
      const found = call && (cell.dataset.zone === "dial" ? { ...call, judged: true } : call.zones[cell.dataset.zone]);
      if (dial.kept_back) cell.textContent = cell.dataset.zone === "dial" ? "kept back" : "";
      else if (!found) cell.textContent = "";
      else cell.replaceChildren(found.judged ? word(found.call, cell.dataset.zone === "dial" ? "" : found.ratio, found.reason) : "not judged");
    }
    const whole = at("whole");
    whole.replaceChildren();
    if (dial.kept_back) {
      whole.append(element("p", "The call is kept back. Say what you see, part by part, then of the dial as a whole; then it can be shown."));
    } else if (call) {
      whole.append(element("strong", call.call, `${kind(call.call)}-word`), element("p", `${call.support[0].toUpperCase()}${call.support.slice(1)}. ${call.reason}`));
      const used = dial.photographs.filter((photo) => ["whole view", "laid on it"].includes(photo.role)).length;
      if (dial.together) whole.append(element("p", used > 1 ? `From ${used} photographs together.` : "From one photograph; the others are left out.", "soft"));
    } else if (dial.photographs.length) {
      whole.append(element("p", dial.photographs.some((photo) => photo.state === "waiting") ? "Being read…"
        : dial.apart ? `The photographs could not be read together: ${dial.apart}` : "Being read together…"));
    }
    at("all-apart").hidden = !dial.apart && dial.photographs.filter((photo) => photo.role === "another dial").length < 2;
    at("inspection").hidden = !call;
    at("inspection").href = `/dials/${dial.id}/inspection`;
    at("report").hidden = !call;
    at("report").href = `/dials/${dial.id}/report`;
    at("show").hidden = !dial.kept_back;
    at("show").disabled = !dial.opinions.dial;
    const next = call ? call.next : [];
    const arrived = call ? dial.arrived : [];
    at("next").hidden = !next.length && !arrived.length;
    at("next").querySelector("h4").textContent = next.length ? "What to photograph next" : "What was asked for";
    at("next").querySelector("ol").replaceChildren(...next.map((words) => element("li", words)));
    at("next").querySelector("ul").replaceChildren(...arrived.map((words) => element("li", `\u2713 Arrived: ${words}`)));
    at("warnings").replaceChildren(...(call ? call.warnings : []).map((words) => element("li", words)));
  }

  // ---- going about ----

  async function go() {
    const number = /^#dial-(\d+)$/.exec(location.hash);
    const opened = number && (!dial || dial.id !== Number(number[1]));
    at("tray").hidden = !!number;
    at("sheet").hidden = !number;
    if (!number) {
      dial = null;
      document.title = "Dials";
      version = await list.show();
      await plates.show();
      await all.show();
      return;
    }
    if (opened) {
      here = "";
      at("kept").textContent = "";
      at("kept").classList.remove("wrong");
      for (const field of at("fields").elements) field.removeAttribute("aria-invalid");
    }
    const told = await ask(`/dials/${number[1]}`);
    if (outline.busy() || places.busy()) return;
    took(told);
    if (opened) at("name").focus({ preventScroll: true });
  }

  async function watch() {
    try {
      state = await ask(`/state?version=${version}`);
      tell();
      tellPhone();
      if (state.version !== version && !outline.busy() && !places.busy()) {
        const seen = state.version;
        await go();
        if (location.hash) version = seen;
      }
      setTimeout(watch, version === state.version ? NEXT : PACE);
    } catch (error) {
      trouble(error.message);
      setTimeout(watch, PACE);
    }
  }

  // ---- the phone ----

  const PHONE = {
    waiting: () => "Waiting for the phone. The code holds for 5 minutes.",
    in: (door) => (door.came ? `The phone is connected; ${door.came} photograph${door.came === 1 ? "" : "s"} came.` : "The phone is connected."),
    void: () => "Too many wrong codes were tried. Ask for a new code.",
    late: () => "The code holds no longer. Ask for a new code.",
  };

  function tellPhone() {
    at("by-phone").hidden = at("begin-by-phone").hidden = !state.phone;
    const door = state.phone && state.phone.door;
    if (!at("phone").open || !door) return;
    const words = PHONE[door.said](door);
    if (at("phone-said").textContent !== words) at("phone-said").textContent = words;
    at("phone-qr").hidden = door.said !== "waiting";
  }

  async function invite() {
    const told = await ask(`/dials/${dial.id}/phone`, {});
    at("phone-qr").src = told.qr;
    at("phone-address").textContent = told.address;
    at("phone-code").textContent = told.code;
    if (!at("phone").open) at("phone").showModal();
  }

  at("by-phone").addEventListener("click", () => attempt(invite));
  at("begin-by-phone").addEventListener("click", () => attempt(async () => {
    took(await ask("/dials", { blind: at("blind-new").checked }));
    location.hash = `dial-${dial.id}`;
    await invite();
  }));
  at("phone-again").addEventListener("click", () => attempt(invite));
  at("phone-close").addEventListener("click", () => at("phone").close());
  at("phone").addEventListener("close", () => attempt(() => ask("/phone/dismiss", {})));

  let saving = 0;
  at("fields").addEventListener("submit", (event) => event.preventDefault());
  at("fields").addEventListener("input", (event) => {
    clearTimeout(saving);
    at("kept").textContent = "";
    if (["name", "maker", "serial", "source", "price", "notes"].includes(event.target.name)) saving = setTimeout(() => keep(event.target), 700);
  });
  at("fields").addEventListener("change", (event) => { clearTimeout(saving); keep(event.target); });
  function keep(input) {
    if (!dial) return;
    const { size, unit } = at("fields").elements;
    const sized = input === size || input === unit;
    const was = sized ? dial.size : dial[input.name];
    const value = sized ? size.value.trim().replace(",", ".") : input.value;
    if (value === String(was === null ? "" : was) && (!sized || !value || UNITS[dial.size_as] === unit.value)) return;
    const field = sized ? size : input;
    const said = (words, wrong) => {
      at("kept").textContent = words;
      at("kept").classList.toggle("wrong", wrong);
      if (wrong) field.setAttribute("aria-invalid", "true");
      else field.removeAttribute("aria-invalid");
    };
    ask(`/dials/${dial.id}`, { [sized ? unit.value : input.name]: value }).then(
      (told) => { trouble(""); said("Kept.", false); took(told); },
      (error) => said(`Not kept: ${error.message}.`, true),
    );
  }

  at("blind").addEventListener("change", () => attempt(async () => took(await ask(`/dials/${dial.id}`, { blind: at("blind").checked }))));
  at("aside").addEventListener("click", () => attempt(async () => took(await ask(`/dials/${dial.id}`, { aside: !dial.aside }))));
  at("show").addEventListener("click", () => attempt(async () => took(await ask(`/dials/${dial.id}/show`, {}))));
  at("circle").addEventListener("click", () => outline.begin());
  at("unmark").addEventListener("click", () => mark(photoHere(), {}));
  at("part").addEventListener("click", () => mark(photoHere(), photoHere().marked.close_up ? {} : { close_up: true }));
  at("other").addEventListener("click", () => attempt(async () => {
    took(await ask(`/photographs/${photoHere().sha256}/part`, {}));
    at("name").focus({ preventScroll: true });
  }));
  at("all-apart").addEventListener("click", () => attempt(async () => {
    took(await ask(`/dials/${dial.id}/apart`, {}));
    location.hash = "";
  }));
  at("open-loupe").addEventListener("click", () => loupe.open(photoHere(), dial.size_mm));
  at("open-beside").addEventListener("click", () => attempt(() => beside.open(dial)));
  const home = () => { location.hash = ""; };
  at("home").addEventListener("click", home);
  at("back").addEventListener("click", home);
  for (const id of ["choose", "more"]) at(id).addEventListener("click", () => at("files").click());
  at("files").addEventListener("change", () => {
    const files = [...at("files").files];
    at("files").value = "";
    attempt(() => add(files, dial && dial.id));
  });
  window.addEventListener("hashchange", () => attempt(go));
  document.addEventListener("dragover", (event) => { event.preventDefault(); document.body.classList.add("over"); });
  document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.body.classList.remove("over"); });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    document.body.classList.remove("over");
    const dropped = [...event.dataTransfer.items].filter((item) => item.kind === "file");
    const things = dropped.map((item) => item.webkitGetAsEntry() || item.getAsFile()); // gone after this event
    attempt(() => drop(things));
  });
  attempt(go).then(watch);
})();
