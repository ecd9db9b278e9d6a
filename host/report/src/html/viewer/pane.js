// One channel: its scale, limits and trace.

function pane(pen, found, channel, n, top, bottom, x, right) {
  const { low, high, step } = scale(found, n);
  const y = (value) => bottom - ((value - low) / (high - low)) * (bottom - top);
  const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  pen.lineWidth = 1;
  for (let value = low; value <= high + step / 2; value += step) {
    pen.strokeStyle = '#e2e5e7';
    pen.beginPath();
    pen.moveTo(LEFT, y(value));
    pen.lineTo(right, y(value));
    pen.stroke();
    pen.fillStyle = QUIET;
    pen.textAlign = 'right';
    pen.fillText(number(value, decimals), LEFT - 5, y(value) + 4);
  }
  pen.strokeStyle = '#8d969d';
  pen.strokeRect(LEFT, top, right - LEFT, bottom - top);
  pen.save();
  pen.beginPath();
  pen.rect(LEFT, top - 1, right - LEFT, bottom - top + 2);
  pen.clip();
  for (const [from, to] of record.gaps) hatch(pen, x(Math.max(from, view.from)), x(Math.min(to, view.to)), top, bottom);
  found.forEach(({ values, capture }, place) => {
    trace(pen, values, n, channel, covered(found, place, n), x, y, Boolean(capture));
  });
  pen.strokeStyle = QUIET;
  pen.setLineDash([1.5, 2.5]);
  for (const [value] of channel.lines) {
    pen.beginPath();
    pen.moveTo(LEFT, y(value));
    pen.lineTo(right, y(value));
    pen.stroke();
  }
  pen.setLineDash([]);
  let free = Infinity; // labels from below, none over another
  for (const [value, label] of channel.lines) {
    const base = y(value) - 3 < top + 9 ? y(value) + 11 : y(value) - 3;
    if (value < low || value > high || base > free) continue;
    halo(pen, label, right - pen.measureText(label).width - 4, base);
    free = base - 11;
  }
  pen.restore();
  halo(pen, `${channel.title}, ${channel.unit}`, LEFT, top - 4);
}

function hatch(pen, left, right, top, bottom) {
  if (right <= left) return;
  pen.save();
  pen.beginPath();
  pen.rect(left, top, right - left, bottom - top);
  pen.clip();
  pen.strokeStyle = QUIET;
  pen.beginPath();
  for (let along = left - (bottom - top); along < right; along += 6) {
    pen.moveTo(along, bottom);
    pen.lineTo(along + bottom - top, top);
  }
  pen.stroke();
  pen.restore();
}

// Smallest to largest as a band, means as a line; summed up where there is more than one a pixel.
function trace(pen, values, n, channel, finer, x, y, dots) {
  const { mean, min, max } = values.channels[n];
  const first = Math.max(within(values.end, view.from), 0);
  const last = Math.min(within(values.start, view.to) + 1, mean.length - 1);
  const columns = [];
  let column = null;
  for (let at = first; at <= last; at++) {
    if (Number.isNaN(mean[at]) || hidden(values, at, finer)) {
      column = null;
      columns.push(null);
      continue;
    }
    const [from, to] = [x(values.start[at]), x(values.end[at])];
    if (column && to - column.from < 1) {
      column.low = Math.min(column.low, min[at]);
      column.high = Math.max(column.high, max[at]);
      column.sum += mean[at] * (values.end[at] - values.start[at]);
      column.weight += values.end[at] - values.start[at];
      column.to = to;
      continue;
    }
    const weight = values.end[at] - values.start[at];
    column = { from, to, low: min[at], high: max[at], sum: mean[at] * weight, weight };
    columns.push(column);
  }
  const value = (c) => c.sum / c.weight;
  pen.fillStyle = `${channel.colour}47`;
  for (const c of columns) {
    if (c && y(c.low) - y(c.high) > 0.7) {
      pen.fillRect(c.from, y(c.high), Math.max(c.to - c.from, 1), y(c.low) - y(c.high));
    }
  }
  pen.strokeStyle = channel.colour;
  pen.lineWidth = 1.5;
  pen.beginPath();
  let open = false;
  for (const c of columns) {
    if (!c) {
      open = false;
      continue;
    }
    const level = y(value(c));
    if (open) pen.lineTo(c.from, level);
    else pen.moveTo(c.from, level);
    pen.lineTo(Math.max(c.to, c.from + 1), level);
    open = true;
  }
  pen.stroke();
  pen.lineWidth = 1;
  if (dots) {
    pen.fillStyle = channel.colour;
    for (const c of columns) {
      if (c && c.to - c.from > 3) pen.fillRect((c.from + c.to) / 2 - 1.5, y(value(c)) - 1.5, 3, 3);
    }
  }
}
