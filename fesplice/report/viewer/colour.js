// Colours: maps from few anchors, in light, dark and grey, as tables of 256 entries for codes.

const DARK_GROUND = '#262a30';

function rgb(hex) {
  const n = parseInt(hex.slice(1), 16);
  return [n >> 16, (n >> 8) & 255, n & 255];
}

function mixed(anchors, t) {
  const at = Math.min(Math.max(t, 0), 1) * (anchors.length - 1), k = Math.min(Math.floor(at), anchors.length - 2);
  const a = anchors[k], b = anchors[k + 1], s = at - k;
  return [0, 1, 2].map(i => Math.round(a[i] + s * (b[i] - a[i])));
}

// One look of the page: what stands for every colour that the canvases need.
class Look {
  constructor(maps, classes, dark, grey) {
    this.classes = classes;
    this.dark = dark; this.grey = grey;
    const style = getComputedStyle(document.documentElement);
    for (const name of ['ink', 'quiet', 'rule', 'paper', 'concrete', 'plate', 'bar', 'strut', 'tie', 'mark'])
      this[name] = style.getPropertyValue('--' + name).trim();
    this.anchors = {};
    for (const [name, list] of Object.entries(maps)) {
      const light = grey ? ['#ffffff', '#101010'] : list;
      const night = grey ? [DARK_GROUND, '#f4f4f4'] : [DARK_GROUND, ...list.slice(1).reverse()];
      this.anchors[name] = (dark ? night : light).map(rgb);
    }
  }

  at(map, t) {
    if (map !== 'both') return mixed(this.anchors[map], t);
    if (this.grey) return mixed(this.anchors.warm, 0.5 + 0.5 * t);
    // of two signs: a bar without stress must still be seen
    return mixed(this.anchors[t < 0 ? 'cool' : 'warm'], 0.3 + 0.7 * Math.abs(t));
  }

  css(map, t) {
    const [r, g, b] = this.at(map, t);
    return `rgb(${r},${g},${b})`;
  }

  // Share of the map at a value: even, or by class of opening, whose first stands off the ground.
  share(field, value, top) {
    return field.map === 'classes' ? (k => k < 0 ? 0 : 0.34 + 0.66 * k / (this.classes.length - 1))(this.class_of(value)) : value / top;
  }

  // A width that stands at a limit up to rounding of its code counts as there.
  class_of(value) {
    let k = -1;
    while (k + 1 < this.classes.length && value * 1.005 >= this.classes[k + 1]) k++;
    return k;
  }

  // Pixels (opaque, little-endian) of the values of 256 codes.
  table(field, levels, top) {
    const map = field.map === 'classes' ? 'warm' : field.map;
    return Uint32Array.from(levels, v => pixel(this.at(map, this.share(field, v, top))));
  }
}

function pixel([r, g, b]) { return (255 << 24 | b << 16 | g << 8 | r) >>> 0; }
