"use strict";
// Turns the page's pictures into charts that can be read off and zoomed. Whatever fails here, the picture stays.
const data = JSON.parse(document.getElementById("chart-data").textContent);
const narrow = matchMedia("(max-width: 44rem)");
const LEAST_SHARE = 1 / 400;
const STEP = 1.5;

const along = (panel, x) => (panel.log ? Math.log(x) : x);
const back = (panel, place) => (panel.log ? Math.exp(place) : place);
// figures are rounded to five digits in the specification, which may put them a hair beyond the axis' end
const inside = (x, [low, high]) => x >= low - 1e-4 * Math.abs(low) && x <= high + 1e-4 * Math.abs(high);
const said = (value, digits = 4) => String(Number(value.toPrecision(digits))).replace("-", "\u2212");

function make(name, attributes = {}, text = "") {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.textContent = text;
  return element;
}

/** A dot in a line's colour; in the figure, the style sheet turns it dark with the chart. */
function swatch(colour) {
  const [svg, dot] = ["svg", "circle"].map((name) => document.createElementNS("http://www.w3.org/2000/svg", name));
  for (const [key, value] of [["class", "swatch"], ["viewBox", "0 0 10 10"]]) svg.setAttribute(key, value);
  for (const [key, value] of [["cx", 5], ["cy", 5], ["r", 4.5], ["fill", colour]]) dot.setAttribute(key, value);
  svg.append(dot);
  return svg;
}

/** The rows of a panel's lines, as the specification holds them; they rise along x, or are put so. */
function linesOf(spec, panels) {
  return panels.map((panel, number) => panel.series
    .map((series) => {
      const layer = (spec.vconcat ? spec.vconcat[number] : spec).layer[series.layer];
      const rows = layer.data.values ?? data.rows[layer.data.name];
      return { ...series, rows: rows.filter((row) => row.y !== null).sort((a, b) => a.x - b.x) };
    })
    .filter((line) => line.rows.length));
}

function nearest(panel, rows, x) {
  const place = along(panel, x);
  return rows.reduce((best, row) =>
    Math.abs(along(panel, row.x) - place) < Math.abs(along(panel, best.x) - place) ? row : best,
  );
}

/** One chart: where it is looked at, where it is read, and what the reader does to it. */
class Turned {
  constructor(figure) {
    this.figure = figure;
    this.box = make("div", { class: "live", tabindex: "0", role: "group", "aria-label": data.say.live });
    this.stage = make("div");
    this.reading = make("div", { class: "reading", role: "status", hidden: "" });
    this.turns = make("div", { class: "turns" });
    for (const [word, act] of [["zoom_in", () => this.zoom(STEP)], ["zoom_out", () => this.zoom(1 / STEP)], ["reset", () => this.whole()]]) {
      const button = make("button", { type: "button" }, data.say[word]);
      button.addEventListener("click", act);
      this.turns.append(button);
    }
    this.turns.append(make("span", {}, data.say.hint));
    this.box.append(this.stage, this.reading);
    this.pointers = new Map();
    this.listen();
  }

  /** Draw for the page's width; only once that has gone well does the picture give way. */
  async draw() {
    const chart = data.charts[this.figure.dataset.chart][narrow.matches ? 1 : 0];
    const text = JSON.stringify(chart.spec);
    const rows = Object.entries(data.rows).filter(([name]) => text.includes(`"${name}"`));
    const spec = { ...chart.spec, datasets: Object.fromEntries(rows) };
    const stage = make("div");
    const options = { actions: false, renderer: "svg", ast: true, defaultStyle: false, tooltip: false, hover: false };
    const { view, finalize } = await vegaEmbed(stage, spec, options);
    this.finalize?.();
    this.finalize = finalize;
    this.view = view;
    this.panels = chart.panels;
    this.lines = linesOf(spec, chart.panels);
    this.ends = {};
    for (const panel of this.panels) this.ends[panel.link] ??= [panel.low, panel.high];
    stage.querySelector("svg").setAttribute("aria-hidden", "true");
    this.stage.replaceWith(stage);
    this.stage = stage;
    this.reading.hidden = true;
    if (!this.box.isConnected) {
      this.figure.querySelector(".narrow").after(this.box, this.turns);
      this.figure.classList.add("turned");
    }
    this.box.classList.remove("moved");
  }

