// The mesh of one view on a canvas: elements filled by our own scan lines (no card needed, no seams between them),
// everything else as strokes on top.

const MOST_PIXELS = 1.1e6, LIGHTEST = 0.7, HEAVIEST = 3.2;   // strokes of the first and the last class of openings
const ACTING = new Set(['body', 'shear', 'hold']);

class Scene {
  constructor(told, arrays) {
    Object.assign(this, told);
    const of = name => arrays[told.head + name];
    this.points = of('points').data; this.cells = of('cells').data; this.edges = of('edges').data;
    this.moved = of('moved'); this.arrays = of;
    this.barNodes = of('bars/nodes').data; this.arc = of('bars/arc').data;
    this.bar = {stress: of('bars/stress'), slip: of('bars/slip'), bond: of('bars/bond')};
    this.curve = {load: of('curve/load').data, moved: of('curve/moved').data, stress: of('curve/stress').data};
    this.rows = told.steps.length;
    const n = this.points.length / 2, m = this.cells.length / 4;
    this.at = new Float32Array(2 * n);          // where points stand in the picture [pixels]
    this.size = new Float32Array(m);
    for (let e = 0; e < m; e++) this.size[e] = Math.sqrt(area(this.points, this.cells, e));
    this.drift = this.drifts();
    for (const list of [this.stations, this.gauges]) for (const p of list) p.node = this.nearest(p);
  }

  // Mean movement (2 per row) [mm] of what the window of the splice shows: its pictures follow it.
  drifts() {
    const [x0, x1, y0, y1] = this.windows.splice, p = this.points, u = this.moved, out = new Float64Array(2 * this.rows), inside = [];
    for (let i = 0; i < p.length; i += 2) if (p[i] > x0 && p[i] < x1 && p[i + 1] > y0 && p[i + 1] < y1) inside.push(i);
    for (let r = 0; r < this.rows; r++) for (const i of inside) for (const d of [0, 1])
      out[2 * r + d] += u.data[r * u.row + i + d] * u.scale / inside.length;
    return out;
  }

  // x0, x1, y0, y1 [mm] of a window: the whole has room for its shape at the first, the leading and the last step.
  seen(name, enlarged) {
    const base = this.windows[name];
    if (name === 'splice' || !enlarged) return base;
    if (this.room && this.room[0] === enlarged) return this.room[1];
    const out = base.slice(), p = this.points, u = this.moved, rows = [0, this.rows - 1, ...this.marks.filter(m => m.stage).map(m => m.row)];
    for (const row of rows) for (let i = 0; i < p.length; i++) {
      const v = p[i] + enlarged * u.scale * u.data[row * u.row + i], k = 2 * (i & 1);
      if (v < out[k]) out[k] = v;
      if (v > out[k + 1]) out[k + 1] = v;
    }
    const rim = 0.04 * (base[3] - base[2]);
    out.forEach((v, k) => { if (v !== base[k]) out[k] += k % 2 ? rim : -rim; });
    this.room = [enlarged, out];
    return out;
  }

  // Largest movement [mm] inside the splice against its mean.
  most(row) {
    const [x0, x1] = this.windows.splice, p = this.points, u = this.moved;
    let most = 0;
    for (let i = 0; i < p.length; i += 2) if (p[i] > x0 && p[i] < x1) for (const d of [0, 1])
      most = Math.max(most, Math.abs(u.data[row * u.row + i + d] * u.scale - this.drift[2 * row + d]));
    return most;
  }

  nearest(place) {
    const k = this.bars.findIndex(b => b.name === place.line), nodes = k < 0 ? this.cells : this.barNodes.subarray(this.start[k], this.start[k + 1]);
    let best = 0, least = Infinity;
    for (const p of nodes) {
      const d = Math.hypot(this.points[2 * p] - place.xy[0], this.points[2 * p + 1] - place.xy[1]);
      if (d < least) { least = d; best = p; }
    }
    return best;
  }

  field(key) { return this.fields.find(f => f.key === key) || null; }
  codes(name, row) { const a = this.arrays(name); return a.data.subarray(row * a.row, (row + 1) * a.row); }
  value(name, row, e) { const a = this.arrays(name); return a.levels[a.data[row * a.row + e]]; }
  along(name, row, i) { const a = this.bar[name]; return a.data[row * a.row + i] * a.scale; }
  reading(name, row, i) { const a = this.arrays(name); return a.data[row * a.row + i] * a.scale * this[name][i].top; }
  members_at(row) {
    const list = this.arrays('members').data, start = this.arrays('members/start').data, out = [];
    for (let i = start[row]; i < start[row + 1]; i++) {
      const [k, x0, y0, x1, y1, force, steel] = list.subarray(7 * i, 7 * i + 7);
      out.push({...this.members[k], x0, y0, x1, y1, force, steel});
    }
    return out;
  }

