// The page: reads the parcel, keeps the state, plays.

const PACE = 8, CALM = 2;   // steps a second; with reduced motion
const by = id => document.getElementById(id);

class Player {
  constructor(header, arrays) {
    this.header = header;
    this.scenes = header.views.map(told => new Scene(told, arrays));
    this.state = new State(header, this.scenes);
    this.chosen = this.scenes.map(() => false);
    this.calm = matchMedia('(prefers-reduced-motion: reduce)');
    this.night = matchMedia('(prefers-color-scheme: dark)');
    this.playing = null; this.pictures = 0; this.asked = 0;
    this.state.read(location.hash);
    this.words();
    this.panels = this.scenes.map((_, k) => new Panel(this, k));
    this.controls();
    this.wire();
    this.look_anew();
  }

  words() {
    const h = this.header;
    document.title = `${h.name}: played`;
    by('name').textContent = h.name; by('note').textContent = h.note; by('sentence').textContent = h.sentence;
    by('record').textContent = `fesplice ${h.version}, specimen ${h.digest}; ` + this.scenes.map(s => `${s.folder}: ${s.rows} steps, ${s.outcome}`).join('; ');
    document.body.classList.toggle('pair', this.scenes.length > 1);
  }

  // ---------------------------------------------------------------- controls
  controls() {
    const field = by('field'), keys = new Map();
    for (const s of this.scenes) for (const f of s.fields) keys.set(f.key, [...(keys.get(f.key) || []), f.name]);
    for (const [key, names] of keys) { const o = made('option', '', field, [...new Set(names)].join(' / ')); o.value = key; }
    this.keys = [...keys.keys()];
    by('lead').parentElement.hidden = this.scenes.length < 2;
    this.scenes.forEach((s, k) => { made('option', '', by('lead'), s.name).value = k; });
    by('scale').max = SCALES.length - 1;
    if (!this.scenes.some(s => s.gauges.length)) document.querySelector('[data-show=gauges]').hidden = true;
  }

  wire() {
    const st = this.state, on = (id, event, act) => by(id).addEventListener(event, act);
    on('field', 'change', () => { st.field = by('field').value; this.settled(true); });
    on('lead', 'change', () => this.lead(Number(by('lead').value)));
    on('scale', 'input', () => { st.enlarged = SCALES[by('scale').value]; this.settled(); });
    on('step', 'input', () => { this.stop(); this.go(Number(by('step').value)); });
    on('play', 'click', () => this.playing ? this.stop() : this.play());
    on('back', 'click', () => { this.stop(); this.go(st.row - 1); });
    on('ahead', 'click', () => { this.stop(); this.go(st.row + 1); });
    on('units', 'click', () => { st.units = st.units === 'si' ? 'us' : 'si'; this.settled(true); });
    on('look', 'click', () => { const all = ['auto', 'light', 'dark']; st.look = all[(all.indexOf(st.look) + 1) % 3]; this.look_anew(); });
    on('grey', 'click', () => { st.grey = !st.grey; this.look_anew(); });
    on('window', 'click', () => { st.window = st.window === 'splice' ? 'whole' : 'splice'; st.zoom.fill(null); this.settled(); });
    on('link', 'click', () => this.link());
    on('picture', 'click', () => this.picture());
    on('help', 'click', () => { by('keys').hidden = !by('keys').hidden; by('help').setAttribute('aria-expanded', String(!by('keys').hidden)); });
    for (const b of document.querySelectorAll('[data-show]')) b.addEventListener('click', () => this.toggle(b.dataset.show));
    window.addEventListener('hashchange', () => { if (location.hash !== st.address()) { this.stop(); st.read(location.hash); this.look_anew(); } });
    window.addEventListener('keydown', e => this.key(e));
    this.night.addEventListener('change', () => this.look_anew());
    new ResizeObserver(() => this.redraw(true)).observe(by('views'));
    window.addEventListener('resize', () => this.redraw(true));
  }

  toggle(name) { const s = this.state.show; s.has(name) ? s.delete(name) : s.add(name); this.settled(); }