  /** Where a pointer is: the panel under it, or nearest to it, and the place on its x axis. */
  find(event) {
    const svg = this.stage.querySelector("svg");
    const frame = svg.getBoundingClientRect();
    const scale = svg.viewBox.baseVal.width / frame.width;
    const [left, top] = this.view.origin();
    const tops = [...svg.querySelectorAll("path.background")].map((path) => path.getBoundingClientRect().top);
    const at = [(event.clientX - frame.left) * scale - left, event.clientY];
    const below = this.panels.map((panel, number) => at[1] >= (tops[tops.length - this.panels.length + number] ?? top));
    const panel = this.panels[Math.max(below.lastIndexOf(true), 0)];
    return { panel, share: Math.min(Math.max(at[0] / panel.width, 0), 1), scale };
  }

  place(panel, share) {
    const [low, high] = this.ends[panel.link].map((end) => along(panel, end));
    return back(panel, low + share * (high - low));
  }

  /** Show the values nearest to x, of every line in every panel that shares this axis. */
  read(panel, x) {
    const ends = this.ends[panel.link];
    const rows = this.panels.map((other, number) =>
      other.link !== panel.link ? [] : this.lines[number].map((line) => ({ ...nearest(other, line.rows, x), line })),
    );
    const seen = rows.flat().filter((row) => inside(row.x, ends));
    if (!seen.length) return;
    this.at = nearest(panel, seen, x).x;
    const step = Math.abs(along(panel, ends[1]) - along(panel, ends[0])) / 20;
    const close = (row) => Math.abs(along(panel, row.x) - along(panel, this.at)) <= step;
    const kept = rows.map((list) => list.filter((row) => seen.includes(row) && close(row)));
    this.last = panel;
    this.view.signal(`at_${panel.link}`, this.at);
    kept.forEach((list, number) => this.mark(number, list));
    this.tell(panel, kept);
    this.view.runAsync();
  }

  mark(number, rows) {
    this.view.signal(`marked_${number}`, rows.map((row) => ({ x: row.x, y: row.y, colour: row.line.colour })));
  }

  tell(panel, rows) {
    const lines = [make("p", {}, `${panel.x}: ${said(this.at, 5)}`)];
    rows.forEach((list, number) => {
      const named = list.some((row) => row.line.name);
      if (named) lines.push(make("p", { class: "of" }, this.panels[number].y));
      for (const row of list) {
        const aside = row.x === this.at ? "" : ` (${data.say.at} ${said(row.x)})`;
        const line = make("p", {}, `${named ? row.line.name : this.panels[number].y}: ${said(row.y)}${aside}`);
        line.prepend(swatch(row.line.colour));
        lines.push(line);
      }
    });
    this.reading.replaceChildren(...lines);
    this.reading.hidden = false;
    const [low, high] = this.ends[panel.link].map((end) => along(panel, end));
    const right = (along(panel, this.at) - low) / (high - low) > 0.5;
    this.reading.style.left = right ? "3rem" : "auto";
    this.reading.style.right = right ? "auto" : "0";
  }

  silence() {
    if (!this.view) return;
    this.reading.hidden = true;
    for (const link of Object.keys(this.ends)) this.view.signal(`at_${link}`, null);
    this.panels.forEach((_, number) => this.mark(number, []));
    this.view.runAsync();
  }

  /** Look at a stretch of an axis, kept inside its ends and no finer than the figures bear. */
  look(panel, from, to) {
    const [first, last] = [panel.low, panel.high].map((end) => along(panel, end));
    const span = Math.min(Math.max(to - from, (last - first) * LEAST_SHARE), last - first);
    const start = Math.min(Math.max((from + to - span) / 2, first), last - span);
    const whole = span >= (last - first) * (1 - 1e-9);
    const ends = whole ? [panel.low, panel.high] : [back(panel, start), back(panel, start + span)];
    this.ends[panel.link] = ends;
    this.view.signal(`from_${panel.link}`, ends[0]).signal(`to_${panel.link}`, ends[1]);
    const all = this.panels.every((one) => this.ends[one.link][0] === one.low && this.ends[one.link][1] === one.high);
    this.box.classList.toggle("moved", !all);
    return this.view.runAsync();
  }

  zoom(factor, panel = null, share = 0.5) {
    const every = panel ? [panel] : this.panels.filter((one, n) => this.panels.findIndex((p) => p.link === one.link) === n);
    for (const one of every) {
      const [low, high] = this.ends[one.link].map((end) => along(one, end));
      const span = (high - low) / factor;
      const from = low + share * (high - low) - share * span;
      this.look(one, from, from + span);
    }
  }

  move(panel, share) {
    const [low, high] = this.ends[panel.link].map((end) => along(panel, end));
    this.look(panel, low + share * (high - low), high + share * (high - low));
  }

  whole() {
    this.silence();
    for (const panel of this.panels) this.look(panel, along(panel, panel.low), along(panel, panel.high));
  }

