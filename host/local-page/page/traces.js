// A live reading: its name, a large number, and the trace of the last minute.

import { make, say } from './dom.js';
import { BREAK_S, SPAN_S } from './readings.js';
import { fixed } from './words.js';

const HEIGHT = 56;

/** A tile. `least_span`: the trace's scale never shows less than this, so that noise looks like
 * noise; `from_zero`: the scale begins at zero. */
export function tile({ name, unit, decimals, value, least_span, from_zero = false }) {
  const number = make('span', { class: 'number' }, '–');
  const unitText = make('span', { class: 'unit' }, unit);
  const more = make('p', { class: 'more' });
  const range = make('p', { class: 'range' });
  const canvas = make('canvas', { 'aria-hidden': 'true' });
  const element = make('section', { class: 'tile', 'aria-label': name },
    make('h3', {}, name),
    make('p', { class: 'value' }, number, ' ', unitText), more, canvas, range);
  const shown = { unit, decimals, value };

  /** `change`: another unit, decimals or way of reckoning from now on. */
  function update(readings, now_ms, change = {}, beside = '') {
    Object.assign(shown, change);
    const live = readings.latest;
    const latest = live ? shown.value(live) : null;
    say(number, fixed(latest, shown.decimals));
    say(unitText, shown.unit);
    say(more, beside);
    const points = [];
    for (const { at_s, live: reading } of readings.list) {
      const at = shown.value(reading);
      if (at !== null && at !== undefined && Number.isFinite(at)) points.push([at_s, at]);
    }
    let low = Infinity;
    let high = -Infinity;
    for (const [, at] of points) {
      low = Math.min(low, at);
      high = Math.max(high, at);
    }
    say(range, points.length
      ? `last minute ${fixed(low, shown.decimals)} to ${fixed(high, shown.decimals)}`
      : 'not measured');
    draw(canvas, points, now_ms / 1000, scale(low, high, least_span, from_zero));
  }
  return { element, update };
}

function scale(low, high, least_span, from_zero) {
  if (!Number.isFinite(low)) return [0, 1];
  if (from_zero) {
    low = Math.min(0, low);
    high = Math.max(0, high);
  }
  const lack = least_span - (high - low);
  if (lack > 0) {
    high += from_zero && low === 0 ? lack : lack / 2;
    low -= from_zero && low === 0 ? 0 : lack / 2;
  }
  return [low, high];
}

function draw(canvas, points, now_s, [low, high]) {
  const width = canvas.clientWidth;
  if (!width) return;
  const dots = window.devicePixelRatio || 1;
  const [w, h] = [Math.round(width * dots), Math.round(HEIGHT * dots)];
  if (canvas.width !== w || canvas.height !== h) {
    canvas.width = w;
    canvas.height = h;
  }
  const pen = canvas.getContext('2d');
  pen.setTransform(dots, 0, 0, dots, 0, 0);
  pen.clearRect(0, 0, width, HEIGHT);
  const x = (at_s) => width - 2 - ((now_s - at_s) / SPAN_S) * (width - 2);
  const y = (at) => HEIGHT - 4 - ((at - low) / (high - low || 1)) * (HEIGHT - 8);
  pen.strokeStyle = '#8a8a8a';
  pen.lineWidth = 1;
  pen.beginPath();
  for (const line of low < 0 && high > 0 ? [HEIGHT - 0.5, y(0)] : [HEIGHT - 0.5]) {
    pen.moveTo(0, line);
    pen.lineTo(width, line);
  }
  pen.stroke();
  pen.strokeStyle = '#000';
  pen.lineWidth = 2;
  pen.lineJoin = 'round';
  pen.beginPath();
  let before = -Infinity;
  for (const [at_s, at] of points) {
    if (at_s - before > BREAK_S) pen.moveTo(x(at_s), y(at));
    else pen.lineTo(x(at_s), y(at));
    before = at_s;
  }
  pen.stroke();
}