  lead(k) {
    const st = this.state;
    st.row = st.row_of(k); st.lead = k; this.stop(); this.settled();
  }

  key(e) {
    if (e.ctrlKey || e.metaKey || e.altKey || /^(INPUT|SELECT)$/.test(e.target.tagName) && !(e.target.type === 'range' && !/^(Arrow|Home|End)/.test(e.key))) return;
    const st = this.state, at = SCALES.indexOf(st.enlarged), to = row => { this.stop(); this.go(row); };
    const acts = {
      ArrowRight: () => to(st.row + 1), ArrowLeft: () => to(st.row - 1), Home: () => to(0), End: () => to(st.rows() - 1),
      ' ': () => this.playing ? this.stop() : this.play(),
      ']': () => { st.enlarged = SCALES[Math.min(at + 1, SCALES.length - 1)]; this.settled(); },
      '[': () => { st.enlarged = SCALES[Math.max(at - 1, 0)]; this.settled(); },
      f: () => this.next_field(1), F: () => this.next_field(-1), s: () => this.toggle('stations'), g: () => this.toggle('gauges'),
      t: () => this.toggle('members'), d: () => this.toggle('strokes'), b: () => this.toggle('bars'), u: () => by('units').click(), w: () => by('window').click(),
      '+': () => this.nearer(1.5), '-': () => this.nearer(1 / 1.5),
      0: () => { st.zoom.fill(null); this.settled(); }, '?': () => by('help').click(),
    };
    if (!acts[e.key] || (e.key === ' ' && e.target.tagName === 'BUTTON')) return;
    e.preventDefault(); acts[e.key]();
  }

  nearer(by_) { for (const p of this.panels) p.magnify(p.centre(), by_, null); this.settled(); }

  next_field(by_) {
    const n = this.keys.length;
    this.state.field = this.keys[(this.keys.indexOf(this.state.field) + by_ + n) % n]; this.settled(true);
  }

  // ---------------------------------------------------------------- look, scales
  look_anew() {
    const st = this.state, dark = st.look === 'dark' || (st.look === 'auto' && this.night.matches);
    document.documentElement.dataset.look = dark ? 'dark' : 'light';
    document.documentElement.dataset.grey = st.grey ? 'grey' : '';
    this.look = new Look(this.header.maps, this.header.classes, dark, st.grey);
    this.settled(true);
  }

  // One scale for all views: the wider of theirs.
  scales() {
    const fields = this.scenes.map(s => s.field(this.state.field)).filter(Boolean);
    this.shown = fields[0];
    this.top = Math.max(...fields.map(f => f.top));
    const scene = this.scenes.find(s => s.field(this.state.field));
    this.tables = this.scenes.map(s => {
      const f = s.field(this.state.field);
      return f && f.on === 'concrete' ? this.look.table(f, s.arrays(f.key).levels, this.top) : null;
    });
    this.legend(scene.field(this.state.field));
  }

  legend(field) {
    const canvas = by('scale-colours'), c = canvas.getContext('2d'), w = canvas.width = 300, h = canvas.height = 12, st = this.state;
    const both = field.map === 'both', classes = this.look.classes, stepped = field.map === 'classes';
    by('scale-words').classList.toggle('stepped', stepped);
    if (stepped) {
      // one band for each class, its least opening below
      classes.forEach((v, k) => { c.fillStyle = this.look.css('warm', this.look.share(field, v, 1)); c.fillRect(k * w / classes.length, 0, w / classes.length, h); });
      by('scale-words').replaceChildren(...classes.map((v, k) => made('span', '', null, st.figure(v) + (k === classes.length - 1 ? '\u00a0' + st.unit('opening')[0] : ''))));
      return this.notes();
    }
    for (let x = 0; x < w; x++) { c.fillStyle = this.look.css(field.map, both ? 2 * x / (w - 1) - 1 : x / (w - 1)); c.fillRect(x, 0, 1, h); }
    const sign = field.key === 'compression' ? -1 : 1, least = both ? -this.top : 0;
    by('scale-words').replaceChildren(...[0, 0.5, 1].map(t => made('span', '', null, st.say(sign * (least + t * (this.top - least)), field.kind) + (t === 1 && field.kind !== 'share' ? ' and beyond' : ''))));
    this.notes();
  }

