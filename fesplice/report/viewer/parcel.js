// The parcel: base64 -> gzip -> header and arrays, as pack.py wrote them.

const KINDS = {u1: Uint8Array, u2: Uint16Array, u4: Uint32Array, i2: Int16Array, f4: Float32Array};

function bytesOf(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text);
  const raw = atob(text), out = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
  return out;
}

async function unpack(text) {
  const stream = new Blob([bytesOf(text)]).stream().pipeThrough(new DecompressionStream('gzip'));
  const whole = await new Response(stream).arrayBuffer();
  const length = new DataView(whole).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(whole, 4, length)));
  const arrays = {};
  for (const [name, told] of Object.entries(header.arrays)) arrays[name] = restored(whole, 4 + length + told.at, told);
  return {header, arrays};
}

// An array with its codes summed up over the steps; `row` is the number of values of one step.
function restored(whole, at, told) {
  const count = told.shape.reduce((a, b) => a * b, 1), row = told.shape.length ? count / Math.max(told.shape[0], 1) : 1;
  let data;
  if (told.type === 'i2') {
    const low = new Uint8Array(whole, at, count), high = new Uint8Array(whole, at + count, count);
    data = new Int16Array(count);
    for (let i = 0; i < count; i++) data[i] = low[i] | (high[i] << 8);
  } else {
    data = new KINDS[told.type](whole.slice(at, at + told.bytes));
  }
  if (told.steps) for (let i = row; i < count; i++) data[i] += data[i - row];
  return {data, row, shape: told.shape, scale: told.scale, levels: told.levels ? Float32Array.from(told.levels) : null};
}
