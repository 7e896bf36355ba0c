/*
A file that takes seconds to make says so. <a data-taking download href="…"> is fetched in the background, reads
"… is being made" meanwhile, and is then handed to the browser. Without this script it is a plain download.
*/
"use strict";
(() => {
  const announce = (text) => { const place = document.getElementById("announce"); if (place) place.textContent = text; };

  function hand(body, name) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(body);
    link.download = name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  }

  async function take(link) {
    const label = link.textContent;
    link.setAttribute("aria-busy", "true");
    link.textContent = `${label} is being made …`;
    announce(link.textContent);
    try {
      const answer = await fetch(link.href, { headers: { "X-Requested-With": "fetch" }, credentials: "same-origin" });
      const name = /filename="([^"]+)"/.exec(answer.headers.get("Content-Disposition") ?? "")?.[1];
      if (!answer.ok || answer.redirected || !name) { location.assign(link.href); return; }
      hand(await answer.blob(), name);
      announce(`${label}: ready.`);
    } catch {
      location.assign(link.href);
    } finally {
      link.removeAttribute("aria-busy");
      link.textContent = label;
    }
  }

  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("a[data-taking]");
    if (!link || event.defaultPrevented || event.button || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) return;
    event.preventDefault();
    if (!link.hasAttribute("aria-busy")) take(link);
  });
})();
