/*
Sections that take longer are fetched once the page stands. <a data-later="#id" href="…"> is replaced by the
element #id of the page it leads to. Without this script it is a link to that section.
*/
"use strict";
(() => {
  async function bring(link) {
    const selector = link.dataset.later;
    const target = document.querySelector(selector);
    link.removeAttribute("data-later");
    try {
      const answer = await fetch(link.href, { headers: { "X-Requested-With": "fetch" }, credentials: "same-origin" });
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector(selector);
      if (!answer.ok || answer.redirected || !fresh || !target.isConnected) return;
      target.replaceWith(fresh);
      document.dispatchEvent(new CustomEvent("dwellbook:swapped", { detail: fresh }));
    } catch { /* the link stays */ }
  }

  /* One after the other: a small server has other people to serve too. */
  async function bringAll() {
    for (const link of document.querySelectorAll("a[data-later]")) await bring(link);
  }

  document.addEventListener("dwellbook:swapped", (event) => { if (event.detail?.querySelector?.("a[data-later]")) bringAll(); });
  bringAll();
})();
