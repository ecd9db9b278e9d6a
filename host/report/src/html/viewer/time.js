// Moments, spans and numbers as the site writes them.

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
