// Small pictures that are drawn anew ten times a second: a canvas each, nothing kept between two drawings.

const FONT = '"Source Sans Pro", system-ui, sans-serif';
const LEFT = 56, RIGHT = 12, TOP = 8, BOTTOM = 34;

let colours = {};
function readColours() {
  const style = getComputedStyle(document.documentElement);
  for (const name of ["ink", "soft", "grid", "line", "load", "heat"]) colours[name] = style.getPropertyValue(`--${name}`).trim();
}
readColours();
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", readColours);

export function niceStep(span, count) {
  const raw = span / Math.max(1, count);
  const ten = 10 ** Math.floor(Math.log10(raw));
  return ten * ([1, 2, 5, 10].find((one) => one * ten >= raw * 0.999) ?? 10);
}

function ticksOf(axis, count) {
  const found = [];
  if (axis.log) {
    const few = Math.log10(axis.to / axis.from) < 2.2;
    for (let ten = 10 ** Math.floor(Math.log10(axis.from)); ten <= axis.to * 1.001; ten *= 10)
      for (const one of few ? [1, 2, 5] : [1]) if (one * ten >= axis.from * 0.999 && one * ten <= axis.to * 1.001) found.push(one * ten);
    return found;
  }
  const step = niceStep(axis.to - axis.from, count);
  for (let n = Math.ceil(axis.from / step - 1e-9); n * step <= axis.to + step * 1e-6; n++) found.push(n * step);
  return found;
}

function written(value) {
  const size = Math.abs(value);
  if (size >= 1000) return `${+(value / 1000).toPrecision(3)}k`.replace("-", "−");
  return String(+value.toPrecision(3)).replace("-", "−");
}

export class Plot {
  constructor(canvas) {
    this.canvas = canvas;
    this.pen = canvas.getContext("2d");
    this.width = this.height = 0;
    new ResizeObserver(() => this.measure()).observe(canvas);
    this.measure();
  }

  measure() {
    const box = this.canvas.getBoundingClientRect();
    const ratio = Math.min(devicePixelRatio || 1, 2);
    if (!box.width || (this.width === box.width && this.height === box.height && this.ratio === ratio)) return;
    [this.width, this.height, this.ratio] = [box.width, box.height, ratio];
    this.canvas.width = Math.round(box.width * ratio);
    this.canvas.height = Math.round(box.height * ratio);
    this.onresize?.();
  }

  place(axis, value, low, high) {
    const share = axis.log
      ? Math.log(Math.max(value, axis.from * 1e-6) / axis.from) / Math.log(axis.to / axis.from)
      : (value - axis.from) / (axis.to - axis.from);
    return low + share * (high - low);
  }

  say(words) {
    const { pen } = this;
    pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    pen.clearRect(0, 0, this.width, this.height);
    pen.fillStyle = colours.soft;
    pen.font = `16px ${FONT}`;
    pen.textAlign = "center";
    pen.fillText(words, this.width / 2, this.height / 2);
  }

  // x, y: {from, to, log, name}; lines: {xs, ys, colour, width, dash}; levels: {y, name}
  draw({ x, y, lines, levels = [] }) {
    const { pen, width, height } = this;
    if (!width) return;
    const [left, right, top, bottom] = [LEFT, width - RIGHT, TOP, height - BOTTOM];
    pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    pen.clearRect(0, 0, width, height);
    pen.font = `13px ${FONT}`;
    pen.lineWidth = 1;
    pen.strokeStyle = colours.grid;
    pen.fillStyle = colours.soft;
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    for (const tick of ticksOf(y, height / 45)) {
      const at = Math.round(this.place(y, tick, bottom, top)) + 0.5;
      pen.beginPath();
      pen.moveTo(left, at);
      pen.lineTo(right, at);
      pen.stroke();
      pen.fillText(written(tick), left - 6, at);
    }
    pen.textAlign = "center";
    pen.textBaseline = "top";
    for (const tick of ticksOf(x, width / 90)) {
      const at = Math.round(this.place(x, tick, left, right)) + 0.5;
      pen.beginPath();
      pen.moveTo(at, top);
      pen.lineTo(at, bottom);
      pen.stroke();
      if (at < right - 30) pen.fillText(written(tick), at, bottom + 4);
    }
    pen.textAlign = "right";
    pen.fillText(x.name, right, bottom + 18);
    pen.textAlign = "left";
    pen.fillText(y.name, 2, bottom + 18);
    pen.save();
    pen.beginPath();
    pen.rect(left, top, right - left, bottom - top);
    pen.clip();
    for (const level of levels) {
      const at = this.place(y, level.y, bottom, top);
      pen.strokeStyle = colours.line;
      pen.setLineDash([6, 4]);
      pen.beginPath();
      pen.moveTo(left, at);
      pen.lineTo(right, at);
      pen.stroke();
      pen.setLineDash([]);
      pen.textBaseline = "bottom";
      pen.fillText(level.name, left + 6, at - 2);
    }
    for (const line of lines) this.line(line, x, y, [left, right, top, bottom]);
    pen.restore();
  }

  line({ xs, ys, colour = "load", width = 2.5, dash = [], name }, x, y, [left, right, top, bottom]) {
    const { pen } = this;
    pen.strokeStyle = pen.fillStyle = colours[colour];
    pen.lineWidth = width;
    pen.lineJoin = "round";
    pen.setLineDash(dash);
    pen.beginPath();
    let down = false, lastX = 0, lastY = 0;
    for (let n = 0; n < xs.length; n++) {
      const one = ys[n], at = xs[n];
      if (one === null || at === null || (y.log && one <= 0) || (x.log && at <= 0)) {
        down = false;
        continue;
      }
      lastX = this.place(x, at, left, right);
      lastY = this.place(y, one, bottom, top);
      if (down) pen.lineTo(lastX, lastY);
      else pen.moveTo(lastX, lastY);
      down = true;
    }
    pen.stroke();
    pen.setLineDash([]);
    if (name && xs.length) {
      pen.textAlign = lastX > (left + right) / 2 ? "right" : "left";
      pen.textBaseline = "bottom";
      pen.fillText(name, lastX + (lastX > (left + right) / 2 ? -6 : 6), Math.max(lastY, top + 16));
    }
  }
}
