// One view on the page: its mesh, what it says of the step, its curve, and a bar or a place in detail.

function made(tag, className, parent, text) {
  const node = document.createElement(tag);
  if (className) node.className = className;
  if (text !== undefined) node.textContent = text;
  if (parent) parent.append(node);
  return node;
}

class Panel {
  constructor(player, k) {
    this.player = player; this.k = k; this.scene = player.scenes[k];
    const s = this.scene, box = this.box = made('section', 'view', document.getElementById('views'));
    box.setAttribute('aria-label', s.title);
    const head = made('div', 'head', box);
    made('h2', '', head, s.title);
    this.told = made('p', 'told', head);
    this.mesh = made('canvas', 'mesh', box);
    this.mesh.setAttribute('role', 'img');
    this.tip = made('div', 'tip', box); this.tip.hidden = true; this.tip.setAttribute('role', 'status');
    const curves = made('div', 'curves', box);
    this.curve = new Chart(made('canvas', 'curve', curves));
    this.detail = new Chart(made('canvas', 'detail', curves));
    this.curve.canvas.setAttribute('role', 'img'); this.detail.canvas.setAttribute('role', 'img');
    const pick = made('label', 'pick', box, 'Bar in detail ');
    this.bars = made('select', '', pick);
    s.bars.forEach((b, i) => { made('option', '', this.bars, `${b.name} (${b.role})`).value = i; });
    this.bars.addEventListener('change', () => { this.state.picked[k] = Number(this.bars.value); this.state.place[k] = null; player.settled(); });
    made('p', 'fine', box, `${s.sentence}. ${s.caution}`);
    this.painter = new Painter(this.mesh, s);
    this.listen();
  }

  get state() { return this.player.state; }
  get row() { return this.state.row_of(this.k); }

  // Height that the mesh would like for its width, in CSS pixels.
  wanted() {
    const [x0, x1, y0, y1] = this.scene.seen(this.state.window, this.state.enlarged);
    return Math.min(Math.max(220, 0.56 * window.innerHeight), Math.max(120, this.box.clientWidth * (y1 - y0) / (x1 - x0)));
  }

  size(height) {
    if (this.height !== Math.round(height)) { this.height = Math.round(height); this.mesh.style.height = this.height + 'px'; }
    this.painter.fit(this.box.clientWidth, this.height);
  }

  // The mesh between this row and the next one by a share.
  draw(next, share) {
    const st = this.state, scene = this.scene, row = this.row, field = scene.field(st.field), p = this.player;
    this.painter.draw({
      row, next: st.row_of(this.k, next), share, field, top: p.top, table: p.table, look: p.look, show: st.show,
      enlarged: st.enlarged, window: scene.seen(st.window, st.enlarged), zoom: st.zoom[this.k], follows: st.window === 'splice', picked: this.shows_bar() ? st.picked[this.k] : -1,
      place: st.place[this.k], say: (v, kind, d) => st.say(v, kind, d),
    });
  }

  shows_bar() { return !this.state.place[this.k] && this.player.chosen[this.k]; }

  // Words and curves of the row shown.
  tell() {
    const st = this.state, s = this.scene, row = this.row, c = s.curve, say = (v, kind, d) => st.say(v, kind, d);
    const field = s.field(st.field);
    let text = `step ${s.steps[row]}, ${say(c.load[row], 'force', st.units === 'us' ? 1 : 0)} ${s.per}, bar stress ${say(c.stress[row], 'stress')}, `
      + `${s.movement} ${say(c.moved[row], 'opening', st.units === 'us' ? 3 : 2)}`;
    const marks = s.marks.filter(m => m.row === row).map(m => m.name);
    if (marks.length) text += ` \u2014 ${marks.join('; ')}`;
    if (s.unconverged.includes(row)) text += ' \u2014 not fully in equilibrium';
    if (this.k !== st.lead && this.held()) text += ' \u2014 carries no more: held here';
    if (!field) text += ' \u2014 no such field in this view';
    this.told.textContent = text;
    this.mesh.setAttribute('aria-label', `${s.title}: ${field ? field.name : ''}, ${text}`);
    this.graph(row);
    this.bars.value = String(st.picked[this.k]);
  }

  held() {
    const st = this.state, lead = st.scenes[st.lead].curve.stress, own = this.scene.curve.stress;
    const carried = Math.max(...lead.subarray(0, st.row + 1));
    return carried > Math.max(...own) * 1.001;
  }

