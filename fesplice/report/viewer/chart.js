// Curves: axes with round numbers, lines, a mark at the step shown.

const FONT = '"Source Sans 3", "Segoe UI", "Helvetica Neue", Arial, "DejaVu Sans", sans-serif';

function ticks(low, high, count) {
  const rough = (high - low) / Math.max(count, 1), base = 10 ** Math.floor(Math.log10(rough || 1));
  const step = [1, 2, 5, 10].map(m => m * base).find(v => v >= rough) || base, out = [];
  for (let v = Math.ceil(low / step - 1e-9) * step; v <= high + 1e-9 * step; v += step) out.push(Math.abs(v) < 1e-9 * step ? 0 : v);
  return out;
}

function bounds(values, zero) {
  let low = zero ? 0 : Infinity, high = zero ? 0 : -Infinity;
  for (const v of values) if (Number.isFinite(v)) { low = Math.min(low, v); high = Math.max(high, v); }
  if (!(high > low)) high = low + 1;
  const room = 0.06 * (high - low);
  return [low < 0 ? low - room : low, high > 0 ? high + room : high];
}

function plain(v) { return String(Number(v.toPrecision(6))).replace('-', '\u2212'); }

// Draws graphs one above the other over a common x; answers where a value stands, for clicks.
class Chart {
  constructor(canvas) { this.canvas = canvas; this.context = canvas.getContext('2d'); this.drawn = null; }

  fit() {
    const box = this.canvas.getBoundingClientRect(), unit = Math.min(window.devicePixelRatio || 1, 2);
    const w = Math.max(1, Math.round(box.width * unit)), h = Math.max(1, Math.round(box.height * unit));
    if (w !== this.canvas.width || h !== this.canvas.height) { this.canvas.width = w; this.canvas.height = h; }
    this.unit = unit; this.width = w / unit; this.height = h / unit;
  }

  // graphs: [{label, x, y, marks: [{x, y, quiet}], now: {x, y}}], xlabel
  draw(look, xlabel, graphs, title = '') {
    this.fit();
    const c = this.context, left = 52, right = 10, top = title ? 22 : 8, foot = 34;
    c.setTransform(this.unit, 0, 0, this.unit, 0, 0);
    c.clearRect(0, 0, this.width, this.height);
    c.font = `12px ${FONT}`;
    const xs = bounds(graphs.flatMap(g => Array.from(g.x)), false), wide = this.width - left - right;
    const high = (this.height - top - foot - 12 * (graphs.length - 1)) / graphs.length;
    const X = v => left + (v - xs[0]) / (xs[1] - xs[0]) * wide;
    if (title) { c.fillStyle = look.ink; c.textAlign = 'left'; c.textBaseline = 'top'; c.font = `600 12.5px ${FONT}`; c.fillText(title, left, 3, wide); c.font = `12px ${FONT}`; }
    this.drawn = graphs.map((g, k) => {
      const y0 = top + k * (high + 12), ys = bounds(g.y, true), Y = v => y0 + high - (v - ys[0]) / (ys[1] - ys[0]) * high;
      c.strokeStyle = look.rule; c.lineWidth = 1; c.fillStyle = look.quiet; c.textAlign = 'right'; c.textBaseline = 'middle';
      for (const v of ticks(ys[0], ys[1], Math.max(2, high / 34))) {
        c.beginPath(); c.moveTo(left, Y(v)); c.lineTo(left + wide, Y(v)); c.stroke();
        // a number at the upper end of a lower graph would meet that of the one above
        if (!k || Y(v) > y0 + 5) c.fillText(plain(v), left - 5, Y(v));
      }
      c.save(); c.translate(11, y0 + high / 2); c.rotate(-Math.PI / 2); c.textAlign = 'center'; c.fillStyle = look.ink; c.fillText(g.label, 0, 0, high + 8); c.restore();
      c.beginPath();
      let pen = false;
      for (let i = 0; i < g.x.length; i++) {
        if (!Number.isFinite(g.y[i]) || !Number.isFinite(g.x[i])) { pen = false; continue; }
        pen ? c.lineTo(X(g.x[i]), Y(g.y[i])) : c.moveTo(X(g.x[i]), Y(g.y[i])); pen = true;
      }
      c.strokeStyle = look.ink; c.lineWidth = 1.6; c.stroke();
      for (const m of g.marks || []) {
        c.beginPath(); c.arc(X(m.x), Y(m.y), m.quiet ? 2.6 : 4, 0, 7); c.fillStyle = m.quiet ? look.quiet : look.paper; c.fill();
        if (!m.quiet) { c.strokeStyle = look.ink; c.stroke(); }
      }
      if (g.now) {
        c.beginPath(); c.moveTo(X(g.now.x), y0); c.lineTo(X(g.now.x), y0 + high); c.strokeStyle = look.mark; c.lineWidth = 1.2; c.stroke();
        c.beginPath(); c.arc(X(g.now.x), Y(g.now.y), 5, 0, 7); c.fillStyle = look.mark; c.fill();
      }
      return {...g, X, Y, y0, high};
    });
    c.fillStyle = look.quiet; c.textAlign = 'center'; c.textBaseline = 'top';
    for (const v of ticks(xs[0], xs[1], Math.max(2, wide / 70))) c.fillText(plain(v), X(v), this.height - foot + 4);
    c.fillStyle = look.ink; c.fillText(xlabel, left + wide / 2, this.height - 15, wide);
  }

  // Number of the point nearest to a place [CSS pixels], or -1.
  nearest(px, py) {
    const g = this.drawn && this.drawn[0];
    if (!g) return -1;
    let best = -1, least = Infinity;
    for (let i = 0; i < g.x.length; i++) {
      const d = Math.hypot(g.X(g.x[i]) - px, g.Y(g.y[i]) - py);
      if (d < least) { least = d; best = i; }
    }
    return best;
  }
}
