// What a run's events look like: words at once, pictures with the next frame of the screen.

const { Plot } = await import(`./run-plot.js${new URL(import.meta.url).search}`);

const MOST_POINTS = 1200;
const MOST_TOLD = 30;
const KEPT_POINTS = 200; // of a finished ramp, behind the one that grows
const OFF_V = 0.5, NOTHING_W = 0.05; // what a recorder's own offset may look like
const LIMITS = [{ y: 1, name: "1 %" }, { y: 10, name: "10 %" }];
const CHOICES = { repeat: "Repeat the step", skip: "Go on with the next step", end: "End the run here", done: "It is done", stop: "Stop instead" };
const STATES = { done: "done", failed: "failed", skipped: "passed over", stopped: "stopped" };

const find = (selector) => document.querySelector(selector);
const rows = Object.fromEntries([...document.querySelectorAll(".ledger [data-row]")].map((row) => [row.dataset.row, row.querySelector("dd")]));
const bar = { load: find("#strip .load"), heat: find("#strip .heat"), words: find("#strip figcaption") };
const plots = Object.fromEntries(["curve", "supply", "wave", "spectrum"].map((id) => [id, new Plot(document.getElementById(id))]));
const steps = document.querySelectorAll("#steps > li[data-step]");

let step = null;
let live = null;
let traces = null;
let resting = null;
let held = "free";
let course = empty();
let every = 1;
let count = 0;
let ramps = new Map();
let tripped = null;
let left = 0; // steps, once the run is over

function empty() {
  return { t: [], w: [], thd: [], volts: [] };
}

export function forget() {
  step = live = traces = resting = tripped = null;
  course = empty();
  find("#told ul").replaceChildren();
  find("#question").hidden = find("#trip").hidden = true;
}

function put(element, words) {
  if (element.textContent !== words) element.textContent = words;
}

function three(value) {
  const size = Math.abs(value);
  return (size >= 100 ? value.toFixed(0) : size >= 10 ? value.toFixed(1) : value.toFixed(2)).replace("-", "−");
}

function percent(ratio) {
  const value = 100 * ratio;
  return `${value >= 10 ? value.toFixed(1) : value >= 1 ? value.toFixed(2) : value.toFixed(3)} %`;
}

function seconds(value) {
  const whole = Math.ceil(value);
  return whole >= 120 ? `${Math.floor(whole / 60)} min ${whole % 60} s` : value >= 10 ? `${whole} s` : `${value.toFixed(1)} s`;
}

// ---- what is told

export function show(message) {
  shown[message.event]?.(message);
  ask();
}

const shown = {
  "step-begun"(message) {
    step = message;
    live = traces = resting = tripped = null;
    course = empty();
    every = 1;
    count = 0;
    find("#trip").hidden = true;
    put(find("#step-now"), `Step ${message.number} of ${steps.length}: ${message.name}${message.attempt > 1 ? `, attempt ${message.attempt}` : ""}`);
    put(find("#step-next"), message.next_name ? `Then ${message.next_name}` : "The last step");
    mark(message.number, "now", "now");
  },
  live(message) {
    live = message;
    resting = null;
    if (message.searching || !step) return;
    if (count++ % every === 0) add(message);
  },
  course({ points }) {
    course = empty();
    for (const point of points) add(point);
  },
  traces(message) {
    traces = message;
  },
  "step-ended"(message) {
    mark(message.number, message.state, STATES[message.state]);
    const list = find(`#steps [data-step="${message.number}"] .found`);
    list?.replaceChildren(...[...message.found, ...(message.why ? [message.why] : [])].map((text) => Object.assign(document.createElement("li"), { textContent: text })));
    if (step?.kind === "ramp" && step.number === message.number && course.w.length) ramps.set(step.load, thinned());
    if (tripped?.number === message.number) {
      tripped = null;
      find("#trip").hidden = true;
    }
    live = null;
  },
  resting(message) {
    resting = message;
    live = null;
    put(find("#step-now"), `Resting before ${message.next_name ?? "the end"}`);
    put(find("#step-next"), "");
  },
  tripped(message) {
    tripped = message;
    live = null;
    const panel = find("#trip");
    put(panel.querySelector(".message"), message.message);
    put(panel.querySelector(".why"), message.why);
    put(panel.querySelector(".hint"), message.hint);
    panel.hidden = false;
    mark(message.number, "stopped", "stopped");
  },
  asked: question,
  answered() {
    find("#question").hidden = true;
  },
  controls(message) {
    held = message.held;
    put(find("#held"), { mine: "This page holds the controls: it answers what the run asks.", free: "No page holds the controls.", "another's": "Another page holds the controls. Any page may stop the drive." }[held]);
    allow();
  },
  told(message) {
    const item = Object.assign(document.createElement("li"), { textContent: `${message.message} ${message.hint ?? ""}`.trim() });
    const list = find("#told ul");
    list.append(item);
    while (list.children.length > MOST_TOLD) list.firstChild.remove();
    find("#told").hidden = false;
  },
  failed({ error }) {
    shown.told({ message: `${error.message} ${error.why}`.trim(), hint: error.hint });
  },
  "run-ended"(message) {
    live = resting = null;
    left = message.left;
    find("#question").hidden = true;
    const outcome = tripped && tripped.code !== "person" ? "The guard stopped this run." : message.state === "complete" ? "The run is complete." : message.why || "This run was interrupted.";
    const energy = message.energy_j === null ? "" : `, ${message.energy_j >= 1000 ? `${three(message.energy_j / 1000)} kJ` : `${three(message.energy_j)} J`} drawn from the supply`;
    put(find("#over .outcome"), outcome);
    put(find("#over .costs"), `${message.done} of ${message.done + message.left} steps are over. At full power for ${seconds(message.full_power_s)}${energy}.`);
    put(find("#step-now"), outcome);
    find("#run").classList.add("still");
    find("#over").hidden = false;
    find("#over .words").hidden = tripped === null;
  },
  "window-closed"() {
    find(".controls").hidden = true;
    const on = document.getElementById("on");
    if (on) on.hidden = left === 0;
  },
};

