// What the record holds, unpacked when it is first looked at.

async function unpack(text) {
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('deflate-raw'));
  const packed = new Uint8Array(await new Response(stream).arrayBuffer());
  let at = 0;
  const count = () => {
    let value = 0;
    let scale = 1;
    for (;;) {
      const byte = packed[at++];
      value += (byte & 127) * scale;
      if (byte < 128) return value;
      scale *= 128;
    }
  };
  return {
    counts: (length) => Float64Array.from({ length }, count),
    means(length, step) {
      const values = new Float64Array(length);
      let last = 0;
      for (let n = 0; n < length; n++) {
        const coded = count();
        if (coded === 0) {
          values[n] = NaN;
          continue;
        }
        const zigzag = coded - 1;
        last += zigzag % 2 === 0 ? zigzag / 2 : -(zigzag + 1) / 2;
        values[n] = last * step;
      }
      return values;
    },
  };
}

function spread(packed, mean, step, sign) {
  const distances = packed.counts(mean.length);
  return mean.map((value, n) => value + sign * distances[n] * step);
}

// Each piece becomes { start, end, channels: [{ mean, min, max }] }: times in ms from the start.
async function unpackLevel(level) {
  const packed = await unpack(level.data);
  const from = level.from || 0;
  const width = ((level.to || record.length) - from) / level.count;
  const start = Float64Array.from({ length: level.count }, (_, n) => from + n * width);
  const channels = record.channels.map(({ step }) => {
    const mean = packed.means(level.count, step);
    const min = spread(packed, mean, step, -1);
    return { mean, min, max: spread(packed, mean, step, 1) };
  });
  return { start, end: start.map((time) => time + width), channels };
}

async function unpackTile(tile) {
  const packed = await unpack(tile.data);
  const pauses = packed.counts(tile.rows);
  const spans = packed.counts(tile.rows);
  const start = new Float64Array(tile.rows);
  let time = tile.from;
  for (let n = 0; n < tile.rows; n++) {
    start[n] = time + pauses[n];
    time = start[n] + spans[n];
  }
  const channels = record.channels.map((channel) => {
    const mean = packed.means(tile.rows, channel.step);
    if (!channel.spread) return { mean, min: mean, max: mean };
    const min = spread(packed, mean, channel.step, -1);
    return { mean, min, max: spread(packed, mean, channel.step, 1) };
  });
  return { start, end: start.map((from, n) => from + spans[n]), channels };
}

async function unpackCapture(capture) {
  const packed = await unpack(capture.data);
  const start = packed.means(capture.points, 0.1).map((time) => capture.from + time);
  const half = (start[1] - start[0]) / 2;
  const planes = { voltage: 0.1, current: 0.01, power: 1 };
  const values = Object.values(planes).map((step) => packed.means(capture.points, step));
  // A capture has no pressure.
  const channels = record.channels.map((channel) => {
    const plane = ['V', 'A', 'W'].indexOf(channel.unit);
    const mean = plane < 0 ? new Float64Array(capture.points).fill(NaN) : values[plane];
    return { mean, min: mean, max: mean };
  });
  return { start: start.map((t) => t - half), end: start.map((t) => t + half), channels };
}

// A piece is unpacked when first looked at; until then the view is drawn without it.
function piece(packed, how) {
  if (!packed.wanted) {
    packed.wanted = how(packed).then((values) => {
      packed.values = values;
      redraw();
    });
  }
  return packed.values;
}