  // Where a place [mm] of the sound shape stands in the picture: it goes with the point nearest to it.
  carried(x, y, k) {
    const p = this.points;
    let best = 0, least = Infinity;
    for (let i = 0; i < p.length; i += 2) {
      const d = (p[i] - x) * (p[i] - x) + (p[i + 1] - y) * (p[i + 1] - y);
      if (d < least) { least = d; best = i; }
    }
    return [this.at[best] + (x - p[best]) * k, this.at[best + 1] - (y - p[best + 1]) * k];
  }

  // Places of all points: between rows `a` and `b` by the share `t`, displacements enlarged.
  place(frame, a, b, t, enlarged) {
    const u = this.moved, ra = a * u.row, rb = b * u.row, s = u.scale * enlarged, at = this.at, p = this.points;
    const {k, x, y} = frame;
    for (let i = 0; i < p.length; i += 2) {
      const ux = u.data[ra + i] + t * (u.data[rb + i] - u.data[ra + i]);
      const uy = u.data[ra + i + 1] + t * (u.data[rb + i + 1] - u.data[ra + i + 1]);
      at[i] = (p[i] + s * ux - x) * k;
      at[i + 1] = (y - p[i + 1] - s * uy) * k;
    }
  }

  // The element at a pixel, or -1.
  element_at(px, py) {
    const at = this.at, c = this.cells;
    for (let e = 0; e < c.length / 4; e++) {
      let inside = false;
      for (let i = 0, j = 3; i < 4; j = i++) {
        const xi = at[2 * c[4 * e + i]], yi = at[2 * c[4 * e + i] + 1];
        const xj = at[2 * c[4 * e + j]], yj = at[2 * c[4 * e + j] + 1];
        if (yi > py !== yj > py && px < (xj - xi) * (py - yi) / (yj - yi) + xi) inside = !inside;
      }
      if (inside) return e;
    }
    return -1;
  }

  // The bar node within `reach` pixels: {line, i}, main bars first; or null.
  bar_at(px, py, reach) {
    let best = null, least = reach;
    for (let k = 0; k < this.bars.length; k++) {
      const handicap = this.bars[k].role === 'main' ? 0 : 3;
      for (let i = this.start[k]; i + 1 < this.start[k + 1]; i++) {
        const a = this.barNodes[i], b = this.barNodes[i + 1];
        const [d, t] = apart(px, py, this.at[2 * a], this.at[2 * a + 1], this.at[2 * b], this.at[2 * b + 1]);
        if (d + handicap < least) { least = d + handicap; best = {line: k, i: t < 0.5 ? i : i + 1}; }
      }
    }
    return best;
  }
}

function area(p, c, e) {
  let sum = 0;
  for (let i = 0, j = 3; i < 4; j = i++) {
    const a = 2 * c[4 * e + j], b = 2 * c[4 * e + i];
    sum += p[a] * p[b + 1] - p[b] * p[a + 1];
  }
  return Math.abs(sum) / 2;
}

