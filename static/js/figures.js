/*
Draws the figures of a page. Each <div class="chart" data-figure="id"> has its Plotly description in
<script type="application/json" id="id">: {data, layout}. Colours may be written as "token:ink", "token:rule",
"token:axillary" and so on; they follow the colour scheme. Nothing is ever sent anywhere.
*/
"use strict";
(() => {
  const CONFIG = { displayModeBar: false, showSendToCloud: false, plotlyServerURL: "", displaylogo: false, responsive: true, showTips: false };
  const PRINT_WIDTH = 660;
  const root = document.documentElement;

  const probe = document.createElement("span");
  probe.hidden = true;
  document.body.append(probe);

  function token(name) {
    probe.style.color = `var(--${name})`;
    return getComputedStyle(probe).color;
  }

  function resolve(part) {
    if (typeof part === "string" && part.startsWith("token:")) return token(part.slice(6));
    if (Array.isArray(part)) return part.map(resolve);
    if (part && typeof part === "object") return Object.fromEntries(Object.entries(part).map(([key, value]) => [key, resolve(value)]));
    return part;
  }

  function axis(own = {}) {
    const line = token("rule");
    return { gridcolor: line, linecolor: token("rule-strong"), zerolinecolor: token("rule-strong"), ticks: "outside", tickcolor: line, automargin: true, fixedrange: false, ...own };
  }

  function describe(spec) {
    const { data = [], layout = {} } = resolve(spec);
    const axes = Object.keys(layout).filter((key) => /^[xy]axis\d*$/.test(key));
    const dressed = Object.fromEntries([...new Set(["xaxis", "yaxis", ...axes])].map((key) => [key, axis(layout[key])]));
    const font = { family: getComputedStyle(document.body).fontFamily, size: 14, color: token("ink"), ...layout.font };
    const clear = "rgba(0,0,0,0)";
    return {
      data,
      layout: {
        paper_bgcolor: clear, plot_bgcolor: clear, dragmode: false, margin: { l: 56, r: 24, t: 24, b: 48 },
        hoverlabel: { bgcolor: token("sheet"), bordercolor: token("rule-strong"), font: { ...font } },
        legend: { orientation: "h", y: 1.02, yanchor: "bottom", x: 0 },
        ...layout, ...dressed, font, title: undefined, autosize: true,
      },
    };
  }

  const specs = new Map();

  function draw(place) {
    if (!specs.has(place)) {
      const source = document.getElementById(place.dataset.figure);
      specs.set(place, source && JSON.parse(source.textContent));
    }
    const spec = specs.get(place);
    if (!spec || typeof Plotly === "undefined") return;
    const { data, layout } = describe(spec);
    Plotly.react(place, data, layout, CONFIG);
  }

  const places = () => [...document.querySelectorAll(".chart[data-figure]")];
  const drawAll = () => places().forEach(draw);

  drawAll();
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawAll);
  document.addEventListener("dwellbook:swapped", drawAll);
  addEventListener("beforeprint", () => {
    root.classList.add("printing");
    drawAll();
    for (const place of places()) if (place.classList.contains("js-plotly-plot")) Plotly.relayout(place, { width: PRINT_WIDTH, autosize: false });
  });
  addEventListener("afterprint", () => { root.classList.remove("printing"); drawAll(); for (const place of places()) if (place.classList.contains("js-plotly-plot")) Plotly.relayout(place, { width: null, autosize: true }); });
})();
