"use strict";
// Draws the charts of a page from its data blocks, in the colours of the page, and again when these change:
// light and dark, screen and paper. Time axes run in UTC; their ticks are set here at local hours and midnights.
(() => {
  const HOUR = 3600e3, DAY = 24 * HOUR;
  const STEPS = [HOUR, 3 * HOUR, 6 * HOUR, 12 * HOUR, DAY, 2 * DAY, 7 * DAY, 14 * DAY, 28 * DAY];
  const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
  const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  // Width of a printed line in CSS pixels: A4 less margins is 184 mm, Letter 190 mm.
  const PAPER_WIDTH = 690;
  const charts = [];
  let onPaper = false;

  const coloured = (value, colours) => {
    if (typeof value === "string") return colours[value] || value;
    if (Array.isArray(value)) return value.map((item) => coloured(item, colours));
    if (value && typeof value === "object")
      return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, coloured(item, colours)]));
    return value;
  };

  const palette = (tones) => {
    const style = getComputedStyle(document.documentElement);
    return Object.fromEntries(Object.entries(tones).map(([stand, name]) => [stand, style.getPropertyValue(name).trim()]));
  };

  const parsed = (text) => Date.parse(String(text).replace(" ", "T").replace(/Z?$/, "Z"));
  const written = (ms) => new Date(ms).toISOString().replace("T", " ").replace("Z", "");

  const offsetAt = (offsets, ms) => {
    let found = offsets[0][1];
    for (const [from, seconds] of offsets) if (from <= ms) found = seconds;
    return found * 1000;
  };

  const ticks = (offsets, start, end, width) => {
    const step = STEPS.find((size) => (end - start) / size <= Math.max(2, width / 82)) || STEPS[STEPS.length - 1];
    const values = [], texts = [];
    // Whole steps of local wall time; weeks begin on Monday (the epoch was a Thursday, so shift by four days).
    const shift = step >= 7 * DAY ? 4 * DAY : 0;
    let wall = Math.ceil((start + offsetAt(offsets, start) - shift) / step) * step + shift;
    for (; ; wall += step) {
      const guess = wall - offsetAt(offsets, wall - offsetAt(offsets, start));
      if (guess > end) break;
      if (guess < start) continue;
      const day = new Date(wall);
      const midnight = wall % DAY === 0;
      values.push(written(guess));
      texts.push(midnight ? `${DAYS[day.getUTCDay()]}<br>${day.getUTCDate()} ${MONTHS[day.getUTCMonth()]}`
        : `${String(day.getUTCHours()).padStart(2, "0")}:00`);
    }
    return { tickmode: "array", tickvals: values, ticktext: texts };
  };

  const extent = (figure) => {
    if (figure.layout.xaxis.range) return figure.layout.xaxis.range.map(parsed);
    const xs = figure.data.find((trace) => trace.type === "heatmap").x;
    return [parsed(xs[0]) - HOUR / 2, parsed(xs[xs.length - 1]) + HOUR / 2];
  };

  // A long name would leave a narrow chart no room; hover text and table keep it whole.
  const shorten = ({ data, layout }) => {
    if (layout.yaxis.type !== "category") return;
    const names = layout.yaxis.categoryarray || [...new Set(data.flatMap((trace) => trace.y || []))].filter((name) => name !== null);
    const cut = (name) => (name.length > 19 ? name.slice(0, 18).replace(/&[^;]*$/, "") + "\u2026" : name);
    Object.assign(layout.yaxis, { tickmode: "array", tickvals: names, ticktext: names.map(cut) });
  };

  // Hover texts of a strip of cells: kept apart in the data, because written out they would be most of it.
  const describe = (trace) => {
    const { columns, words } = trace.meta;
    trace.text = trace.z.map((row, i) => row.map((state, j) => `${trace.y[i]}, ${columns[j]}: `
      + (state === null ? "no entry" : `${words[state]}, signals: ${trace.customdata[i][j] || 0}`)));
  };

  const draw = (entry) => {
    const { node, spec } = entry;
    const width = onPaper ? PAPER_WIDTH : node.clientWidth;
    if (!width) return;
    entry.width = width;
    const figure = coloured(spec.figure, palette(spec.tones));
    figure.data.filter((trace) => trace.type === "heatmap").forEach(describe);
    figure.layout.width = width;
    figure.layout.height = spec.height;
    const narrow = width < 560;
    if (narrow) {
      figure.layout.yaxis.tickfont.size = 10;
      figure.layout.legend.font.size = 11;
      figure.layout.yaxis.tickangle = 0;
      shorten(figure);
      // Legends wrap on a narrow page and need the height that they take.
      if (figure.layout.showlegend) { figure.layout.height += 48; figure.layout.margin.t += 48; }
    }
    if (spec.offsets) {
      const range = extent(spec.figure);
      Object.assign(figure.layout.xaxis, ticks(spec.offsets, range[0], range[1], width - 110));
      figure.layout.xaxis.range = range.map(written);
    }
    Plotly.react(node, figure.data, figure.layout, { ...spec.config, staticPlot: onPaper });
    if (spec.offsets && !entry.watched) {
      entry.watched = true;
      node.on("plotly_relayout", (change) => {
        if (!("xaxis.range[0]" in change) && !change["xaxis.autorange"]) return;
        const now = change["xaxis.autorange"] ? extent(spec.figure) : [parsed(change["xaxis.range[0]"]), parsed(change["xaxis.range[1]"])];
        const fresh = ticks(spec.offsets, now[0], now[1], entry.width - 110);
        Plotly.relayout(node, { "xaxis.tickvals": fresh.tickvals, "xaxis.ticktext": fresh.ticktext });
      });
    }
  };

  const drawAll = () => charts.forEach(draw);
  for (const node of document.querySelectorAll("[data-chart]")) {
    const block = document.getElementById(`data-${node.dataset.chart}`);
    charts.push({ node, spec: JSON.parse(block.textContent), width: 0 });
  }
  if (!charts.length) return;
  // One chart per turn, so that the page can be read and used while they come.
  const queue = charts.slice();
  const next = () => {
    if (queue.length) { draw(queue.shift()); setTimeout(next, 0); }
    else document.documentElement.dataset.drawn = String(charts.length);
  };
  setTimeout(next, 0);

  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawAll);
  const paper = matchMedia("print");
  const turn = (printing) => { if (printing !== onPaper) { onPaper = printing; drawAll(); } };
  paper.addEventListener("change", (event) => turn(event.matches));
  addEventListener("beforeprint", () => turn(true));
  addEventListener("afterprint", () => turn(false));
  let waiting = 0;
  addEventListener("resize", () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => charts.forEach((entry) => {
      if (!onPaper && entry.node.clientWidth !== entry.width) draw(entry);
    }), 150);
  });
})();
