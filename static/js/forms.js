/*
What entry forms (form.entry) do beyond plain HTML. Without this script every field is shown and the server decides.

  data-show-when="route=A,B"     shown, and sent, only while the field holds one of the values; "x=*" any value;
                                 several conditions joined by ";" must all hold
  data-focus-first               takes the focus when the page opens (error summary, questions)
  #div_id_<field> in the address opens the fold of that field and takes the focus there
  Among radio buttons a letter or digit chooses, as it does in a list; among boxes it ticks.
  Enter moves to the next field, Ctrl+Enter saves; a second press of Save is ignored; leaving with changes asks,
  unless the form only searches (data-search).
*/
"use strict";
(() => {
  const CONTROLS = "input:not([type=hidden]), select, textarea, button[type=submit]";

  function valuesOf(form, name) {
    return [...form.elements]
      .filter((control) => control.name === name && !control.disabled)
      .filter((control) => !["radio", "checkbox"].includes(control.type) || control.checked)
      .map((control) => control.value);
  }

  function holds(form, condition) {
    const [name, wanted] = condition.split("=").map((part) => part.trim());
    const values = valuesOf(form, name).filter((value) => value !== "");
    if (wanted === "*") return values.length > 0;
    const accepted = wanted.split(",").map((value) => value.trim());
    return values.some((value) => accepted.includes(value));
  }

  function show(block, visible) {
    block.hidden = !visible;
    for (const control of block.querySelectorAll("input, select, textarea")) {
      const hide = control.closest("[data-show-when][hidden]") !== null;
      if (hide && !control.disabled) control.dataset.offByCondition = "";
      if (hide) control.disabled = true;
      else if ("offByCondition" in control.dataset) {
        control.disabled = false;
        delete control.dataset.offByCondition;
      }
    }
  }

  /* One condition may hang on a field that another one hides, so go round until nothing changes. */
  function applyConditions(form) {
    const blocks = [...form.querySelectorAll("[data-show-when]")];
    for (let round = 0; round <= blocks.length; round += 1) {
      const changing = blocks.filter((block) => block.hidden === block.dataset.showWhen.split(";").every((condition) => holds(form, condition)));
      if (!changing.length) return;
      for (const block of changing) show(block, block.hidden);
    }
  }

  /* The next stop: a group of buttons or boxes is one stop; notes are passed over, Tab still reaches them. */
  function nextControl(form, current) {
    const stops = [...form.querySelectorAll(CONTROLS)].filter((control) => control.type !== "textarea" || control.required);
    const reachable = stops.filter((control) => control === current || (!control.disabled && control.checkVisibility()));
    const rest = reachable.slice(reachable.indexOf(current) + 1);
    const grouped = ["radio", "checkbox"].includes(current.type);
    const next = rest.find((control) => !grouped || control.name !== current.name);
    if (next?.type !== "radio") return next;
    return rest.find((control) => control.name === next.name && control.checked) || next;
  }

  /* A typed letter or digit chooses among buttons, or ticks a box of a group, by how the labels begin. */
  function chooseByLetter(event) {
    const control = event.target;
    if (!control.matches("input[type=radio], input[type=checkbox]") || event.key.length !== 1 || event.key === " " || event.ctrlKey || event.metaKey || event.altKey) return;
    const starts = (option) => option.labels[0]?.textContent.trim().toLowerCase().startsWith(event.key.toLowerCase());
    const group = [...control.form.elements].filter((option) => option.name === control.name && !option.disabled);
    const fitting = group.filter(starts);
    if (!fitting.length) return;
    event.preventDefault();
    const after = control.type === "radio" ? fitting.findIndex((option) => option.checked) : fitting.indexOf(control);
    const next = fitting[(after + 1) % fitting.length];
    next.focus();
    next.click();
  }

  function onKey(event) {
    if (event.key !== "Enter" || event.isComposing) return;
    const form = event.currentTarget;
    const control = event.target;
    if (event.ctrlKey || event.metaKey) {
      event.preventDefault();
      form.requestSubmit(form.querySelector(".savebar [type=submit], .round-save [type=submit]"));
      return;
    }
    const inField = control.matches("input:not([type=submit], [type=button], [type=reset], [type=file]), select");
    const short = form.classList.contains("plain"); // signing in, a reason, a password: Enter sends, as everywhere
    if (!inField || short || event.shiftKey || event.altKey) return;
    event.preventDefault();
    nextControl(form, control)?.focus();
  }

  const snapshot = (form) => JSON.stringify([...new FormData(form)].map(([name, value]) => [name, value instanceof File ? value.name : value]));

  function guard(form) {
    let sent = false;
    const before = form.hasAttribute("data-bound") ? null : snapshot(form);
    form.addEventListener("submit", (event) => {
      if (sent) { event.preventDefault(); return; }
      sent = true;
      for (const button of form.querySelectorAll("[type=submit]")) button.setAttribute("aria-disabled", "true");
    });
    addEventListener("beforeunload", (event) => { if (!sent && snapshot(form) !== before) event.preventDefault(); });
    addEventListener("pageshow", (event) => {
      if (!event.persisted) return;
      sent = false;
      for (const button of form.querySelectorAll("[type=submit]")) button.removeAttribute("aria-disabled");
    });
  }

  /* Open the fold that a field lies in, and put the focus there. */
  function goTo(field) {
    field.closest("details")?.setAttribute("open", "");
    field.closest(".field")?.scrollIntoView({ block: "center" });
    field.focus({ preventScroll: true });
  }

  function followSummary(event) {
    const link = event.target.closest?.(".summary a[href^='#']");
    const field = link && document.getElementById(link.hash.slice(1));
    if (!field) return;
    event.preventDefault();
    goTo(field);
  }

  /* An address that names a field, as the open questions do, leads into it. */
  function followAddress() {
    const block = location.hash.startsWith("#div_id_") && document.getElementById(location.hash.slice(1));
    const field = block && (block.querySelector(":checked") || block.querySelector("input, select, textarea"));
    if (field) goTo(field);
  }

  function prepare(form) {
    applyConditions(form);
    form.addEventListener("change", () => applyConditions(form));
    form.addEventListener("input", (event) => { if (event.target.matches("input:not([type=radio], [type=checkbox])")) applyConditions(form); });
    form.addEventListener("keydown", onKey);
    form.addEventListener("keydown", chooseByLetter);
    if (form.matches(".entry[method=post]:not([data-search])")) guard(form);
  }

  const FORMS = "form.entry, form.round-row"; // a row of the round keeps drafts and needs no guard
  for (const form of document.querySelectorAll(FORMS)) prepare(form);
  document.addEventListener("dwellbook:swapped", (event) => { for (const form of event.detail.querySelectorAll(FORMS)) prepare(form); });
  document.addEventListener("click", followSummary);
  document.querySelector("[data-focus-first]")?.focus();
  followAddress();

  // The sheet behind the user's name closes on Escape and on a click elsewhere.
  const who = document.querySelector(".who");
  document.addEventListener("click", (event) => { if (who && !who.contains(event.target)) who.open = false; });
  who?.addEventListener("keydown", (event) => { if (event.key === "Escape") { who.open = false; who.querySelector("summary").focus(); } });
})();
