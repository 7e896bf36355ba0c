/*
The round: each row (form.round-row in its own tbody) is kept as a draft while it is typed, and saved when it is
sent or when the typing goes on in another row. Without this script every row has its own Save button.
*/
"use strict";
(() => {
  const DRAFT_AFTER = 2000;
  const waiting = new WeakMap();
  const changed = new WeakSet();
  const sending = new Map();

  const announce = (text) => { const place = document.getElementById("announce"); if (place) place.textContent = text; };
  const state = (form, text, kind = "ask") => {
    const tag = Object.assign(document.createElement("span"), { className: `tag ${kind}`, textContent: text });
    form.querySelector(".round-state")?.replaceChildren(tag);
  };

  function send(url, form, options = {}) {
    return fetch(url, { method: "POST", body: new FormData(form), headers: { "X-Requested-With": "fetch" }, credentials: "same-origin", ...options });
  }

  /* A draft is written a moment after the last key, and at once when the page is left. */
  async function keepDraft(form, options) {
    clearTimeout(waiting.get(form));
    if (!changed.has(form) || sending.has(form)) return;
    try {
      const answer = await send(form.dataset.draft, form, options);
      if (answer.status === 204) state(form, "draft kept");
    } catch { state(form, "no connection; still here", "wrong"); }
  }

  function touched(form) {
    changed.add(form);
    clearTimeout(waiting.get(form));
    waiting.set(form, setTimeout(() => keepDraft(form), DRAFT_AFTER));
  }

  async function save(form, submitter) {
    if (sending.has(form)) return;
    clearTimeout(waiting.get(form));
    changed.delete(form);
    const body = new FormData(form, submitter);
    const block = form.closest("tbody");
    sending.set(form, true);
    block.dataset.state = "sending";
    try {
      const answer = await send(form.action, form, { body });
      if (answer.redirected || ![200, 422].includes(answer.status)) throw new Error("not a row");
      const page = new DOMParser().parseFromString(`<table>${await answer.text()}</table>`, "text/html");
      put(block, page.querySelector("tbody"));
    } catch (fault) {
      delete block.dataset.state;
      changed.add(form);
      state(form, fault.message === "not a row" ? "not saved: sign in again and reload; the draft is kept" : "not saved: no connection; still here", "wrong");
      announce("The row was not saved.");
    } finally { sending.delete(form); }
  }

  /* The row as saved, or with what is wrong in it, takes the place of the typed one; focus elsewhere stays there. */
  function put(block, fresh) {
    const inside = block.contains(document.activeElement);
    block.replaceWith(fresh);
    document.dispatchEvent(new CustomEvent("dwellbook:swapped", { detail: fresh }));
    announce(fresh.dataset.announce);
    const problem = fresh.querySelector(".round-problems input, .round-field.has-error :is(input, select), .round-problems a");
    if (inside) (problem || first(fresh))?.focus();
  }

  const first = (block) => block?.querySelector(".round-field:not([hidden]) :is(input, select)");
  const rowOf = (target) => target.closest?.("form.round-row");

  document.addEventListener("input", (event) => { const form = rowOf(event.target); if (form) touched(form); });
  document.addEventListener("change", (event) => { const form = rowOf(event.target); if (form) touched(form); });
  document.addEventListener("submit", (event) => {
    const form = rowOf(event.target);
    if (!form) return;
    event.preventDefault();
    save(form, event.submitter);
    first(form.closest("tbody").nextElementSibling)?.focus(); // the typing goes on while the row is sent
  });
  document.addEventListener("focusin", (event) => {
    const here = rowOf(event.target);
    if (!here) return;
    for (const form of document.querySelectorAll("form.round-row")) if (form !== here && changed.has(form)) { changed.delete(form); save(form); }
  });
  addEventListener("pagehide", () => { for (const form of document.querySelectorAll("form.round-row")) keepDraft(form, { keepalive: true }); });
})();