function apart(x, y, ax, ay, bx, by) {
  const dx = bx - ax, dy = by - ay, t = Math.min(Math.max(((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1), 0), 1);
  return [Math.hypot(x - ax - t * dx, y - ay - t * dy), t];
}

// ------------------------------------------------------------------ elements
// Fill convex quadrilaterals: a pixel belongs to the one that covers its centre.
function fill(scene, image, width, height, colours, codes, plate) {
  const at = scene.at, cells = scene.cells, n = cells.length >> 2;
  for (let e = 0; e < n; e++) {
    const o = e << 2;
    const i0 = cells[o] << 1, i1 = cells[o + 1] << 1, i2 = cells[o + 2] << 1, i3 = cells[o + 3] << 1;
    const y0 = at[i0 + 1], y1 = at[i1 + 1], y2 = at[i2 + 1], y3 = at[i3 + 1];
    const top = Math.max(0, Math.ceil(Math.min(y0, y1, y2, y3) - 0.5));
    const bottom = Math.min(height - 1, Math.ceil(Math.max(y0, y1, y2, y3) - 0.5) - 1);
    if (top > bottom) continue;
    const x0 = at[i0], x1 = at[i1], x2 = at[i2], x3 = at[i3];
    if (Math.max(x0, x1, x2, x3) < 0 || Math.min(x0, x1, x2, x3) > width) continue;
    const colour = e < scene.concrete ? (codes ? colours[codes[e]] : colours[0]) : plate;
    for (let y = top; y <= bottom; y++) {
      const c = y + 0.5;
      let left = Infinity, right = -Infinity, x;
      if ((y0 > c) !== (y1 > c)) { x = cut(x0, y0, x1, y1, c); if (x < left) left = x; if (x > right) right = x; }
      if ((y1 > c) !== (y2 > c)) { x = cut(x1, y1, x2, y2, c); if (x < left) left = x; if (x > right) right = x; }
      if ((y2 > c) !== (y3 > c)) { x = cut(x2, y2, x3, y3, c); if (x < left) left = x; if (x > right) right = x; }
      if ((y3 > c) !== (y0 > c)) { x = cut(x3, y3, x0, y0, c); if (x < left) left = x; if (x > right) right = x; }
      const from = Math.max(0, Math.ceil(left - 0.5)), to = Math.min(width, Math.ceil(right - 0.5));
      for (let p = y * width + from, end = y * width + to; p < end; p++) image[p] = colour;
    }
  }
}

// Neighbours meet an edge from its two ends: taken from the upper one they find the same place.
function cut(ax, ay, bx, by, y) {
  return ay < by ? ax + (bx - ax) * ((y - ay) / (by - ay)) : bx + (ax - bx) * ((y - by) / (ay - by));
}

// ------------------------------------------------------------------ painter
class Painter {
  constructor(canvas, scene) { this.canvas = canvas; this.scene = scene; this.context = canvas.getContext('2d'); this.unit = 1; }

  // Size in the page [CSS pixels] -> pixels, at most so many that a frame stays cheap.
  fit(width, height) {
    const unit = Math.min(window.devicePixelRatio || 1, 2, Math.sqrt(MOST_PIXELS / Math.max(width * height, 1)));
    const w = Math.max(1, Math.round(width * unit)), h = Math.max(1, Math.round(height * unit));
    if (w !== this.canvas.width || h !== this.canvas.height) {
      this.canvas.width = w; this.canvas.height = h;
      this.image = this.context.createImageData(w, h);
      this.pixels = new Uint32Array(this.image.data.buffer);
    }
    this.unit = w / Math.max(width, 1);
  }

  // Which part of the view [mm] fills the canvas: k pixels per mm, x and y of its upper left corner.
  frame(window_, zoom) {
    const [x0, x1, y0, y1] = window_, w = this.canvas.width, h = this.canvas.height;
    const k = Math.min(w / (x1 - x0), h / (y1 - y0)) * (zoom ? zoom[2] : 1);
    const cx = zoom ? zoom[0] : (x0 + x1) / 2, cy = zoom ? zoom[1] : (y0 + y1) / 2;
    this.shown = {k, x: cx - w / 2 / k, y: cy + h / 2 / k};
    return this.shown;
  }

  draw(s) {
    const {scene, context: c} = this, {look, row} = s;
    const frame = this.frame(s.window, s.zoom);
    this.drift = [0, 1].map(d => {
      const a = scene.drift[2 * s.row + d], b = scene.drift[2 * s.next + d];
      return s.follows ? s.enlarged * (a + s.share * (b - a)) : 0;
    });
    frame.x += this.drift[0]; frame.y += this.drift[1];
    scene.place(frame, s.row, s.next, s.share, s.enlarged);
    const field = s.field && s.field.on === 'concrete' ? s.field : null;
    this.pixels.fill(0);
    fill(scene, this.pixels, this.canvas.width, this.canvas.height,
         field ? s.table : [pixel(rgb(look.concrete))], field ? scene.codes(field.key, row) : null, pixel(rgb(look.plate)));
    c.putImageData(this.image, 0, 0);
    c.lineCap = 'butt'; c.lineJoin = 'round';
    this.rim(look);
    if (s.show.has('bars')) this.bars(s);
    if (s.show.has('strokes') && field) this.strokes(s, field);
    else if (s.show.has('strokes') && s.field) this.cracks(s, 0.35);
    const words = s.show.has('members') ? this.members(s) : [];
    if (s.show.has('stations')) this.places(scene.stations, s, 'ring');
    if (s.show.has('gauges')) this.places(scene.gauges, s, 'box');
    for (const [x, y, text] of words) this.word(x, y, text, look);
  }

  rim(look) {
    const {scene: {at, edges}, context: c} = this;
    c.beginPath();
    for (let i = 0; i < edges.length; i += 2) {
      const a = 2 * edges[i], b = 2 * edges[i + 1];
      c.moveTo(at[a], at[a + 1]); c.lineTo(at[b], at[b + 1]);
    }
    c.strokeStyle = look.ink; c.lineWidth = 1.1 * this.unit; c.stroke();
  }

  bars(s) {
    const {scene, context: c} = this, coloured = s.field && s.field.on === 'bars';
    for (let k = 0; k < scene.bars.length; k++) {
      const bar = scene.bars[k], main = bar.role === 'main', picked = k === s.picked;
      const wide = main ? Math.max(2.2 * this.unit, 0.55 * bar.diameter * this.shown.k) : 1.2 * this.unit;
      const band = coloured ? (main ? 1.5 * wide : 2.6 * this.unit) : wide;
      if (picked || coloured) {
        c.beginPath(); this.line(k); c.strokeStyle = picked ? s.look.mark : s.look.ink;
        c.lineWidth = band + (picked ? 4 : main ? 1.6 : 1) * this.unit; c.stroke();
      }
      if (coloured) { this.coloured(k, s, band); continue; }
      c.beginPath(); this.line(k); c.strokeStyle = main ? s.look.bar : s.look.quiet; c.globalAlpha = main ? 0.7 : 0.75;
      c.lineWidth = wide; c.stroke(); c.globalAlpha = 1;
    }
  }

  line(k) {
    const {scene, context: c} = this;
    for (let i = scene.start[k]; i < scene.start[k + 1]; i++) {
      const p = 2 * scene.barNodes[i];
      i === scene.start[k] ? c.moveTo(scene.at[p], scene.at[p + 1]) : c.lineTo(scene.at[p], scene.at[p + 1]);
    }
  }

  coloured(k, s, wide) {
    const {scene, context: c} = this, paths = new Map();
    for (let i = scene.start[k]; i + 1 < scene.start[k + 1]; i++) {
      let v = 0.5 * (scene.along(s.field.key, s.row, i) + scene.along(s.field.key, s.row, i + 1)) / s.top;
      if (s.field.map !== 'both') v = Math.abs(v);
      const bin = Math.round(24 * Math.min(Math.max(v, -1), 1)), a = 2 * scene.barNodes[i], b = 2 * scene.barNodes[i + 1];
      const ax = scene.at[a], ay = scene.at[a + 1], bx = scene.at[b], by = scene.at[b + 1], over = 0.5 / (Math.hypot(bx - ax, by - ay) || 1);
      if (!paths.has(bin)) paths.set(bin, new Path2D());
      // half a pixel too long, so that no seam shows
      paths.get(bin).moveTo(ax - over * (bx - ax), ay - over * (by - ay)); paths.get(bin).lineTo(bx + over * (bx - ax), by + over * (by - ay));
    }
    c.lineWidth = wide;
    for (const [bin, path] of paths) { c.strokeStyle = s.look.css(s.field.map, bin / 24); c.stroke(path); }
  }

  strokes(s, field) {
    if (field.strokes === 'crack') return this.cracks(s, 1);
    if (!field.strokes) return;
    const {scene, context: c} = this, turned = field.strokes === 'across' ? Math.PI / 2 : 0;
    const levels = scene.arrays(field.key).levels, angles = scene.arrays('angle').levels;
    const codes = scene.codes(field.key, s.row), ways = scene.codes('angle', s.row), path = new Path2D();
    for (let e = 0; e < scene.concrete; e++) {
      const v = levels[codes[e]] / s.top;
      if (v > 0.05) this.stroke(path, e, angles[ways[e]] + turned, 0.46 * Math.min(v, 1));
    }
    c.strokeStyle = s.look.ink; c.lineWidth = 0.8 * this.unit; c.stroke(path);
  }

  cracks(s, alpha) {
    const {scene, context: c} = this, levels = scene.arrays('opening').levels, angles = scene.arrays('crack').levels;
    const codes = scene.codes('opening', s.row), ways = scene.codes('crack', s.row);
    const count = s.look.classes.length, paths = s.look.classes.map(() => new Path2D()), place = Int8Array.from(levels, v => s.look.class_of(v));
    for (let e = 0; e < scene.concrete; e++) {
      const k = place[codes[e]];
      if (k >= 0) this.stroke(paths[k], e, angles[ways[e]], 0.5);
    }
    c.strokeStyle = s.look.ink; c.globalAlpha = alpha;
    paths.forEach((path, k) => { c.lineWidth = (LIGHTEST + (HEAVIEST - LIGHTEST) * k / (count - 1)) * this.unit; c.stroke(path); });
    c.globalAlpha = 1;
  }

  stroke(path, e, angle, share) {
    const {at, cells, size} = this.scene, o = 4 * e, r = share * size[e] * this.shown.k;
    const x = 0.25 * (at[2 * cells[o]] + at[2 * cells[o + 1]] + at[2 * cells[o + 2]] + at[2 * cells[o + 3]]);
    if (x < -r || x > this.canvas.width + r) return;
    const y = 0.25 * (at[2 * cells[o] + 1] + at[2 * cells[o + 1] + 1] + at[2 * cells[o + 2] + 1] + at[2 * cells[o + 3] + 1]);
    const dx = r * Math.cos(angle), dy = -r * Math.sin(angle);
    path.moveTo(x - dx, y - dy); path.lineTo(x + dx, y + dy);
  }

  // Struts and ties; answers the numbers that go on top.
  members(s) {
    const {context: c, shown, unit} = this, list = this.scene.members_at(s.row);
    const most = Math.max(...list.map(m => Math.abs(m.force)), 1);
    const px = (x, y) => this.scene.carried(x, y, shown.k);
    c.font = `600 ${11 * unit}px ${FONT}`; c.textAlign = 'center'; c.textBaseline = 'middle';
    const words = [];
    for (const m of list) {
      const [ax, ay] = px(m.x0, m.y0), [bx, by] = px(m.x1, m.y1), part = Math.abs(m.force) / most;
      c.beginPath(); c.moveTo(ax, ay); c.lineTo(bx, by);
      c.strokeStyle = m.kind === 'strut' ? s.look.strut : ACTING.has(m.kind) ? s.look.quiet : s.look.tie;
      c.setLineDash(m.kind === 'concrete' || m.kind === 'section' ? [5 * unit, 4 * unit] : []);
      c.lineWidth = (m.kind === 'section' ? 2.5 : ACTING.has(m.kind) ? 1.6 : 1.5 + 6 * part) * unit; c.stroke(); c.setLineDash([]);
      if (ACTING.has(m.kind)) this.head(ax, ay, bx, by, c.strokeStyle);
      if (part > 0.12 || m.kind === 'section') words.push([part, (ax + bx) / 2, (ay + by) / 2, s.say(m.force + m.steel, 'force', 0)]);
    }
    // the largest forces first; what would cover another number is left out
    const taken = [];
    for (const [, x, y, text] of words.sort((a, b) => b[0] - a[0])) {
      const wide = c.measureText(text).width + 8 * unit;
      if (taken.some(([a, b, w]) => Math.abs(a - x) < (w + wide) / 2 && Math.abs(b - y) < 15 * unit)) continue;
      taken.push([x, y, wide, text]);
    }
    return taken.map(([x, y, , text]) => [x, y, text]);
  }

  head(ax, ay, bx, by, colour) {
    const c = this.context, l = Math.hypot(bx - ax, by - ay) || 1, dx = (bx - ax) / l * 6 * this.unit, dy = (by - ay) / l * 6 * this.unit;
    c.beginPath(); c.moveTo(bx, by); c.lineTo(bx - dx - 0.5 * dy, by - dy + 0.5 * dx); c.lineTo(bx - dx + 0.5 * dy, by - dy - 0.5 * dx);
    c.fillStyle = colour; c.fill();
  }

  word(x, y, text, look) {
    const c = this.context, w = c.measureText(text).width + 6 * this.unit, h = 15 * this.unit;
    c.globalAlpha = 0.82; c.fillStyle = look.paper; c.fillRect(x - w / 2, y - h / 2, w, h); c.globalAlpha = 1;
    c.fillStyle = look.ink; c.fillText(text, x, y);
  }

  places(list, s, shape) {
    const {context: c, scene: {at}, unit} = this, r = 5 * unit;
    list.forEach((p, k) => {
      const x = at[2 * p.node], y = at[2 * p.node + 1], picked = s.place && s.place.list === list && s.place.k === k;
      c.beginPath(); shape === 'ring' ? c.arc(x, y, r, 0, 7) : c.rect(x - r, y - 0.6 * r, 2 * r, 1.2 * r);
      c.fillStyle = picked ? s.look.mark : s.look.paper; c.fill();
      c.strokeStyle = s.look.ink; c.lineWidth = 1.4 * unit; c.stroke();
    });
  }
}
