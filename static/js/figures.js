/*
Draws the figures of a page. Each <div class="chart" data-figure="id"> has its Plotly description in
<script type="application/json" id="id">: {data, layout}. Colours may be written as "token:ink", "token:rule",
"token:axillary" and so on; they follow the colour scheme. Titles of axes are broken, and ticks with words left
away, where they have no room. layout.meta.rows names the rows of a chart from top to bottom; on a phone their
names stand above the points. Nothing is ever sent anywhere.
*/
"use strict";
(() => {
  const CONFIG = { displayModeBar: false, showSendToCloud: false, plotlyServerURL: "", displaylogo: false, responsive: true, showTips: false };
  const PRINT_WIDTH = 660, PRINT_ROWS = 820, PRINT_HEIGHT = 300; // pixels: two charts a page, or one of rows
  const NARROW = 480, LETTER = 7.2, TICK = 62; // pixels
  const phone = matchMedia(`(width < ${NARROW}px)`);
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

  /* A title in as many lines as the room asks for. */
  function broken(title, room) {
    if (!title?.text) return title;
    const most = Math.max(16, Math.floor(room / LETTER));
    const lines = [];
    for (const word of title.text.split(" ")) {
      const last = lines.length - 1;
      if (last >= 0 && lines[last].length + word.length < most) lines[last] += ` ${word}`;
      else lines.push(word);
    }
    return { ...title, text: lines.join("<br>") };
  }

  /* Ticks with words, without those too close to the one before. */
  function apart({ tickvals, ticktext, range }, room) {
    const pixel = (range[1] - range[0]) / room;
    let last = -Infinity;
    const kept = tickvals.map((value) => { const fits = value - last >= TICK * pixel; if (fits) last = value; return fits; });
    return { tickvals: tickvals.filter((_, at) => kept[at]), ticktext: ticktext.filter((_, at) => kept[at]) };
  }

  /* How many pixels a row takes with its name above: points of several series stand below each other. */
  const rowHeight = (layout) => (layout.scattermode === "group" ? 58 : 40);

  /* The names of rows above their points, over the whole width. */
  function namesAbove(rows, layout) {
    const down = layout.yaxis?.autorange === "reversed";
    const yshift = rowHeight(layout) / 2 - 14;
    const name = (row) => ({ xref: "paper", x: 0, xanchor: "left", yref: "y", y: row, yanchor: "bottom", yshift, text: row, showarrow: false, bgcolor: token("paper"), borderpad: 0, font: { size: 13 } });
    return {
      margin: { l: 8, r: 16, t: 24, b: 48 }, scattergap: 0.6, annotations: rows.map(name),
      yaxis: {
        showticklabels: false, ticks: "", showgrid: false, autorange: false, categoryorder: "array",
        categoryarray: down ? rows : [...rows].reverse(), range: down ? [rows.length - 0.4, -0.7] : [-0.6, rows.length - 0.3],
      },
    };
  }

  /* The layout for a place of this size, in pixels. */
  function fitted(layout, width, height) {
    const { rows } = layout.meta ?? {};
    const above = rows && width < NARROW;
    const room = width - (above ? 40 : 96);
    const { xaxis, yaxis } = layout;
    const ticks = xaxis?.tickvals && xaxis.range ? apart(xaxis, room) : {};
    const own = above ? namesAbove(rows, layout) : {};
    return {
      ...layout, ...own,
      xaxis: { ...xaxis, ...ticks, title: broken(xaxis?.title, room) },
      yaxis: { ...yaxis, ...own.yaxis, title: broken(yaxis?.title, height - 110) },
    };
  }

  function describe(spec, width, height) {
    const { data = [], layout: asked = {} } = resolve(spec);
    const layout = fitted(asked, width, height);
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
        ...layout, ...dressed, font, title: undefined, height, autosize: true,
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
    const width = root.classList.contains("printing") ? PRINT_WIDTH : place.clientWidth || PRINT_WIDTH;
    const { rows } = spec.layout?.meta ?? {};
    place.style.height = rows && width < NARROW ? `${rows.length * rowHeight(spec.layout) + 110}px` : "";
    const { data, layout } = describe(spec, width, place.clientHeight);
    Plotly.react(place, data, layout, CONFIG);
  }

  const places = () => [...document.querySelectorAll(".chart[data-figure]")];
  const drawAll = () => places().forEach(draw);

  drawAll();
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawAll);
  phone.addEventListener("change", drawAll);
  document.addEventListener("dwellbook:swapped", drawAll);
  addEventListener("beforeprint", () => {
    root.classList.add("printing");
    drawAll();
    for (const place of places()) if (place.classList.contains("js-plotly-plot")) Plotly.relayout(place, { width: PRINT_WIDTH, height: Math.min(place.clientHeight, place.layout.meta?.rows ? PRINT_ROWS : PRINT_HEIGHT), autosize: false });
  });
  addEventListener("afterprint", () => { root.classList.remove("printing"); drawAll(); for (const place of places()) if (place.classList.contains("js-plotly-plot")) Plotly.relayout(place, { width: null, height: null, autosize: true }); });
})();
