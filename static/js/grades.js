/*
Says beside a graded field which grade the values entered so far propose. The server computes it, as it does when the
form is saved; without this script it is said then. A person chooses; nothing is filled in.

  <p data-proposal>     in the block #div_id_<field> of a graded field: where the proposal is said
*/
"use strict";
(() => {
  const PAUSE_MS = 300;

  function say(form, proposals) {
    for (const place of form.querySelectorAll("[data-proposal]")) {
      const text = proposals[place.closest(".field").id.replace("div_id_", "")] || "";
      if (place.textContent !== text) place.textContent = text;
    }
  }

  function follow(form) {
    let waiting, latest = 0;
    async function ask() {
      const turn = (latest += 1);
      const body = new FormData(form);
      body.set("propose", "1");
      try {
        const answer = await fetch(form.action, { method: "POST", body });
        if (answer.ok && turn === latest) say(form, await answer.json());
      } catch {
        // without an answer nothing is said; saving says it
      }
    }
    form.addEventListener("change", () => {
      clearTimeout(waiting);
      waiting = setTimeout(ask, PAUSE_MS);
    });
  }

  for (const form of document.querySelectorAll("form.entry")) if (form.querySelector("[data-proposal]")) follow(form);
})();
