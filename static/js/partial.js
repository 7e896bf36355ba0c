/*
Parts of a page fetched and swapped in place. Without this script the same links and forms load whole pages.

  <a data-partial="#list" href="…">               follow the link, swap only #list
  <form data-partial="#list" method="get">        the same for a filter; add data-live to swap while typing
*/
"use strict";
(() => {
  let running = null;

  const announce = (text) => { const place = document.getElementById("announce"); if (place) place.textContent = text; };

  async function swap(url, selector, remember) {
    const target = document.querySelector(selector);
    if (!target || new URL(url, location.href).origin !== location.origin) { location.assign(url); return; }
    running?.abort();
    running = new AbortController();
    target.classList.add("is-busy");
    target.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(url, { signal: running.signal, headers: { "X-Requested-With": "fetch" }, credentials: "same-origin" });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.querySelector(selector);
      if (answer.redirected || !answer.ok || !fresh) { location.assign(url); return; }
      put(target, fresh);
      if (remember) history.pushState({ partial: true }, "", url);
      announce(fresh.dataset.announce || "The list has been updated.");
      document.dispatchEvent(new CustomEvent("dwellbook:swapped", { detail: fresh }));
    } catch (fault) {
      if (fault.name !== "AbortError") location.assign(url);
    }
  }

  function put(target, fresh) {
    const hadFocus = target.contains(document.activeElement);
    const focusId = document.activeElement?.id;
    target.replaceWith(fresh);
    if (!hadFocus) return;
    const next = (focusId && document.getElementById(focusId)) || fresh;
    if (next === fresh) fresh.tabIndex = -1;
    next.focus({ preventScroll: next !== fresh });
  }

  function filterAddress(form) {
    const query = new URLSearchParams();
    for (const [name, value] of new FormData(form)) if (value !== "") query.append(name, value);
    const base = form.getAttribute("action") || location.pathname;
    return query.size ? `${base}?${query}` : base;
  }

  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("a[data-partial]");
    if (!link || event.defaultPrevented || event.button || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) return;
    event.preventDefault();
    swap(link.href, link.dataset.partial, true);
  });

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.matches("form[data-partial]")) return;
    event.preventDefault();
    swap(filterAddress(form), form.dataset.partial, true);
  });

  let waiting = 0;
  document.addEventListener("input", (event) => {
    const form = event.target.form;
    if (!form?.matches("form[data-partial][data-live]")) return;
    clearTimeout(waiting);
    waiting = setTimeout(() => swap(filterAddress(form), form.dataset.partial, true), 300);
  });

  addEventListener("popstate", (event) => { if (event.state?.partial || document.querySelector("[data-partial]")) location.reload(); });

  // The nav scrolls sideways on a phone: bring the current entry into it.
  const here = document.querySelector(".site-nav [aria-current]");
  if (here) here.closest(".site-nav").scrollLeft = here.offsetLeft - 24;
})();