  graph(row) {
    const st = this.state, s = this.scene, c = s.curve, look = this.player.look;
    const x = Float64Array.from(c.moved, v => st.number(v, 'opening')), load = Float64Array.from(c.load, v => st.number(v, 'force'));
    const marks = s.marks.map(m => ({x: x[m.row], y: load[m.row], quiet: !m.stage})), along = `${s.movement} (${st.unit('length')[0]})`;
    this.curve.draw(look, along, [{label: `load ${s.per} (${st.unit('force')[0]})`, x, y: load, marks, now: {x: x[row], y: load[row]}}]);
    const place = st.place[this.k];
    if (place) {
      const p = place.list[place.k], name = place.list === s.stations ? 'stations' : 'gauges';
      const y = Float64Array.from(x, (_, r) => st.number(s.reading(name, r, place.k), p.kind));
      this.detail.draw(look, along, [{label: `${['stress', 'share'].includes(p.kind) ? p.kind : p.what} (${st.unit(p.kind)[0]})`, x, y, now: {x: x[row], y: y[row]}}],
                       `${p.name}: ${p.what}`);
      this.detail.canvas.setAttribute('aria-label', `${p.name}, ${p.what}, over the steps`);
    } else if (s.bars.length) this.profile(row, look);
  }

  profile(row, look) {
    const st = this.state, s = this.scene, k = st.picked[this.k], from = s.start[k], to = s.start[k + 1];
    const x = Float64Array.from(s.arc.subarray(from, to), v => st.number(v, 'length'));
    const of = (name, kind) => Float64Array.from({length: to - from}, (_, i) => st.number(s.along(name, row, from + i), kind));
    const u = kind => st.unit(kind)[0];
    this.detail.draw(look, `along the bar (${u('length')})`, [
      {label: `stress (${u('stress')})`, x, y: of('stress', 'stress')}, {label: `slip (${u('opening')})`, x, y: of('slip', 'opening')},
      {label: `bond (${u('stress')})`, x, y: of('bond', 'stress')},
    ], `Bar ${s.bars[k].name}`);
    this.detail.canvas.setAttribute('aria-label', `Bar ${s.bars[k].name}: stress, slip and bond stress along it`);
  }

  // ---------------------------------------------------------------- pointer
  listen() {
    const canvas = this.mesh, fingers = new Map();
    let start = null;
    const at = e => { const b = canvas.getBoundingClientRect(); return [(e.clientX - b.left) * this.painter.unit, (e.clientY - b.top) * this.painter.unit]; };
    canvas.addEventListener('pointerdown', e => {
      fingers.set(e.pointerId, at(e));
      start = {at: at(e), zoom: this.centre(), apart: spread(fingers), moved: false};
      if (e.pointerType === 'mouse') canvas.setPointerCapture(e.pointerId);
    });
    canvas.addEventListener('pointermove', e => {
      if (fingers.has(e.pointerId)) fingers.set(e.pointerId, at(e));
      if (start && fingers.size === 2 && start.apart) this.magnify(start.zoom, spread(fingers) / start.apart, null, start);
      else if (start && fingers.size === 1 && (this.state.zoom[this.k] || start.moved)) this.drag(start, at(e));
      else if (e.pointerType === 'mouse' || fingers.size === 1) this.hover(at(e));
    });
    const end = e => {
      const last = fingers.get(e.pointerId); fingers.delete(e.pointerId);
      if (start && last && !start.moved && e.type === 'pointerup') this.click(last);
      if (start && start.moved) this.player.settled();
      if (!fingers.size) start = null;
    };
    canvas.addEventListener('pointerup', end); canvas.addEventListener('pointercancel', end);
    canvas.addEventListener('pointerleave', e => { if (e.pointerType === 'mouse') this.tip.hidden = true; });
    canvas.addEventListener('dblclick', e => { this.magnify(this.centre(), 2, at(e)); this.player.settled(); });
    // the wheel alone scrolls the page
    canvas.addEventListener('wheel', e => {
      if (!e.ctrlKey && !e.shiftKey) return;
      e.preventDefault(); this.magnify(this.centre(), Math.exp(-0.003 * (e.deltaY || e.deltaX)), at(e)); this.player.settled();
    }, {passive: false});
    this.curve.canvas.addEventListener('click', e => {
      const b = this.curve.canvas.getBoundingClientRect(), row = this.curve.nearest(e.clientX - b.left, e.clientY - b.top);
      if (row >= 0) { this.player.stop(); this.state.lead = this.k; this.player.go(row); }
    });
  }

  centre() {
    const [x0, x1, y0, y1] = this.scene.seen(this.state.window, this.state.enlarged);
    return this.state.zoom[this.k] || [(x0 + x1) / 2, (y0 + y1) / 2, 1];
  }

