// The viewer: zoom into the record and read its values, down to single rows and captured cycles.
// Everything it shows stands in the page: nothing is fetched. Without script, and on paper, the
// pictures of the page stand in its place.
'use strict';
(() => {
  const source = document.getElementById('record-data');
  const viewer = document.getElementById('viewer');
  if (!source || !viewer || typeof DecompressionStream === 'undefined') return;
  const record = JSON.parse(source.textContent);
  const words = record.words;

  // ---- Unpacking ---------------------------------------------------------------------------

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
    const width = record.length / level.count;
    const start = Float64Array.from({ length: level.count }, (_, n) => n * width);
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

  // ---- Time and numbers --------------------------------------------------------------------

  const SECOND = 1000;
  const MINUTE = 60 * SECOND;
  const HOUR = 60 * MINUTE;
  const DAY = 24 * HOUR;
  const STEPS = [
    5, 10, 20, 50, 100, 200, 500, SECOND, 2 * SECOND, 5 * SECOND, 10 * SECOND, 15 * SECOND,
    30 * SECOND, MINUTE, 2 * MINUTE, 5 * MINUTE, 10 * MINUTE, 15 * MINUTE, 30 * MINUTE, HOUR,
    2 * HOUR, 3 * HOUR, 6 * HOUR, 12 * HOUR, DAY, 2 * DAY, 4 * DAY, 7 * DAY, 14 * DAY, 28 * DAY,
  ];

  const zoneAt = (time) => record.zone.findLast(([from]) => from <= time) || record.zone[0];
  const civil = (time) => new Date(record.from + time + zoneAt(time)[1] * 1000);
  const two = (number) => String(number).padStart(2, '0');

  function clock(time, step) {
    const at = civil(time);
    let hours = at.getUTCHours();
    let half = '';
    if (record.clock12) {
      half = hours < 12 ? ' am' : ' pm';
      hours = hours % 12 || 12;
    }
    let text = `${record.clock12 ? hours : two(hours)}:${two(at.getUTCMinutes())}`;
    if (step < MINUTE) text += `:${two(at.getUTCSeconds())}`;
    if (step < SECOND) text += `.${String(at.getUTCMilliseconds()).padStart(3, '0')}`;
    return text + half;
  }

  const day = (time) =>
    `${civil(time).getUTCDate()} ${words.months.split(' ')[civil(time).getUTCMonth()]}`;
  const moment = (time, step) => `${day(time)} ${civil(time).getUTCFullYear()}, ${clock(time, step)}`;

  function lasting(ms) {
    const near = (value, unit) => `${Number(value.toPrecision(3))} ${unit}`;
    if (ms < SECOND) return near(ms, 'ms');
    if (ms < MINUTE) return near(ms / SECOND, 's');
    if (ms < HOUR) return near(ms / MINUTE, 'min');
    return ms < 2 * DAY ? near(ms / HOUR, 'h') : near(ms / DAY, 'd');
  }

  function number(value, decimals) {
    return Number.isFinite(value) ? value.toFixed(decimals).replace('-', '−') : '–';
  }

  // ---- State -------------------------------------------------------------------------------

  const SHORTEST = 40; // ms in view at the closest
  const view = { from: 0, to: record.length, cursor: record.length / 2, shown: false };

  function show(from, to) {
    const length = Math.min(Math.max(to - from, SHORTEST), record.length);
    const middle = (from + to) / 2;
    view.from = Math.min(Math.max(middle - length / 2, 0), record.length - length);
    view.to = view.from + length;
    view.cursor = Math.min(Math.max(view.cursor, view.from), view.to);
    redraw();
  }

  function zoom(factor, about) {
    show(about - (about - view.from) * factor, about + (view.to - about) * factor);
  }

  function pan(share) {
    const step = (view.to - view.from) * share;
    show(view.from + step, view.to + step);
  }

  // ---- Elements ----------------------------------------------------------------------------

  const make = (name, attributes = {}, text = '') => {
    const element = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    element.textContent = text;
    return element;
  };

  const tools = make('div', { class: 'viewer-tools', role: 'toolbar', 'aria-label': words.tools });
  const button = (sign, name, act) => {
    const element = make('button', { type: 'button', title: name, 'aria-label': name }, sign);
    element.addEventListener('click', act);
    tools.append(element);
  };
  const choice = make('select', { 'aria-label': words.jump });
  choice.append(make('option', { value: '' }, words.jump));
  record.findings.forEach((finding, n) => choice.append(make('option', { value: n }, finding.title)));
  choice.addEventListener('change', () => {
    if (choice.value !== '') lookAt(...record.findings[choice.value].told);
  });
  if (record.findings.length) tools.append(choice);
  button('←', words.left, () => pan(-0.5));
  button('→', words.right, () => pan(0.5));
  button('+', words.closer, () => zoom(0.5, view.cursor));
  button('−', words.wider, () => zoom(2, view.cursor));
  button(words.whole, words.whole, () => show(0, record.length));

  const plot = make('div', {
    class: 'viewer-plot',
    tabindex: '0',
    role: 'application',
    'aria-label': words.plot,
    'aria-describedby': 'viewer-help viewer-range',
  });
  const canvas = make('canvas', { 'aria-hidden': 'true' });
  plot.append(canvas);
  const range = make('p', { id: 'viewer-range', class: 'viewer-range', 'aria-live': 'polite' });
  const readout = make('table', { class: 'viewer-readout' });
  const scroller = make('div', { class: 'scroller' });
  scroller.append(readout);
  const help = make('p', { id: 'viewer-help', class: 'aside' }, words.help);
  viewer.append(tools, range, plot, scroller, help);
  viewer.hidden = false;
  document.querySelectorAll('.viewer-link').forEach((link) => { link.hidden = false; });

  // Every picture of a stretch of time leads into the viewer, and back.
  document.querySelectorAll('figure[data-from]').forEach((figure) => {
    const [from, to] = [figure.dataset.from - record.from, figure.dataset.to - record.from];
    const open = make('button', { type: 'button', class: 'closer' }, words.open);
    open.addEventListener('click', () => {
      view.cursor = (from + to) / 2;
      show(from, to);
      back.href = `#${figure.id}`;
      back.hidden = false;
      viewer.scrollIntoView();
      plot.focus({ preventScroll: true });
    });
    figure.append(open);
  });
  const back = make('a', { hidden: '', href: '#viewer' }, words.back);
  tools.append(back);

  function lookAt(from, to) {
    const around = Math.max((to - from) * 0.4, 5 * SECOND);
    view.cursor = (from + to) / 2;
    show(from - around, to + around);
  }

  // ---- Drawing -----------------------------------------------------------------------------

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

  // Pieces that show the view: the finest that the page holds for it.
  function pieces() {
    const span = view.to - view.from;
    const meets = ({ from, to }) => from < view.to && to > view.from;
    const tiles = record.tiles.filter(meets);
    const rows = tiles.reduce((sum, tile) => sum + tile.rows, 0);
    const coarse = record.levels.find((level) => (span / record.length) * level.count >= 700);
    const base = coarse || record.levels.at(-1);
    const found = [];
    const level = piece(base, unpackLevel) || record.levels[0].values;
    if (level) found.push({ values: level, rows: false });
    piece(record.levels[0], unpackLevel);
    if (rows <= 60000 && (!coarse || span < 4 * HOUR)) {
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

  // Coarse values give way where there are rows, and rows where there is a capture.
  function covered(found, place) {
    const finer = found.slice(place + 1).map(({ values }) => [values.start[0], values.end.at(-1)]);
    const joined = [];
    for (const [from, to] of finer.sort((a, b) => a[0] - b[0])) {
      const last = joined.at(-1);
      if (last && from - last[1] < SECOND) last[1] = Math.max(last[1], to);
      else joined.push([from, to]);
    }
    return joined;
  }

  const hidden = (values, n, finer) =>
    finer.some(([from, to]) => values.start[n] >= from && values.end[n] <= to);

  function extent(found, channel) {
    let low = Infinity;
    let high = -Infinity;
    for (const [place, { values }] of found.entries()) {
      const { min, max } = values.channels[channel];
      const finer = covered(found, place);
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

  function halo(pen, text, x, y) {
    pen.textAlign = 'left';
    pen.strokeStyle = '#fff';
    pen.lineWidth = 3;
    pen.lineJoin = 'round';
    pen.strokeText(text, x, y);
    pen.fillStyle = INK;
    pen.fillText(text, x, y);
    pen.lineWidth = 1;
  }

  function sign(pen, [letter, , shape], x, y) {
    const dark = shape === 'square' || shape === 'diamond';
    pen.fillStyle = dark ? INK : '#fff';
    pen.strokeStyle = INK;
    pen.beginPath();
    if (shape === 'square') pen.rect(x - 6.5, y - 6.5, 13, 13);
    else if (shape === 'diamond') {
      pen.moveTo(x, y - 8.5);
      pen.lineTo(x + 8.5, y);
      pen.lineTo(x, y + 8.5);
      pen.lineTo(x - 8.5, y);
      pen.closePath();
    } else pen.arc(x, y, 6.5, 0, 2 * Math.PI);
    pen.fill();
    if (shape === 'dashed') pen.setLineDash([2, 1.6]);
    pen.stroke();
    pen.setLineDash([]);
    pen.fillStyle = dark ? '#fff' : INK;
    pen.textAlign = 'center';
    pen.fillText(letter, x, y + 4);
  }

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
      trace(pen, values, n, channel, covered(found, place), x, y, Boolean(capture));
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

  // ---- Reading values ----------------------------------------------------------------------

  function tell(found) {
    const step = (view.to - view.from) / 1000;
    const text = `${moment(view.from, step)} – ${moment(view.to, step)} (${lasting(view.to - view.from)})`;
    if (range.textContent !== text) range.textContent = text;
    const rows = [];
    for (let place = found.length - 1; place >= 0 && !rows.length; place--) {
      const { values, rows: single, capture } = found[place];
      const at = within(values.start, view.cursor);
      if (at < 0 || values.end[at] <= view.cursor) continue;
      const [from, length] = [values.start[at], values.end[at] - values.start[at]];
      const held = record.tiles.some((tile) => tile.from <= view.cursor && tile.to > view.cursor);
      const summed = held ? words.summed : words.apart;
      const kind = capture ? `${words.cycle}. ${capture.why}` : single ? words.row : summed;
      rows.push([words.at, `${moment(from, Math.min(length, SECOND - 1))}`, `${kind}, ${lasting(length)}`, '']);
      record.channels.forEach((channel, n) => {
        const { mean, min, max } = values.channels[n];
        const told = (value) => `${number(value, channel.decimals)} ${channel.unit}`;
        if (Number.isNaN(mean[at])) return;
        const same = min === mean;
        rows.push([channel.title, told(mean[at]), same ? '' : told(min[at]), same ? '' : told(max[at])]);
      });
    }
    if (!rows.length) rows.push([words.at, moment(view.cursor, 1), words.nothing, '']);
    const run = record.runs.find(([start, length]) => start <= view.cursor && start + length > view.cursor);
    if (run) {
      const reason = record.reasons[run[2]];
      rows.push([words.running, lasting(run[1]), reason ? `${words.stopped} ${reason[1]}` : '', '']);
    }
    const signature = JSON.stringify(rows);
    if (readout.dataset.shown === signature) return;
    readout.dataset.shown = signature;
    const head = make('tr');
    for (const title of ['', words.mean, words.least, words.most]) head.append(make('th', { scope: 'col' }, title));
    readout.replaceChildren(make('caption', {}, words.readout), head);
    for (const [name, ...cells] of rows) {
      const line = make('tr');
      line.append(make('th', { scope: 'row' }, name));
      if (name === words.at || name === words.running) {
        line.append(make('td', {}, cells[0]), make('td', { colspan: 2 }, cells[1]));
      } else cells.forEach((cell) => line.append(make('td', { class: 'number' }, cell)));
      readout.append(line);
    }
  }

  // ---- Hands -------------------------------------------------------------------------------

  const timeAt = (event) => {
    const left = plot.getBoundingClientRect().left;
    const share = (event.clientX - left - geometry.left) / (geometry.right - geometry.left);
    return view.from + Math.min(Math.max(share, 0), 1) * (view.to - view.from);
  };

  plot.addEventListener('wheel', (event) => {
    // The page scrolls on until the plot is clicked: nobody is caught in it in passing.
    if (document.activeElement !== plot && !event.ctrlKey) return;
    event.preventDefault();
    if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) pan(event.deltaX / 1000);
    else zoom(1.0015 ** event.deltaY, timeAt(event));
  }, { passive: false });

  const fingers = new Map();
  plot.addEventListener('pointerdown', (event) => {
    plot.focus({ preventScroll: true });
    plot.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, event);
  });
  plot.addEventListener('pointermove', (event) => {
    const last = fingers.get(event.pointerId);
    if (!last) {
      if (event.pointerType === 'mouse') {
        view.cursor = timeAt(event);
        redraw();
      }
      return;
    }
    const perPixel = (view.to - view.from) / (geometry.right - geometry.left);
    if (fingers.size === 1) {
      const step = (last.clientX - event.clientX) * perPixel;
      show(view.from + step, view.to + step);
    } else {
      const [a, b] = [...fingers.values()];
      const before = Math.abs(a.clientX - b.clientX);
      fingers.set(event.pointerId, event);
      const [c, d] = [...fingers.values()];
      const after = Math.abs(c.clientX - d.clientX);
      if (before > 10 && after > 10) zoom(before / after, (timeAt(c) + timeAt(d)) / 2);
    }
    fingers.set(event.pointerId, event);
  });
  const lift = (event) => {
    const last = fingers.get(event.pointerId);
    fingers.delete(event.pointerId);
    if (last) {
      view.cursor = timeAt(event);
      redraw();
    }
  };
  plot.addEventListener('pointerup', lift);
  plot.addEventListener('pointercancel', lift);

  // The next or last stop or moment of a finding.
  function step(direction) {
    const times = record.runs.map(([start, length]) => start + length);
    for (const finding of record.findings) times.push(...finding.seen.map(([from]) => from));
    times.sort((a, b) => a - b);
    const beyond = times.filter((time) => (time - view.cursor) * direction > 1);
    const next = direction > 0 ? beyond[0] : beyond.at(-1);
    if (next === undefined) return;
    const half = (view.to - view.from) / 2;
    view.cursor = next;
    show(next - half, next + half);
  }

  function move(pixels) {
    const length = (view.to - view.from) / (geometry.right - geometry.left);
    view.cursor = Math.min(Math.max(view.cursor + pixels * length, 0), record.length);
    if (view.cursor < view.from) pan(-0.5);
    else if (view.cursor > view.to) pan(0.5);
    redraw();
  }

  const KEYS = {
    ArrowLeft: (event) => (event.shiftKey ? pan(-0.25) : move(-4)),
    ArrowRight: (event) => (event.shiftKey ? pan(0.25) : move(4)),
    PageUp: () => pan(-1),
    PageDown: () => pan(1),
    Home: () => show(0, view.to - view.from),
    End: () => show(record.length - (view.to - view.from), record.length),
    '+': () => zoom(0.5, view.cursor),
    '=': () => zoom(0.5, view.cursor),
    '-': () => zoom(2, view.cursor),
    0: () => show(0, record.length),
    n: () => step(1),
    p: () => step(-1),
  };
  plot.addEventListener('keydown', (event) => {
    const act = KEYS[event.key];
    if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    act(event);
  });

  new ResizeObserver(redraw).observe(plot);
  // For tests: what is in view, in ms from the start of the record.
  viewer.state = () => ({ ...view, length: record.length });
})();