  notes() {
    const st = this.state;
    const notes = [...new Set(this.scenes.map(s => s.field(st.field)).filter(f => f && f.note).map(f => f.note))];
    by('scale-note').textContent = notes.join('; ');
  }

  // ---------------------------------------------------------------- pictures
  // Something changed for good: controls, words, curves, address.
  settled(scales = false) {
    const st = this.state;
    if (scales || !this.tables) this.scales();
    by('field').value = st.field; by('lead').value = st.lead; by('scale').value = SCALES.indexOf(st.enlarged);
    by('scale-told').textContent = st.enlarged ? `\u00d7\u2009${st.enlarged}` : 'off';
    by('units').textContent = st.units === 'si' ? 'SI' : 'US'; by('look').textContent = `Look: ${st.look}`;
    by('grey').setAttribute('aria-pressed', String(st.grey));
    by('window').textContent = st.window === 'splice' ? 'Show all' : 'Show splice';
    for (const b of document.querySelectorAll('[data-show]')) b.setAttribute('aria-pressed', String(st.show.has(b.dataset.show)));
    this.told();
    if (!this.playing) this.remember();
    this.redraw(true);
  }

  told() {
    const st = this.state, s = this.scenes[st.lead], slider = by('step');
    slider.max = st.rows() - 1; slider.value = st.row;
    const text = `step ${s.steps[st.row]} of ${s.steps[s.rows - 1]}`;
    slider.setAttribute('aria-valuetext', text); by('step-told').textContent = text;
  }

  remember() {
    clearTimeout(this.writing);
    this.writing = setTimeout(() => {
      const address = this.state.address();
      if (location.hash === address) return;
      try { history.replaceState(null, '', address); } catch { location.replace(address); }
    }, 120);
  }

  go(row) {
    const st = this.state, to = Math.min(Math.max(row, 0), st.rows() - 1);
    st.row = to; this.told(); if (!this.playing) { by('lead').value = st.lead; this.remember(); } this.redraw(true);
  }

  redraw(words = false) {
    this.words_due = this.words_due || words;
    if (this.asked || this.playing) return;
    this.asked = requestAnimationFrame(() => { this.asked = 0; this.paint(this.state.row, 0); });
  }

  paint(next, share) {
    const wanted = this.panels.map(p => p.wanted()), beside = this.panels.every(p => p.box.offsetTop === this.panels[0].box.offsetTop);
    for (const p of this.panels) {
      p.size(beside ? Math.max(...wanted) : wanted[p.k]);
      this.table = this.tables[p.k];
      p.draw(next, share);
      if (this.words_due) p.tell();
    }
    this.words_due = false;
    document.body.dataset.pictures = ++this.pictures;
    if (this.pictures === 1) { document.body.dataset.ready = Math.round(performance.now()); by('wait').hidden = true; }
  }

  // ---------------------------------------------------------------- playing
  play() {
    const st = this.state;
    if (st.row >= st.rows() - 1) this.go(0);
    const calm = this.calm.matches, pace = calm ? CALM : PACE;
    let begun = null, from = st.row;
    const frame = now => {
      if (!this.playing) return;
      begun ??= now;
      const at = Math.min(from + (now - begun) / 1000 * pace, st.rows() - 1), row = Math.floor(at);
      if (row !== st.row || !calm) {
        if (row !== st.row) { st.row = row; this.told(); this.words_due = true; }
        this.paint(Math.min(row + 1, st.rows() - 1), calm ? 0 : at - row);
      }
      if (at >= st.rows() - 1) { this.stop(); return; }
      this.playing = requestAnimationFrame(frame);
    };
    by('play').textContent = 'Pause'; by('play').setAttribute('aria-pressed', 'true');
    this.playing = requestAnimationFrame(frame);
  }

