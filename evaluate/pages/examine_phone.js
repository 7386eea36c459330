// The phone's page: a code, then photographs, one after another.
"use strict";
(() => {
  const at = (id) => document.getElementById(id);
  let kept = 0;
  let left = 0;

  async function send(path, body, form) {
    let reply;
    try {
      reply = await fetch(path, { method: "POST", headers: { "Content-Type": form }, body });
    } catch {
      throw new Error("The computer does not answer. Is it on the same network, and the program still running?");
    }
    if (reply.ok) return;
    if (reply.status === 403) { // the code is asked for again
      at("entry").hidden = false;
      at("inside").hidden = true;
      at("code").value = "";
    }
    throw new Error(`${(await reply.json()).error}.`);
  }

  function trouble(words) {
    at("trouble").textContent = words && words[0].toUpperCase() + words.slice(1);
    at("trouble").hidden = !words;
  }

  async function enter() {
    try {
      await send("/enter", JSON.stringify({ code: at("code").value }), "application/json");
    } catch (error) {
      trouble(error.message);
      return;
    }
    trouble("");
    at("entry").hidden = true;
    at("inside").hidden = false;
    at("take").focus();
  }

  function tell() {
    const words = `${kept} photograph${kept === 1 ? "" : "s"} kept at the computer.`;
    at("said").textContent = left ? `Sending, ${left} to go. ${words}` : kept ? `${words} You can add more.` : "";
  }

  async function carry(files) {
    trouble("");
    const wrong = [];
    left += files.length;
    tell();
    for (const file of files) {
      try {
        await send(`/photographs?name=${encodeURIComponent(file.name)}`, file, "application/octet-stream");
        kept += 1;
      } catch (error) {
        wrong.push(`${file.name}: ${error.message}`);
      }
      left -= 1;
      tell();
    }
    if (wrong.length) trouble(wrong.join(" "));
  }

  at("entry").addEventListener("submit", (event) => {
    event.preventDefault();
    enter();
  });
  at("take").addEventListener("click", () => at("files").click());
  at("files").addEventListener("change", () => {
    const files = [...at("files").files];
    at("files").value = "";
    carry(files);
  });
  const code = location.hash.slice(1);
  if (code) { // from the square that the camera read
    history.replaceState(null, "", "/");
    at("code").value = code;
    enter();
  }
})();
