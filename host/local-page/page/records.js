// The recordings kept here: search by site, days, cause and words.

import { complaint, field, keep, make, say, show } from './dom.js';
import { get } from './server.js';
import { count, day, first, plain, size } from './words.js';

export const title = 'Records';

export function build() {
  const trouble = complaint();
  const site = field('Site', make('select', {}, make('option', { value: '' }, 'all sites')));
  const cause = field('Cause', make('select', {}, make('option', { value: '' }, 'all causes')));
  const from = field('From', make('input', { type: 'date' }));
  const to = field('To', make('input', { type: 'date' }));
  const words = field('Words', make('input', { type: 'search', autocomplete: 'off' }));
  const form = make('form', { class: 'search', role: 'search', onsubmit: (event) => { event.preventDefault(); look(); } },
    site.whole, cause.whole, from.whole, to.whole, words.whole, make('button', { type: 'submit', class: 'primary' }, 'Search'));
  for (const one of [site, cause, from, to]) one.input.addEventListener('change', look);
  const tally = make('p', { class: 'tally', role: 'status' });
  const list = make('ul', { class: 'records' });
  const element = make('div', {}, make('h1', { tabIndex: -1 }, 'Records'), form, trouble, tally, list);

  async function look() {
    const query = new URLSearchParams({
      site: site.input.value, from: from.input.value, to: to.input.value, cause: cause.input.value, words: words.input.value.trim(),
    });
    try {
      const answer = await get(`api/records?${query}`);
      trouble.tell(null);
      offer(site.input, answer.sites, (name) => name);
      offer(cause.input, answer.causes, (name) => first(plain(name)));
      const narrowed = [...query.values()].some((value) => value !== '');
      say(tally, answer.records.length ? count(answer.records.length, 'record')
        : narrowed ? 'No record fits. Search for less.' : 'No record is kept here yet. Fetch one from a logger.');
      keep(list, answer.records, (record) => record.id, (record) => entry(record));
    } catch (error) {
      trouble.tell(error);
    }
  }
  look();
  return { element, update() {} };
}

/** Offers what there is, and keeps what was chosen. */
function offer(select, names, shown) {
  const chosen = select.value;
  const all = select.options[0];
  select.replaceChildren(all, ...names.map((name) => make('option', { value: name }, shown(name))));
  select.value = names.includes(chosen) ? chosen : '';
}

function entry(record) {
  const stops = Object.entries(record.stops ?? {}).map(([reason, number]) => `${plain(reason)} ${number}`).join(', ');
  const details = [count(record.runs, 'run'), stops && `stops: ${stops}`, size(record.bytes)].filter(Boolean).join(' · ');
  const span = day(record.start) === day(record.end) ? day(record.start) : `${day(record.start)} to ${day(record.end)}`;
  return make('li', { class: 'card' },
    make('h2', {}, make('a', { href: `#record/${encodeURIComponent(record.id)}` }, `${record.site || 'Site without a name'}, ${span}`)),
    make('p', { class: 'cause' }, record.cause ? first(plain(record.cause)) : 'No cause named'),
    make('p', {}, record.says),
    make('p', { class: 'details' }, details),
    make('p', { class: 'details' }, record.integrity));
}
