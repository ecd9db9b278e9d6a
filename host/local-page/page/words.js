// Numbers, times and states in words.

/** Bar in one pound-force per square inch; the same figure as the site file's. */
const BAR_PER_PSI = 0.068_947_572_9;

export function fixed(value, decimals) {
  if (value === null || value === undefined || !Number.isFinite(value)) return '–';
  const text = value.toFixed(decimals);
  // No minus before a zero; a minus sign, not a dash, before the rest.
  return Number(text) === 0 ? text.replace('-', '') : text.replace('-', '−');
}

/** How pressure is shown: unit, decimals, and both ways of reckoning. */
export function pressureUnit(units) {
  return units === 'us'
    ? { unit: 'psi', decimals: 1, of: (bar) => bar / BAR_PER_PSI, bar: (shown) => shown * BAR_PER_PSI }
    : { unit: 'bar', decimals: 2, of: (bar) => bar, bar: (shown) => shown };
}

export function size(bytes) {
  if (bytes >= 1e6) return `${(bytes / 1e6).toFixed(1)} MB`;
  if (bytes >= 1e3) return `${Math.round(bytes / 1e3)} kB`;
  return `${bytes} bytes`;
}

export function count(number, one, many = `${one}s`) {
  return `${number} ${number === 1 ? one : many}`;
}

export function length(seconds) {
  const s = Math.abs(seconds);
  if (s < 120) return `${s < 10 ? s.toFixed(1) : Math.round(s)} s`;
  if (s < 7200) return `${Math.round(s / 60)} min`;
  if (s < 172_800) return `${Math.round(s / 3600)} h`;
  return `${Math.round(s / 86_400)} days`;
}

/** A moment by this computer's clock and zone, 24 h, day first: "Thu 26 Nov 2026, 14:05". */
export function moment(text, withSeconds = false) {
  const date = new Date(text);
  if (Number.isNaN(date.getTime())) return '–';
  const day = date.toLocaleDateString('en-GB', { weekday: 'short', day: 'numeric', month: 'short', year: 'numeric' });
  const time = date.toLocaleTimeString('en-GB', { hour: '2-digit', minute: '2-digit', second: withSeconds ? '2-digit' : undefined });
  return `${day.replace(',', '')}, ${time}`;
}

export function day(text) {
  const date = new Date(text);
  if (Number.isNaN(date.getTime())) return '–';
  return date.toLocaleDateString('en-GB', { day: 'numeric', month: 'short', year: 'numeric' });
}

/** A word of a file format in plain letters: "dry-run" → "dry run". */
export function plain(word) {
  return String(word).replaceAll(/[-_]/g, ' ');
}

export function first(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}
