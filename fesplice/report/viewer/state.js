// What the page shows, and its address: the part behind # brings back the picture.

const SCALES = [0, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000];
const SHOWN = ['bars', 'strokes', 'stations', 'gauges', 'members'];

class State {
  constructor(header, scenes) {
    this.header = header; this.scenes = scenes;
    this.lead = header.lead; this.field = 'opening'; this.units = header.begin; this.look = 'auto'; this.grey = false;
    this.window = 'splice'; this.show = new Set(['bars', 'strokes', 'stations']);
    this.zoom = scenes.map(() => null);
    this.picked = scenes.map(s => Math.max(0, s.bars.findIndex(b => b.role === 'main')));
    this.place = scenes.map(() => null);
    const mark = scenes[this.lead].marks.find(m => m.stage && /^(strength|largest)/.test(m.name));
    this.row = mark ? mark.row : scenes[this.lead].rows - 1;
    this.enlarged = this.fitting();
  }

  // Enlargement at which the largest movement within the splice is about a twelfth of its height.
  fitting() {
    const s = this.scenes[this.lead], [, , y0, y1] = s.windows.splice, wanted = (y1 - y0) / 12 / Math.max(s.most(this.row), 1e-9);
    return SCALES.filter(v => v <= wanted).pop() || 1;
  }

  rows() { return this.scenes[this.lead].rows; }
  row_of(view, row = this.row) { return this.header.follow[this.lead][row][view]; }

  address() {
    const p = new URLSearchParams(), s = this.scenes[this.lead];
    p.set('step', s.steps[this.row]); p.set('view', s.name); p.set('field', this.field); p.set('scale', this.enlarged);
    p.set('show', [...this.show].sort().join(' ')); p.set('units', this.units); p.set('look', this.look + (this.grey ? ' grey' : ''));
    p.set('window', this.window);
    this.scenes.forEach((scene, k) => {
      if (this.zoom[k]) p.set('at-' + scene.name, this.zoom[k].map(v => Number(v.toPrecision(5))).join(' '));
      p.set('bar-' + scene.name, scene.bars.length ? scene.bars[this.picked[k]].name : '');
      const place = this.place[k];
      if (place) p.set('place-' + scene.name, place.list[place.k].name);
    });
    return '#' + p.toString();
  }

  // Takes what an address says as far as it makes sense; anything else stays as it is.
  read(hash) {
    const p = new URLSearchParams(hash.replace(/^#/, '')), of = name => p.get(name);
    const lead = this.scenes.findIndex(s => s.name === of('view'));
    if (lead >= 0) this.lead = lead;
    const row = this.scenes[this.lead].steps.indexOf(Number(of('step')));
    if (of('step') !== null && row >= 0) this.row = row;
    this.row = Math.min(this.row, this.rows() - 1);
    if (this.scenes.some(s => s.field(of('field')))) this.field = of('field');
    const scale = Number(of('scale'));
    if (of('scale') !== null && SCALES.includes(scale)) this.enlarged = scale;
    if (of('show') !== null) this.show = new Set(of('show').split(' ').filter(n => SHOWN.includes(n)));
    if (['si', 'us'].includes(of('units'))) this.units = of('units');
    const [look, grey] = (of('look') || '').split(' ');
    if (['auto', 'light', 'dark'].includes(look)) { this.look = look; this.grey = grey === 'grey'; }
    if (['splice', 'whole'].includes(of('window'))) this.window = of('window');
    this.scenes.forEach((scene, k) => {
      const zoom = (of('at-' + scene.name) || '').split(' ').map(Number);
      this.zoom[k] = zoom.length === 3 && zoom.every(Number.isFinite) && zoom[2] >= 1 && zoom[2] <= 60 ? zoom : null;
      const bar = scene.bars.findIndex(b => b.name === of('bar-' + scene.name));
      if (bar >= 0) this.picked[k] = bar;
      this.place[k] = null;
      for (const list of [scene.stations, scene.gauges]) {
        const at = list.findIndex(q => q.name === of('place-' + scene.name));
        if (at >= 0) this.place[k] = {list, k: at};
      }
    });
  }

  // A value with its unit in the system chosen.
  unit(kind) { return this.header.units[kind][this.units]; }
  number(value, kind) { return value / this.unit(kind)[1]; }
  // A limit of a class of openings: two figures are all it has.
  figure(value) { return String(Number(this.number(value, 'opening').toPrecision(2))); }
  say(value, kind, digits) {
    const [name] = this.unit(kind), v = this.number(value, kind);
    const places = digits ?? (kind === 'opening' ? (this.units === 'us' ? 4 : 3) : kind === 'length' || kind === 'strain' ? (this.units === 'us' && kind === 'length' ? 1 : 0)
      : kind === 'share' ? 0 : this.units === 'us' ? 2 : Math.abs(v) < 20 ? 2 : 0);
    const text = (Number(v.toFixed(places)) + 0).toFixed(places).replace('-', '\u2212');
    return `${text}\u00a0${name}`;
  }
}