function mark(number, state, words) {
  for (const one of steps) {
    const mine = Number(one.dataset.step) === number;
    if (one.dataset.state === "now" && (mine || state === "now")) {
      one.dataset.state = "";
      one.removeAttribute("aria-current");
      put(one.querySelector(".state"), "to come");
    }
    if (!mine) continue;
    one.dataset.state = state;
    put(one.querySelector(".state"), words);
    if (state === "now") one.setAttribute("aria-current", "step");
  }
}

function question(message) {
  const form = document.getElementById("answer");
  form.elements.namedItem("id").value = message.id;
  const what = tripped ? message.what.replace(tripped.message, "").trim() : message.what; // it stands above already
  put(form.querySelector(".what"), what);
  put(form.querySelector(".hint"), message.hint);
  const inputs = form.querySelector(".inputs");
  if (message.choices.length) {
    inputs.replaceChildren(
      ...message.choices.map((choice, place) => Object.assign(document.createElement("button"), { name: "text", value: choice, textContent: CHOICES[choice] ?? choice, className: place ? "quiet" : "" })),
    );
  } else {
    const label = Object.assign(document.createElement("label"), { htmlFor: "answer-text", textContent: message.unit ? `Reading in ${message.unit}` : "In a few words" });
    const input = Object.assign(document.createElement("input"), { id: "answer-text", name: "text", required: true, autocomplete: "off", inputMode: message.unit ? "decimal" : "text" });
    inputs.replaceChildren(label, input, Object.assign(document.createElement("button"), { textContent: "Say it" }));
  }
  find("#question").hidden = false;
  allow();
}

function allow() {
  for (const element of document.querySelectorAll("#answer button, #answer input:not([type=hidden])")) element.disabled = held !== "mine";
  find("#answer .held").hidden = held === "mine";
}

// ---- what is drawn

function add(point) {
  course.t.push(point.t_s);
  course.w.push(point.output_w);
  course.thd.push(point.thd_n === null ? null : 100 * point.thd_n);
  course.volts.push(point.supply_v);
  if (course.t.length <= MOST_POINTS) return;
  for (const name of Object.keys(course)) course[name] = course[name].filter((_, place) => place % 2 === 0);
  every *= 2;
}

function thinned() {
  const keep = Math.max(1, Math.ceil(course.w.length / KEPT_POINTS));
  const few = (values) => values.filter((_, place) => place % keep === 0);
  return { w: few(course.w), thd: few(course.thd) };
}

let asked = false;
function ask() {
  if (asked) return;
  asked = true;
  requestAnimationFrame(paint);
}

function paint() {
  asked = false;
  ledger();
  strip();
  curve();
  supply();
  wave();
  spectrum();
  if (live) dispatchEvent(new CustomEvent("painted", { detail: { number: live.number, t_s: live.t_s } }));
}
for (const plot of Object.values(plots)) plot.onresize = ask;
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", ask);

function ledger() {
  const rest = resting !== null;
  put(rows.left.previousElementSibling, rest ? "Left of this rest" : "Left of this step");
  put(rows.left, rest ? seconds(resting.left_s) : live && step ? `${seconds(Math.max(0, step.seconds - live.t_s))}${live.searching ? ", finding the level" : ""}` : "–");
  put(rows.distortion, live && live.thd_n !== null ? percent(live.thd_n) : "–");
  put(rows.full, !live ? "–" : live.full_power_left_s === null ? `${seconds(live.full_power_s)}, no limit set` : `${seconds(live.full_power_left_s)} left, ${seconds(live.full_power_s)} used`);
  put(rows.sag, live ? supplied(live.supply_v, course.volts.find((value) => value !== null)) : "–");
  put(rows.warm, live ? (live.temperature_c === null ? "not recorded" : `${live.temperature_c.toFixed(0)} °C`) : "–");
}

