// The whole picture: findings, runs, stops, lamps, panes, time axis, cursor.

const INK = '#1b232b';
const QUIET = '#515c66';
const FONT = '11px system-ui, "Segoe UI", "Noto Sans", "Liberation Sans", Arial, sans-serif';
const LEFT = 46;
const TOP = 26; // flags and runs
let geometry = null;

function redraw() {
  if (view.waiting) return;
  view.waiting = true;
  requestAnimationFrame(() => {
    view.waiting = false;
    draw();
  });
}

function extent(found, channel) {
  let low = Infinity;
  let high = -Infinity;
  for (const [place, { values }] of found.entries()) {
    const { min, max } = values.channels[channel];
    const finer = covered(found, place, channel);
    const last = within(values.start, view.to);
    for (let n = Math.max(within(values.end, view.from) + 1, 0); n <= last; n++) {
      if (hidden(values, n, finer)) continue;
      if (min[n] < low) low = min[n];
      if (max[n] > high) high = max[n];
    }
  }
  return [low, high];
}

function scale(found, channel) {
  let [low, high] = extent(found, channel);
  if (!(low <= high)) [low, high] = [0, 1];
  const { floats, lines } = record.channels[channel];
  if (!floats || low < high * 0.3) low = Math.min(low, 0);
  if (low < 0 && low > -0.05 * high) low = 0; // the scatter of a resting sensor
  const most = Math.max(high, ...lines.map(([value]) => (value < high * 1.6 ? value : high)));
  high = most === low ? low + 1 : most;
  if (floats && high - low < 4) [low, high] = [low - 2, high + 2];
  const raw = (high - low) / 3;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].find((times) => times * power >= raw) * power;
  return { low: Math.floor(low / step + 1e-9) * step, high: Math.ceil(high / step - 1e-9) * step, step };
}

function draw() {
  const width = plot.clientWidth;
  const tall = width < 480 ? 74 : 100;
  const lamps = record.lamps.length * 14;
  const height = TOP + lamps + record.channels.length * (tall + 18) + 34;
  const ratio = window.devicePixelRatio || 1;
  if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
    canvas.style.height = `${height}px`;
  }
  const pen = canvas.getContext('2d');
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  pen.font = FONT;
  const right = width - 4;
  const x = (time) => LEFT + ((time - view.from) / (view.to - view.from)) * (right - LEFT);
  geometry = { left: LEFT, right };
  const clip = (time) => Math.min(Math.max(time, view.from), view.to);
  const bar = (from, to, y, tallness, least) => {
    if (to < view.from || from > view.to) return;
    const start = x(clip(from));
    pen.fillRect(start, y, Math.max(x(clip(to)) - start, least), tallness);
  };
  const bottom = height - 34;

  // What findings speak of.
  pen.fillStyle = 'rgba(240, 223, 176, 0.6)';
  const grave = record.findings.filter((finding) => finding.grave);
  const chosen = choice.value === '' ? grave : [record.findings[choice.value]];
  for (const finding of chosen) {
    for (const [from, to] of finding.seen) bar(from, to, 0, bottom, 1);
  }
  // Runs and why they ended.
  pen.fillStyle = '#eceeea';
  pen.fillRect(LEFT, 6, right - LEFT, 10);
  pen.fillStyle = INK;
  for (const [start, length] of record.runs) bar(start, start + length, 6, 10, 0.8);
  pen.fillStyle = QUIET;
  pen.textAlign = 'right';
  pen.fillText(words.runs, LEFT - 5, 15);
  let free = -Infinity;
  for (const [start, length, reason] of record.runs) {
    const at = start + length;
    if (at < view.from || at > view.to || !record.reasons[reason]) continue;
    if (x(at) - 7 < free) continue;
    sign(pen, record.reasons[reason], Math.min(Math.max(x(at), LEFT + 7), right - 7), 11);
    free = x(at) + 8;
  }
  record.lamps.forEach((lamp, n) => {
    const y = TOP + n * 14;
    for (const [from, to, how] of lamp.lit) {
      pen.fillStyle = how === 2 ? '#6d4c00' : INK;
      bar(from, to, how === 2 ? y + 3 : y, how === 2 ? 4 : 9, 1);
    }
    halo(pen, lamp.label, LEFT + 3, y + 9);
  });

  const found = pieces();
  record.channels.forEach((channel, n) => {
    const top = TOP + lamps + n * (tall + 18) + 14;
    pane(pen, found, channel, n, top, top + tall, x, right);
  });
  // Hours and dates.
  const apart = record.clock12 ? 96 : 78;
  const step = STEPS.find((s) => ((view.to - view.from) / s) * apart <= right - LEFT) || 28 * DAY;
  const local = (time) => record.from + time + zoneAt(time)[1] * 1000;
  pen.fillStyle = INK;
  pen.strokeStyle = '#8d969d';
  pen.textAlign = 'center';
  let tick = view.from - (((local(view.from) % step) + step) % step) + step;
  for (; tick <= view.to; tick += step) {
    tick -= ((local(tick) % step) + step) % step; // a change of the clock moves ticks
    pen.beginPath();
    pen.moveTo(x(tick), bottom);
    pen.lineTo(x(tick), bottom + 4);
    pen.stroke();
    const label = local(tick) % DAY === 0 && step >= HOUR ? day(tick) : clock(tick, step);
    if (x(tick) > LEFT + 20 && x(tick) < right - 24) pen.fillText(label, x(tick), bottom + 15);
  }
  pen.textAlign = 'left';
  pen.fillStyle = QUIET;
  pen.fillText(`${moment(view.from, DAY).split(',')[0]} · ${zoneAt(view.from)[2]}`, LEFT, bottom + 29);
  // The cursor.
  pen.strokeStyle = INK;
  pen.setLineDash([3, 2]);
  pen.beginPath();
  pen.moveTo(x(view.cursor), 0);
  pen.lineTo(x(view.cursor), bottom);
  pen.stroke();
  pen.setLineDash([]);
  tell(found);
}