  // Enlarge about a pixel, which stays where it is; no more than the whole.
  magnify([cx, cy, z], by, at, start) {
    const to = Math.min(Math.max(z * by, 1), 60), f = this.painter.shown;
    if (start) start.moved = true;
    if (to === 1) { this.state.zoom[this.k] = null; this.player.redraw(); return; }
    if (at) {
      const dx = at[0] - this.mesh.width / 2, dy = at[1] - this.mesh.height / 2, r = 1 / f.k - z / to / f.k;
      cx += dx * r; cy -= dy * r;
    }
    this.state.zoom[this.k] = [cx, cy, to]; this.player.redraw();
  }

  drag(start, [px, py]) {
    const dx = px - start.at[0], dy = py - start.at[1], f = this.painter.shown;
    if (!start.moved && Math.hypot(dx, dy) < 4 * this.painter.unit) return;
    start.moved = true; this.tip.hidden = true;
    this.state.zoom[this.k] = [start.zoom[0] - dx / f.k, start.zoom[1] + dy / f.k, start.zoom[2]]; this.player.redraw();
  }

  click([px, py]) {
    const st = this.state, s = this.scene, reach = 12 * this.painter.unit;
    let best = null, least = reach;
    for (const [name, list] of [['stations', s.stations], ['gauges', s.gauges]]) {
      if (st.show.has(name)) list.forEach((p, k) => {
        const d = Math.hypot(s.at[2 * p.node] - px, s.at[2 * p.node + 1] - py);
        if (d < least) { least = d; best = {list, k}; }
      });
    }
    const bar = best ? null : s.bar_at(px, py, reach);
    if (best) st.place[this.k] = best;
    else if (bar) { st.place[this.k] = null; st.picked[this.k] = bar.line; this.player.chosen[this.k] = true; }
    this.hover([px, py]);
    if (best || bar) this.player.settled();
  }

  hover([px, py]) {
    const st = this.state, s = this.scene, row = this.row, lines = [], unit = this.painter.unit;
    for (const [name, list] of [['stations', s.stations], ['gauges', s.gauges]]) {
      if (st.show.has(name)) list.forEach((p, k) => {
        if (Math.hypot(s.at[2 * p.node] - px, s.at[2 * p.node + 1] - py) < 9 * unit) lines.push(`${p.name}: ${p.what} ${st.say(s.reading(name, row, k), p.kind)}`);
      });
    }
    const bar = st.show.has('bars') ? s.bar_at(px, py, 7 * unit) : null;
    if (bar) {
      const i = bar.i, b = s.bars[bar.line];
      lines.push(`Bar ${b.name} (${b.role}): stress ${st.say(s.along('stress', row, i), 'stress')}, slip ${st.say(s.along('slip', row, i), 'opening')}, bond ${st.say(s.along('bond', row, i), 'stress')}`);
    }
    const e = s.element_at(px, py);
    if (e >= s.concrete) lines.push('steel plate');
    else if (e >= 0) for (const f of s.fields.filter(f => f.on === 'concrete')) {
      const sign = f.key === 'compression' ? -1 : 1, v = s.value(f.key, row, e);
      let text = `${f.name} ${st.say(sign * v, f.kind)}`;
      const array = f.strokes === 'crack' ? 'crack' : f.strokes ? 'angle' : '';
      if (array && v > 0) text += ` at ${Math.round(((s.value(array, row, e) * 180 / Math.PI + (f.strokes === 'across' ? 90 : 0)) % 180))}\u00b0`;
      lines.push(text);
    }
    this.tip.hidden = !lines.length;
    if (!lines.length) return;
    const f = this.painter.shown;
    const [dx, dy] = this.painter.drift;
    lines.push(`x ${st.say(f.x - dx + px / f.k, 'length')}, y ${st.say(f.y - dy - py / f.k, 'length')}`);
    this.tip.replaceChildren(...lines.map(t => made('span', '', null, t)));
    const width = this.box.clientWidth, left = px / unit + this.mesh.offsetLeft, top = py / unit + this.mesh.offsetTop;
    this.tip.style.left = Math.max(4, Math.min(left + 14, width - this.tip.offsetWidth - 4)) + 'px';
    this.tip.style.top = (top + this.tip.offsetHeight + 30 > this.box.clientHeight ? top - this.tip.offsetHeight - 10 : top + 16) + 'px';
  }
}

function spread(fingers) {
  if (fingers.size !== 2) return 0;
  const [a, b] = [...fingers.values()];
  return Math.hypot(a[0] - b[0], a[1] - b[1]);
}
