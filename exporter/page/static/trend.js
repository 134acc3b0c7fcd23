"use strict";
// Draws what was measured: a small trend beside every signal, a large one to
// look back with. It asks for as many points as it draws.
(() => {
  const place = document.getElementById("trend");
  if (!place) return;
  const pump = place.dataset.pump, units = document.body.dataset.units, zone = document.body.dataset.zone;
  const style = getComputedStyle(document.documentElement);
  const colour = (name) => style.getPropertyValue(name).trim();

  async function ask(signal, from, to, points) {
    const query = new URLSearchParams({ signal, units, points: String(points), from: String(from), to: String(to) });
    const answer = await fetch("/api/v1/pump/" + encodeURIComponent(pump) + "/trend?" + query);
    if (!answer.ok) throw new Error((await answer.json()).detail);
    return answer.json();
  }

  // Small trends.
  const svg = "http://www.w3.org/2000/svg";
  function shape(kind, attributes) {
    const e = document.createElementNS(svg, kind);
    for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
    return e;
  }
  function small(cell, t) {
    const w = 120, h = 30, values = t.min.concat(t.max);
    if (!values.length) { cell.replaceChildren(); return; }
    let low = Math.min(...values), high = Math.max(...values);
    const room = Math.max((high - low) * 0.15, Math.abs(high) * 0.01, 1e-9);
    low -= room; high += room;
    const x = (at) => ((at - t.from) / (t.to - t.from)) * w;
    const y = (v) => h - ((v - low) / (high - low)) * h;
    const clip = (v) => Math.min(Math.max(y(v), 0), h);
    const picture = shape("svg", { viewBox: `0 0 ${w} ${h}`, preserveAspectRatio: "none", "aria-hidden": "true" });
    if (t.low !== undefined || t.high !== undefined) {
      const top = t.high === undefined ? 0 : clip(t.high), bottom = t.low === undefined ? h : clip(t.low);
      if (bottom > top) picture.append(shape("rect", { class: "ok", x: 0, y: top, width: w, height: bottom - top }));
    }
    for (const run of runs(t)) {
      const upper = run.map((i) => `${x(t.at[i]).toFixed(1)} ${y(t.max[i]).toFixed(1)}`);
      const lower = run.map((i) => `${x(t.at[i]).toFixed(1)} ${y(t.min[i]).toFixed(1)}`).reverse();
      picture.append(shape("path", { class: "range", d: "M" + upper.concat(lower).join("L") + "z" }));
      picture.append(shape("path", { class: "line", d: "M" + run.map((i) => `${x(t.at[i]).toFixed(1)} ${y(t.mean[i]).toFixed(1)}`).join("L") }));
    }
    cell.replaceChildren(picture);
  }
  // runs parts a history where nothing was measured: no line goes across.
  function runs(t) {
    const list = [];
    t.at.forEach((at, i) => {
      if (i === 0 || at - t.at[i - 1] > 2.5 * Math.max(t.span_s, (t.to - t.from) / 600)) list.push([]);
      list[list.length - 1].push(i);
    });
    return list;
  }
  async function smallTrends() {
    if (document.hidden) return;
    const to = Date.now() / 1000;
    for (const cell of document.querySelectorAll("[data-spark]")) {
      try { small(cell, await ask(cell.dataset.spark, to - 3600, to, 60)); } catch { cell.replaceChildren(); }
    }
  }

  // The large one. What draws it is fetched when it is wanted first.
  let plotter = null;
  function fetched(kind, attributes) {
    return new Promise((done, failed) => {
      const e = Object.assign(document.createElement(kind), attributes);
      e.onload = done;
      e.onerror = () => failed(new Error("the agent does not answer"));
      document.head.append(e);
    });
  }
  function needPlotter() {
    plotter = plotter || Promise.all([fetched("link", { rel: "stylesheet", href: place.dataset.plotStyle }), fetched("script", { src: place.dataset.plotScript })]);
    plotter.catch(() => { plotter = null; });
    return plotter;
  }
  const chart = document.getElementById("chart"), words = document.getElementById("trend-words"), choice = document.getElementById("trend-signal");
  let span = 3600, end = null, plot = null, asked = 0, shown = null;
  const time = (at, seconds) => new Intl.DateTimeFormat("sv-SE", {
    timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", second: seconds ? "2-digit" : undefined, hourCycle: "h23",
  }).format(new Date(at * 1000));

  function ticks(_, splits, __, ___, step) {
    return splits.map((at) => {
      const text = time(at, true);
      if (step >= 28 * 86400) return text.slice(0, 7);
      if (step >= 86400) return text.slice(5, 10);
      return step < 60 ? text.slice(11, 19) : text.slice(11, 16);
    });
  }

  function columns(t) {
    const rows = [[], [], [], []];
    runs(t).forEach((run, k) => {
      if (k > 0) { rows[0].push(t.at[run[0]] - 1e-3); for (const r of rows.slice(1)) r.push(null); }
      for (const i of run) { rows[0].push(t.at[i]); rows[1].push(t.min[i]); rows[2].push(t.mean[i]); rows[3].push(t.max[i]); }
    });
    return rows;
  }

  function limits(u) {
    const c = u.ctx, { left, top, width, height } = u.bbox;
    c.save();
    c.beginPath(); c.rect(left, top, width, height); c.clip();
    c.setLineDash([8, 6]); c.lineWidth = 1.5 * devicePixelRatio; c.strokeStyle = colour("--soft");
    for (const v of [shown.low, shown.high]) {
      if (v === undefined) continue;
      const y = u.valToPos(v, "y", true);
      c.beginPath(); c.moveTo(left, y); c.lineTo(left + width, y); c.stroke();
    }
    c.restore();
  }

  function range(u, low, high) {
    if (low === null) return [0, 1];
    const room = Math.max((high - low) * 0.1, Math.abs(high) * 0.005, 1e-6);
    return [low - room, high + room];
  }

  function draw(t) {
    shown = t;
    const data = columns(t), width = chart.clientWidth, height = Math.max(260, Math.min(400, width * 0.5));
    if (plot) { plot.destroy(); plot = null; }
    const grid = { stroke: colour("--steel-light"), width: 1 }, axis = { stroke: colour("--ink"), grid, ticks: grid, font: "13px system-ui" };
    plot = new uPlot({
      width, height, legend: { show: false }, tzDate: (at) => uPlot.tzDate(new Date(at * 1e3), zone),
      cursor: { drag: { x: true, y: false, setScale: false } },
      scales: { x: { time: true, range: [t.from, t.to] }, y: { range } },
      series: [{}, { stroke: colour("--steel"), width: 1, points: { show: false } }, { stroke: colour("--ink"), width: 2, points: { show: false } }, { stroke: colour("--steel"), width: 1, points: { show: false } }],
      bands: [{ series: [3, 1], fill: "rgba(124,133,141,.35)" }],
      axes: [{ ...axis, values: ticks, space: 60 }, { ...axis, size: 62 }],
      hooks: {
        drawClear: [limits],
        setSelect: [(u) => {
          if (u.select.width < 8) return;
          const from = u.posToVal(u.select.left, "x"), to = u.posToVal(u.select.left + u.select.width, "x");
          span = Math.max(to - from, 10); end = to;
          load();
        }],
      },
    }, data, chart);
    tell(t);
  }

  function tell(t) {
    const between = `${time(t.from)} to ${time(t.to)}`, name = choice.selectedOptions[0].textContent;
    if (!t.at.length) { words.textContent = `${name}: nothing was measured from ${between}.`; return; }
    const digits = (x) => Number(x.toPrecision(4)).toLocaleString("en", { useGrouping: false });
    let sum = 0; for (const m of t.mean) sum += m;
    words.textContent = `${name}, ${between}: lowest ${digits(Math.min(...t.min))}, mean ${digits(sum / t.mean.length)}, highest ${digits(Math.max(...t.max))} ${t.unit}. Each point is ${words4(t.span_s)}. Drag over the picture to look closer.`;
  }
  function words4(s) {
    if (s < 60) return `${Math.round(s)} s`;
    if (s < 7200) return `${Math.round(s / 60)} min`;
    return s < 172800 ? `${Math.round(s / 3600)} h` : `${Math.round(s / 86400)} days`;
  }

  async function load() {
    const mine = ++asked, to = end === null ? Date.now() / 1000 : end;
    for (const b of place.querySelectorAll("[data-range]")) b.setAttribute("aria-pressed", String(end === null && Number(b.dataset.range) === span));
    try {
      const [t] = await Promise.all([ask(choice.value, to - span, to, Math.max(60, Math.min(1500, chart.clientWidth))), needPlotter()]);
      if (mine === asked) draw(t);
    } catch (e) {
      if (mine === asked) words.textContent = "The history could not be loaded: " + e.message;
    }
  }

  place.addEventListener("click", (e) => {
    const b = e.target.closest("button");
    if (!b) return;
    if (b.dataset.range) { span = Number(b.dataset.range); end = null; }
    const to = end === null ? Date.now() / 1000 : end;
    switch (b.dataset.move) {
      case "back": end = to - span / 2; break;
      case "on": end = to + span / 2; if (end >= Date.now() / 1000) end = null; break;
      case "in": end = to - span / 4; span = Math.max(span / 2, 10); break;
      case "out": end = Math.min(to + span / 2, Date.now() / 1000); span = Math.min(span * 2, 730 * 86400); break;
    }
    load();
  });
  choice.addEventListener("change", load);
  document.addEventListener("click", (e) => {
    const b = e.target.closest("[data-plot]");
    if (!b) return;
    choice.value = b.dataset.plot;
    load();
    place.scrollIntoView({ block: "nearest", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
  });
  const usual = [...choice.options].find((o) => o.value === "discharge_pressure");
  if (usual) choice.value = usual.value;

  // Large once it is in sight; then on a beat while it shows the present.
  let seen = false;
  new IntersectionObserver((entries) => {
    if (!seen && entries.some((e) => e.isIntersecting)) { seen = true; load(); }
  }).observe(place);
  addEventListener("resize", () => { if (shown) draw(shown); });
  setInterval(() => { if (seen && end === null && !document.hidden) load(); }, 5000);
  setTimeout(smallTrends, 200);
  setInterval(smallTrends, 60000);
})();
