// The site: one kept here, answers to the plan's questions, or its file as text.

import { button, complaint, field, keep, make, say, show } from './dom.js';
import { questions } from './questions.js';
import { get, order } from './server.js';
import { sign } from './signs.js';

export const title = 'Site';

const WAYS = [
  ['known', 'A site kept here'],
  ['ask', 'A new site, by questions'],
  ['text', 'The site file as text'],
];

export function build(visit) {
  const trouble = complaint();

  // The site in use.
  const name = make('h2');
  const notes = make('ul', { class: 'notes' });
  const using = make('section', { class: 'card using', 'aria-label': 'The site in use' },
    make('div', { class: 'headed' }, sign('good'), name), notes,
    make('div', { class: 'row' },
      make('a', { class: 'button primary', href: '#fit' }, 'Go on: fit the sensors'),
      make('a', { class: 'button', href: 'api/site/sheet.pdf', target: '_blank', rel: 'noopener' }, 'Fitting sheet (PDF)'),
      button('Change or choose another', () => { choosing = true; visit.again(); }, { class: 'quiet' })));

  // Three ways to one.
  let way = null;
  const ways = make('fieldset', { class: 'ways' }, make('legend', {}, 'How do you want to give the site?'));
  const radios = {};
  for (const [key, words] of WAYS) {
    radios[key] = make('input', { type: 'radio', name: 'way', value: key, onchange: () => choose(key) });
    ways.append(make('label', {}, radios[key], make('span', {}, words)));
  }
  const known = make('ul', { class: 'cards' });
  const noneKnown = make('p', { hidden: true }, 'No site is kept here yet. Answer the questions instead.');
  const knownPanel = make('div', {}, known, noneKnown);
  const asking = questions(async (toml) => use(toml));
  const text = field('Site file (TOML)', make('textarea', { rows: 18, spellcheck: false, class: 'code', autocomplete: 'off' }),
    'Paste a site file, or change what stands here. It is checked before it is used.');
  const textPanel = make('div', {}, text.whole,
    button('Use this site file', () => use(text.input.value), { class: 'primary' }));
  const panels = { known: knownPanel, ask: asking.element, text: textPanel };
  const chooser = make('div', {}, ways, knownPanel, asking.element, textPanel);
  let choosing = false;

  function choose(key) {
    way = key;
    radios[key].checked = true;
    trouble.tell(null);
    for (const [other, panel] of Object.entries(panels)) show(panel, other === key);
  }

  const use = (toml) => taken(order('api/site', { toml }));
  async function taken(answer) {
    try {
      await answer;
      trouble.tell(null);
      choosing = false;
      await visit.ask();
      document.querySelector('h1')?.focus();
    } catch (error) {
      trouble.tell(error);
      trouble.scrollIntoView({ block: 'center' });
    }
  }

  get('api/sites').then((sites) => {
    show(noneKnown, sites.length === 0);
    keep(known, sites, (site) => site.file, (site) => make('li', { class: 'card' },
      make('h2', {}, site.name || 'Site without a name'), make('p', { class: 'port' }, site.file),
      button('Use this site', () => taken(order('api/site/file', { file: site.file })), { class: sites.length === 1 ? 'primary' : '' })));
    if (way === null) choose(sites.length ? 'known' : 'ask');
  }).catch(trouble.tell);

  const element = make('div', {},
    make('h1', { tabIndex: -1 }, 'The site'), trouble, using, chooser);
  let filled = null;

  function update(state) {
    const site = state.site;
    show(using, site && !choosing);
    show(chooser, !site || choosing);
    if (!site) return;
    say(name, site.name || 'Site without a name');
    keep(notes, site.warnings ?? [], (words) => words, (words, old) => old ?? make('li', {}, words));
    // What the technician is changing is not written over.
    if (filled !== site.toml && document.activeElement !== text.input) {
      filled = site.toml;
      text.input.value = site.toml;
    }
  }
  return { element, update };
}
