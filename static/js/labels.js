/*
The box for the code on a device's label. What the scanner sends is read by the server at once; what was read fills
the empty fields and is said below the box. Without this script the form comes back filled before it is saved.

  <input data-device-code="run" data-read-at="…">     prefix of the fields it fills; where codes are read
*/
"use strict";
(() => {
  const SEPARATOR = "␝"; // a text box cannot hold ASCII 29

  function report(input) {
    let place = document.getElementById(`${input.id}_read`);
    if (!place) {
      place = document.createElement("div");
      place.id = `${input.id}_read`;
      place.className = "code-read";
      place.setAttribute("role", "status");
      input.after(place);
    }
    place.replaceChildren();
    return place;
  }

  function fill(input, fields) {
    const prefix = input.dataset.deviceCode ? `${input.dataset.deviceCode}-` : "";
    for (const [name, value] of Object.entries(fields)) {
      const field = input.form.elements[prefix + name];
      if (!field || field.value.trim()) continue; // what a person typed stays; the server compares
      field.value = value;
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }
  }

  function choose(input, place, readings) {
    const list = document.createElement("ul");
    list.className = "actions";
    for (const reading of readings) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "button quiet";
      button.textContent = reading.said;
      button.addEventListener("click", () => {
        input.value = reading.code;
        fill(input, reading.fields);
        report(input).textContent = `Read: ${reading.said}`;
      });
      const item = document.createElement("li");
      item.append(button);
      list.append(item);
    }
    place.append(list);
  }

  async function read(input) {
    const code = input.value;
    if (!code.trim() || code === input.dataset.readCode) return;
    input.dataset.readCode = code;
    const place = report(input);
    const body = new FormData();
    body.set("code", code);
    body.set("csrfmiddlewaretoken", input.form.elements.csrfmiddlewaretoken.value);
    try {
      const answer = await fetch(input.dataset.readAt, { method: "POST", body, credentials: "same-origin" });
      if (!(answer.ok || answer.status === 422) || input.value !== code) return; // the server reads it again when the form is saved
      const found = await answer.json();
      place.textContent = found.text;
      place.dataset.state = found.fields ? "read" : "doubt";
      if (found.fields) fill(input, found.fields);
      if (found.readings) choose(input, place, found.readings);
    } catch {
      place.textContent = "";
    }
  }

  for (const input of document.querySelectorAll("input[data-device-code]")) {
    input.addEventListener("change", () => read(input));
    input.addEventListener("keydown", (event) => {
      // Scanners type ASCII 29 as Ctrl + ].
      if (!(event.ctrlKey && (event.key === "]" || event.key === "\x1d"))) return;
      event.preventDefault();
      input.setRangeText(SEPARATOR, input.selectionStart, input.selectionEnd, "end");
    });
  }
})();