  /** Go to the next value of the axis, in either direction. */
  step(direction) {
    const panel = this.last ?? this.panels[0];
    const ends = this.ends[panel.link];
    const places = this.panels.flatMap((one, n) => (one.link === panel.link ? this.lines[n].flatMap((l) => l.rows.map((r) => r.x)) : []));
    const seen = [...new Set(places)].filter((x) => inside(x, ends)).sort((a, b) => a - b);
    if (!seen.length) return;
    const at = this.reading.hidden ? undefined : this.at;
    const next = direction > 0 ? seen.find((x) => x > (at ?? -Infinity)) : seen.findLast((x) => x < (at ?? Infinity));
    this.read(panel, next ?? seen.at(direction > 0 ? -1 : 0));
  }

  listen() {
    const box = this.box;
    box.addEventListener("pointerdown", (event) => {
      this.pointers.set(event.pointerId, event);
      if (event.pointerType === "mouse") box.setPointerCapture(event.pointerId);
    });
    box.addEventListener("pointermove", (event) => this.moved(event));
    for (const name of ["pointerup", "pointercancel"]) box.addEventListener(name, (event) => this.pointers.delete(event.pointerId));
    box.addEventListener("pointerleave", (event) => {
      this.pointers.delete(event.pointerId);
      this.silence();
    });
    box.addEventListener("blur", () => this.silence());
    box.addEventListener("dblclick", () => this.whole());
    // the wheel scrolls the page; with the key that zooms everywhere it zooms the chart
    box.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && !event.metaKey) return;
      event.preventDefault();
      const { panel, share } = this.find(event);
      this.zoom(STEP ** (-Math.sign(event.deltaY) / 2), panel, share);
    }, { passive: false });
    const keys = { ArrowRight: () => this.step(1), ArrowLeft: () => this.step(-1), "+": () => this.zoom(STEP), "=": () => this.zoom(STEP), "-": () => this.zoom(1 / STEP), 0: () => this.whole(), Escape: () => this.silence() };
    box.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey || !(event.key in keys)) return;
      event.preventDefault();
      keys[event.key]();
    });
  }

  moved(event) {
    if (!this.view) return;
    const { panel, share, scale } = this.find(event);
    const before = this.pointers.get(event.pointerId);
    if (before && this.pointers.size === 2) {
      const other = [...this.pointers.values()].find((one) => one.pointerId !== event.pointerId);
      const [was, is] = [before, event].map((one) => Math.abs(one.clientX - other.clientX));
      if (was > 20 && is > 20) this.zoom(is / was, panel, this.find({ clientX: (event.clientX + other.clientX) / 2, clientY: event.clientY }).share);
    } else if (before) {
      this.move(panel, ((before.clientX - event.clientX) * scale) / panel.width);
    }
    if (before) this.pointers.set(event.pointerId, event);
    if (this.pointers.size < 2) this.read(panel, this.place(panel, share));
  }
}

function start() {
  const charts = new Map([...document.querySelectorAll("figure[data-chart]")].map((figure) => [figure, new Turned(figure)]));
  const drawn = new Set();
  const draw = (turned) => turned.draw().then(() => drawn.add(turned), (error) => console.warn(error));
  const watch = new IntersectionObserver((entries) => {
    for (const entry of entries.filter((one) => one.isIntersecting)) {
      watch.unobserve(entry.target);
      draw(charts.get(entry.target));
    }
  }, { rootMargin: "400px" });
  for (const figure of charts.keys()) watch.observe(figure);
  narrow.addEventListener("change", () => drawn.forEach(draw));
}

/** An appendix opens when a link leads into it, and all of them for print. */
function open() {
  const place = document.getElementById(location.hash.slice(1));
  const details = place && (place.closest("details") ?? place.querySelector(":scope > details"));
  if (!details || details.open) return;
  details.open = true;
  place.scrollIntoView();
}

/** Tables are stops for the keyboard only while they can be scrolled. */
function stops() {
  for (const scroll of document.querySelectorAll(".scroll")) {
    if (scroll.scrollWidth > scroll.clientWidth) scroll.setAttribute("tabindex", "0");
    else scroll.removeAttribute("tabindex");
  }
}

addEventListener("hashchange", open);
addEventListener("resize", stops);
document.addEventListener("toggle", stops, true);
document.addEventListener("click", (event) => event.target.closest?.("a[href^='#']") && setTimeout(open));
addEventListener("beforeprint", () => document.querySelectorAll(".appendix > details:not([open])").forEach((one) => {
  one.open = true;
  one.dataset.printed = "";
}));
addEventListener("afterprint", () => document.querySelectorAll("details[data-printed]").forEach((one) => {
  one.open = false;
  delete one.dataset.printed;
}));
open();
stops();
start();