  stop() {
    if (!this.playing) return;
    cancelAnimationFrame(this.playing); this.playing = null;
    by('play').textContent = 'Play'; by('play').setAttribute('aria-pressed', 'false');
    this.settled();
  }

  // ---------------------------------------------------------------- link and picture
  async link() {
    const url = location.href.replace(/#.*$/, '') + this.state.address();
    history.replaceState(null, '', this.state.address());
    let done = true;
    try { await navigator.clipboard.writeText(url); } catch { done = false; }
    by('said').textContent = done ? 'link copied' : 'the address of this page is the link';
  }

  // What is seen, as a PNG: meshes, scale, curves, and the words that belong to them.
  composed() {
    const room = 24, unit = 2, boxes = this.panels.map(p => p.box.getBoundingClientRect()), st = this.state;
    const left = Math.min(...boxes.map(b => b.left)), top = Math.min(...boxes.map(b => b.top));
    const width = Math.max(...boxes.map(b => b.right)) - left + 2 * room, head = 84, foot = 44;
    const canvases = [...document.querySelectorAll('.view canvas')].map(c => [c, c.getBoundingClientRect()]);
    const height = Math.max(...canvases.map(([, b]) => b.bottom)) - top + head + foot;
    const out = document.createElement('canvas'), c = out.getContext('2d');
    out.width = Math.round(width * unit); out.height = Math.round(height * unit);
    c.scale(unit, unit); c.fillStyle = this.look.paper; c.fillRect(0, 0, width, height);
    c.fillStyle = this.look.ink; c.textBaseline = 'top'; c.font = `700 17px ${FONT}`;
    c.fillText(this.header.name, room, 12, width - 2 * room);
    c.font = `13px ${FONT}`; c.fillText(this.header.sentence, room, 35, width - 2 * room);
    c.drawImage(by('scale-colours'), room, 60, Math.min(240, width / 3), 10);
    const ends = [...by('scale-words').children].map(n => n.textContent).join('   ');
    c.fillText(`${this.shown.name}: ${ends}; shape ${st.enlarged ? '\u00d7 ' + st.enlarged : 'not deformed'}`, room + Math.min(240, width / 3) + 10, 57, width * 2 / 3 - 3 * room);
    for (const [canvas, b] of canvases) c.drawImage(canvas, b.left - left + room, b.top - top + head, b.width, b.height);
    c.font = `600 12.5px ${FONT}`;
    this.panels.forEach((p, k) => {
      c.fillText(p.scene.title, boxes[k].left - left + room, boxes[k].top - top + head, boxes[k].width);
      c.font = `12px ${FONT}`; c.fillText(p.told.textContent, boxes[k].left - left + room, boxes[k].top - top + head + 17, boxes[k].width); c.font = `600 12.5px ${FONT}`;
    });
    c.fillStyle = this.look.quiet; c.font = `11px ${FONT}`; c.fillText(this.header.caution, room, height - 26, width - 2 * room);
    return out;
  }

  picture() {
    this.composed().toBlob(blob => {
      const a = document.createElement('a'), s = this.scenes[this.state.lead];
      a.href = URL.createObjectURL(blob);
      a.download = `${this.header.name.replace(/[^\w.-]+/g, '_').slice(0, 60)}-step-${s.steps[this.state.row]}.png`;
      a.click(); setTimeout(() => URL.revokeObjectURL(a.href), 2000);
      by('said').textContent = 'picture saved';
    }, 'image/png');
  }
}

(async () => {
  try {
    const {header, arrays} = await unpack(by('parcel').textContent.trim());
    new Player(header, arrays);
  } catch (fault) {
    const old = typeof DecompressionStream === 'undefined';
    by('wait').textContent = old ? 'This browser is too old for this page: it needs DecompressionStream (Chromium 80, Firefox 113).'
      : `The page cannot be shown: ${fault.message}`;
    document.body.dataset.fault = String(fault.stack || fault);
  }
})();
