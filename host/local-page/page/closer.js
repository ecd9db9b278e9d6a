// A stretch of the record as finely as it was recorded: single intervals, and the cycles of a
// capture. Zoom and move by buttons or keys; the row under the cursor is read out.

import { button, complaint, make, say, show } from './dom.js';
import { get } from './server.js';
import { fixed } from './words.js';

/** Rows asked for at once. */
const MOST = 2000;
/** Shown around a finding, and the longest stretch begun with, ms. */
const AROUND_MS = 5000;
const BEGIN_MS = 300_000;
/** Looked back over at once for the row before, ms: longer than the longest interval. */
const FAR_MS = 90_000;
const BAND = 92;
/** Of fewer rows than this the ends are dotted. */
const FEW = 80;
const BANDS = [
  { name: 'Voltage', unit: 'V', decimals: 1, value: (row) => row.voltage_v },
  { name: 'Current', unit: 'A', decimals: 2, value: (row) => row.current_a },
  { name: 'Pressure', unit: 'bar', decimals: 2, value: (row) => row.pressure_bar },
];

export function closer(id) {
  const trouble = complaint();
  const range = make('p', { class: 'details', role: 'status' });
  const canvas = make('canvas', { tabIndex: 0, role: 'img', class: 'closer-plot' });
  const readout = make('p', { class: 'readout', 'aria-live': 'polite' });
  const move = (words, name, act) => button(words, act, { 'aria-label': name });
  const element = make('section', { class: 'card closer', 'aria-labelledby': 'closer-title', hidden: true },
    make('h2', { id: 'closer-title', tabIndex: -1 }, 'Looked at closely'), range, canvas, readout,
    make('div', { class: 'row tools' },
      move('◀', 'Earlier', () => shift(-0.5)), move('▶', 'Later', () => shift(0.5)),
      move('+', 'Shorter stretch', () => zoom(0.5)), move('−', 'Longer stretch', () => zoom(2)),
      button('Close', () => { show(element, false); cameFrom?.focus(); }, { class: 'quiet' })),
    make('p', { class: 'hint' }, 'Keys on the picture: arrows move the cursor, Page Up and Page Down the stretch, + and − its length.'),
    trouble);
  let [first, last] = [0, 0];
  let [from, to] = [0, 0];
  let rows = [];
  let cursor = 0;
  let cameFrom = null;
  let asked = 0;

  canvas.addEventListener('keydown', (event) => {
    const keys = {
      ArrowLeft: () => step(-1), ArrowRight: () => step(1),
      Home: () => point(0), End: () => point(rows.length - 1),
      PageUp: () => shift(-0.5), PageDown: () => shift(0.5),
      '+': () => zoom(0.5), '=': () => zoom(0.5), '-': () => zoom(2),
    };
    const act = keys[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });
  canvas.addEventListener('pointermove', (event) => at(event));
  canvas.addEventListener('pointerdown', (event) => at(event));
  new ResizeObserver(() => draw()).observe(canvas);

  function at(event) {
    const box = canvas.getBoundingClientRect();
    const ms = from + ((event.clientX - box.left) / box.width) * (to - from);
    const off = (row) => Math.max(row.from_ms - ms, ms - row.ms, 0);
    let best = 0;
    rows.forEach((row, n) => { if (off(row) < off(rows[best])) best = n; });
    point(best);
  }

  const shift = (share) => view(from + share * (to - from), to + share * (to - from));
  function zoom(by) {
    const middle = rows[cursor]?.ms ?? (from + to) / 2;
    const half = Math.max(500, ((to - from) / 2) * by);
    view(middle - half, middle + half);
  }

  const stretch = (a, b, most) => get(`api/records/${encodeURIComponent(id)}/rows?from_ms=${Math.floor(a)}&to_ms=${Math.ceil(b)}&most=${most}`);

  /** To the next row, or the one before. Beyond the stretch's last the stretch moves along: while
   * nothing happens a row stands for up to a minute, and over an outage there are none. */
  async function step(by) {
    if (rows[cursor + by]) {
      point(cursor + by);
      return;
    }
    asked += 1;
    const mine = asked;
    const here = rows[cursor]?.ms ?? (by > 0 ? from : to);
    element.setAttribute('aria-busy', 'true');
    let row;
    try {
      row = by > 0 ? (await stretch(here, last, 1)).rows[0] : await before(here - 1);
    } catch (error) {
      trouble.tell(error);
    }
    if (mine !== asked) return;
    element.removeAttribute('aria-busy');
    if (row) view(row.ms - (to - from) / 2, row.ms + (to - from) / 2, row.ms);
  }

  /** The last row up to a moment. */
  async function before(end) {
    for (let [a, b] = [end - FAR_MS, end]; b > first;) {
      const answer = await stretch(a, b, MOST);
      const ended = answer.rows.filter((row) => row.ms <= b);
      if (answer.left_out) a = (a + b) / 2;
      else if (ended.length) return ended.at(-1);
      else [a, b] = [a - 2 * (b - a), a];
    }
    return undefined;
  }

  /** Shows a stretch, with the cursor on the row of this moment. */
  async function view(a, b, held = rows[cursor]?.ms ?? (a + b) / 2) {
    const length = Math.min(b - a, last - first || b - a);
    from = Math.max(first, Math.min(a, last - length));
    to = from + length;
    asked += 1;
    const mine = asked;
    element.setAttribute('aria-busy', 'true');
    try {
      const answer = await stretch(from, to, MOST);
      // A later request overtook this one.
      if (mine !== asked) return;
      trouble.tell(null);
      rows = answer.rows;
      const near = rows.findIndex((row) => row.ms >= held);
      const clock = (ms) => new Date(ms).toLocaleString('en-GB', { dateStyle: 'medium', timeStyle: 'medium' });
      say(range, `${clock(from)} to ${clock(to)}${answer.left_out ? '; too long for every row: make the stretch shorter' : ', every row of the record'}`);
      canvas.setAttribute('aria-label', `Voltage, current and pressure, ${range.textContent}; ${rows.length} rows`);
      point(near < 0 ? rows.length - 1 : near);
    } catch (error) {
      trouble.tell(error);
    }
    if (mine === asked) element.removeAttribute('aria-busy');
  }

  function point(n) {
    cursor = Math.max(0, Math.min(n, rows.length - 1));
    const row = rows[cursor];
    if (!row) {
      say(readout, 'Nothing is recorded here.');
    } else {
      const time = new Date(row.ms);
      const parts = BANDS.map(({ unit, decimals, value }) => (value(row) === null || value(row) === undefined ? null : `${fixed(value(row), decimals)} ${unit}`));
      if (row.power_w !== null && row.power_w !== undefined) parts.push(`${fixed(row.power_w, 0)} W`);
      if (row.lamps?.length) parts.push(`lit: lamp ${row.lamps.join(', ')}`);
      const clock = `${time.toLocaleTimeString('en-GB')}.${String(time.getMilliseconds()).padStart(3, '0')}`;
      say(readout, `${clock}: ${parts.filter(Boolean).join(' · ')} (${row.detail === 'cycle' ? 'one half cycle of a capture' : 'one interval'})`);
    }
    draw();
  }

  function draw() {
    const width = canvas.clientWidth;
    if (!width || element.hidden) return;
    const dots = window.devicePixelRatio || 1;
    const shown = BANDS.filter(({ value }) => rows.some((row) => Number.isFinite(value(row))));
    const height = Math.max(1, shown.length) * BAND;
    canvas.style.height = `${height}px`;
    canvas.width = Math.round(width * dots);
    canvas.height = Math.round(height * dots);
    const pen = canvas.getContext('2d');
    pen.setTransform(dots, 0, 0, dots, 0, 0);
    pen.font = '13px system-ui, sans-serif';
    const x = (ms) => ((ms - from) / (to - from || 1)) * width;
    shown.forEach((band, n) => {
      const top = n * BAND;
      const values = rows.map(band.value).filter(Number.isFinite);
      let [low, high] = values.reduce(([a, b], value) => [Math.min(a, value), Math.max(b, value)], [Infinity, -Infinity]);
      if (high - low < 0.05 * Math.abs(high) || high === low) {
        const half = Math.max(0.025 * Math.abs(high), 0.05);
        [low, high] = [low - half, high + half];
      }
      const y = (value) => top + BAND - 6 - ((value - low) / (high - low)) * (BAND - 30);
      pen.strokeStyle = '#8a8a8a';
      pen.lineWidth = 1;
      pen.strokeRect(0.5, top + 0.5, width - 1, BAND - 1);
      pen.strokeStyle = '#000';
      pen.lineWidth = 1.6;
      pen.beginPath();
      let drawing = false;
      // A row is the mean of its time: level from its beginning to its end.
      for (const row of rows) {
        const value = band.value(row);
        if (!Number.isFinite(value)) {
          drawing = false;
          continue;
        }
        if (drawing) pen.lineTo(x(row.from_ms), y(value));
        else pen.moveTo(x(row.from_ms), y(value));
        pen.lineTo(x(row.ms), y(value));
        drawing = true;
      }
      pen.stroke();
      pen.fillStyle = '#000';
      // Where there are few, their ends are dotted.
      for (const row of rows.length < FEW ? rows : []) {
        if (Number.isFinite(band.value(row))) pen.fillRect(x(row.ms) - 2, y(band.value(row)) - 2, 4, 4);
      }
      pen.fillText(`${band.name} ${fixed(low, band.decimals)} to ${fixed(high, band.decimals)} ${band.unit}`, 6, top + 16);
    });
    const row = rows[cursor];
    if (row) {
      pen.setLineDash([4, 3]);
      pen.beginPath();
      const at_ = Math.max(0, Math.min(width, x(row.ms)));
      pen.moveTo(at_, 0);
      pen.lineTo(at_, height);
      pen.stroke();
      pen.setLineDash([]);
    }
  }

  return {
    element,
    /** The whole record, RFC 3339. */
    limits(start, end) {
      [first, last] = [Date.parse(start), Date.parse(end)];
    },
    /** Shows what happened from `start` on. */
    look(start, end) {
      cameFrom = document.activeElement;
      show(element, true);
      const begin = Date.parse(start);
      rows = [];
      view(begin - AROUND_MS, Math.min(Date.parse(end), begin + BEGIN_MS) + AROUND_MS);
      document.getElementById('closer-title').focus();
      element.scrollIntoView({ block: 'nearest' });
    },
  };
}
