/*
Shows how far an import has come. Without this script the page simply takes its time.

  <form data-progress="address">        where the rows done are told, as {done, total}
  <p data-progress-shown hidden>        holds an <output> and a <progress>
*/
"use strict";
(() => {
  const PAUSE = 500;

  async function watch(form, shown, signal) {
    const words = shown.querySelector("output");
    const bar = shown.querySelector("progress");
    shown.hidden = false;
    while (!signal.aborted) {
      await new Promise((done) => setTimeout(done, PAUSE));
      const answer = await fetch(form.dataset.progress, { credentials: "same-origin", signal });
      if (!answer.ok) return;
      const { done, total } = await answer.json();
      words.textContent = `${done} of ${total}`;
      bar.max = Math.max(total, 1);
      bar.value = done;
    }
  }

  async function send(event) {
    const form = event.currentTarget;
    const shown = form.querySelector("[data-progress-shown]");
    if (event.defaultPrevented || !shown) return;
    event.preventDefault();
    const ending = new AbortController();
    watch(form, shown, ending.signal).catch(() => {});
    try {
      const body = new FormData(form, event.submitter);
      const answer = await fetch(form.action, { method: "POST", body, credentials: "same-origin" });
      ending.abort();
      if (answer.redirected) { location.assign(answer.url); return; }
      // Errors stand in the page that came back; swap it in whole.
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      document.title = page.title;
      document.querySelector("main").replaceWith(page.querySelector("main"));
      document.querySelector("[data-focus-first]")?.focus();
      for (const fresh of document.querySelectorAll("form[data-progress]")) fresh.addEventListener("submit", send);
    } catch {
      ending.abort();
      location.reload(); // the server may have done it: the page that comes says so
    }
  }

  for (const form of document.querySelectorAll("form[data-progress]")) form.addEventListener("submit", send);
})();