function supplied(volts, start) {
  if (volts === null) return "not recorded";
  if (Math.abs(volts) < OFF_V) return "off";
  if (start === undefined) return `${volts.toFixed(2)} V`;
  return `${volts.toFixed(2)} V, ${start - volts > 0.005 ? `${(start - volts).toFixed(2)} V sag` : "no sag"}`;
}

function strip() {
  if (!live || live.output_w === null) {
    widths(0, 0);
    put(bar.words, live ? "No power is measured in this step." : "Nothing is driven at this moment.");
    return;
  }
  const load = Math.max(0, live.output_w);
  if (load < NOTHING_W && (live.supply_w ?? 0) < NOTHING_W) {
    widths(0, 0);
    put(bar.words, "Nothing is driven at this moment.");
    return;
  }
  if (live.supply_w === null) {
    widths(load, 0);
    put(bar.words, `${three(load)} W into the load; the supply's power is not recorded`);
    return;
  }
  const heat = Math.max(0, live.heat_w ?? 0);
  widths(load, heat);
  put(bar.words, `${three(load)} W into the load, ${three(heat)} W left as heat`);
}

function widths(load, heat) {
  const total = load + heat || 1;
  bar.load.style.flexGrow = (load / total).toFixed(3);
  bar.heat.style.flexGrow = (heat / total).toFixed(3);
}

function powerOf(name, fallback) {
  return { from: 0, to: Math.max(fallback, 1.05 * highest(course.w)), name };
}

function highest(values) {
  let found = 0;
  for (const value of values) if (value > found) found = value;
  return found;
}

function time() {
  return { from: 0, to: Math.max(step?.seconds ?? 1, live?.t_s ?? 0), name: "s" };
}

function curve() {
  if (!step) return plots.curve.say("No step has begun yet");
  if (step.kind === "ramp") {
    const most = Math.max(1.2 * step.expected_w, highest(course.w));
    const before = [...ramps].filter(([load]) => load !== step.load).map(([load, kept]) => ({ xs: kept.w, ys: kept.thd, colour: "soft", width: 1.5, dash: [5, 3], name: load }));
    put(find("#curve-said"), "Distortion and noise against power, the curve growing");
    plots.curve.draw({
      x: { from: most / 3000, to: Math.max(most, ...[...ramps.values()].map((one) => highest(one.w))), log: true, name: "power, W" },
      y: { from: 0.01, to: 30, log: true, name: "%" },
      lines: [...before, { xs: course.w, ys: course.thd, name: step.load ?? "" }],
      levels: LIMITS,
    });
    return;
  }
  put(find("#curve-said"), "Power over the step");
  if (!step.load) return plots.curve.say("Nothing is driven in this step");
  plots.curve.draw({ x: time(), y: powerOf("W", Math.max(0.01, 1.2 * step.expected_w)), lines: [{ xs: course.t, ys: course.w }] });
}

function supply() {
  const known = course.volts.filter((value) => value !== null);
  if (!known.length) return plots.supply.say(live ? "Not recorded in this step" : "Nothing yet");
  let low = Infinity, high = -Infinity;
  for (const value of known) [low, high] = [Math.min(low, value), Math.max(high, value)];
  const middle = (low + high) / 2, half = Math.max(0.6, 0.6 * (high - low));
  plots.supply.draw({ x: time(), y: { from: middle - half, to: middle + half, name: "V" }, lines: [{ xs: course.t, ys: course.volts, colour: "heat", width: 2 }] });
}

function wave() {
  if (!traces) return plots.wave.say("Nothing yet");
  const values = traces.waveform_v, n = values.length;
  let most = 1e-3;
  for (const value of values) most = Math.max(most, Math.abs(value));
  const ten = 10 ** Math.floor(Math.log10(most));
  const reach = ten * [1, 2, 5, 10].find((one) => one * ten >= most);
  const ms = 1000 * traces.waveform_s;
  plots.wave.draw({ x: { from: 0, to: ms, name: "ms" }, y: { from: -reach, to: reach, name: "V" }, lines: [{ xs: values.map((_, place) => (ms * place) / (n - 1)), ys: values, width: 2 }] });
}

function spectrum() {
  if (!traces) return plots.spectrum.say("Nothing yet");
  const [first, last] = traces.spectrum_hz, values = traces.spectrum_db, n = values.length;
  const ratio = (last / first) ** (1 / n);
  plots.spectrum.draw({
    x: { from: first, to: last, log: true, name: "Hz" },
    y: { from: -120, to: 0, name: "dB re highest" },
    lines: [{ xs: values.map((_, place) => first * ratio ** (place + 0.5)), ys: values, width: 1.5 }],
  });
}
