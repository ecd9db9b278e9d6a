// Which pieces of the record show the view, and which give way to finer ones.

// Pieces that show the view: the finest that are at hand for it.
function pieces() {
  const span = view.to - view.from;
  const meets = ({ from, to }) => from < view.to && to > view.from;
  askForRows(span);
  const tiles = record.tiles.filter(meets);
  const rows = tiles.reduce((sum, tile) => sum + tile.rows, 0);
  const coarse = record.levels.find((level) => (span / record.length) * level.count >= 700);
  const base = coarse || record.levels.at(-1);
  const found = [];
  const level = piece(base, unpackLevel) || record.levels[0].values;
  if (level) found.push({ values: level, rows: false });
  piece(record.levels[0], unpackLevel);
  const finer = stepsOver(view);
  if (finer) {
    const values = piece(finer, unpackLevel);
    if (values) found.push({ values, rows: false });
  }
  if (rows <= ROWS_SHOWN && (!coarse || span < ROWS_BELOW)) {
    for (const tile of tiles) {
      const values = piece(tile, unpackTile);
      if (values) found.push({ values, rows: true });
    }
  }
  if (span < 30 * SECOND) {
    for (const capture of record.captures) {
      if (capture.from < view.to && capture.from + 20 * SECOND > view.from) {
        const values = piece(capture, unpackCapture);
        if (values) found.push({ values, rows: true, capture });
      }
    }
  }
  return found;
}

const within = (times, time) => {
  let low = 0;
  let high = times.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (times[middle] <= time) low = middle + 1;
    else high = middle;
  }
  return low - 1;
};

// Coarse values give way where there are rows, and rows where there is a capture, of the channels
// that it has.
function covered(found, place, channel) {
  const finer = found
    .slice(place + 1)
    .filter(({ values, capture }) => !capture || !Number.isNaN(values.channels[channel].mean[0]))
    .map(({ values }) => [values.start[0], values.end.at(-1)]);
  const joined = [];
  for (const [from, to] of finer.sort((a, b) => a[0] - b[0])) {
    const last = joined.at(-1);
    if (last && from - last[1] < SECOND) last[1] = Math.max(last[1], to);
    else joined.push([from, to]);
  }
  return joined;
}

// Of a long step only what is in view counts.
function hidden(values, n, finer) {
  const start = Math.max(values.start[n], view.from);
  const end = Math.min(values.end[n], view.to);
  return finer.some(([from, to]) => start >= from && end <= to);
}
