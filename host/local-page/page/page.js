// The page at the panel: which part is shown, how the link stands, and the state handed to both.
// One file a part; each builds its elements once and is then told every state.

import { keep, make, say, show, speak } from './dom.js';
import * as fetching from './fetch.js';
import * as fit from './fit.js';
import * as leave from './leave.js';
import * as loggers from './loggers.js';
import { Readings } from './readings.js';
import * as record from './record.js';
import * as records from './records.js';
import { Watch } from './server.js';
import { sign } from './signs.js';
import * as site from './site.js';

const PARTS = { loggers, site, fit, leave, fetch: fetching, records };
/** Between two looks at how old the readings are, ms. */
const TICK_MS = 200;

const main = document.getElementById('main');
const link = { sign: sign('none'), words: make('span', {}, 'Asking …') };
document.getElementById('link').append(link.sign, link.words);
const gone = document.getElementById('gone');

let part = null;
let state = null;
const readings = new Readings();
const watch = new Watch(hear);

/** What the parts are given. */
const visit = {
  readings,
  /** Asks for the state at once. */
  ask: () => watch.soon(),
  /** Tells the shown part the last state again. */
  again: () => state && part?.update(state),
};

function hear(answer, now_ms) {
  show(gone, !answer);
  document.body.classList.toggle('cut', !answer);
  if (!answer) {
    say(gone, 'The program does not answer. Is pumpwitness still running on this computer? If it was '
      + 'started anew, use the address that it printed: the old one no longer opens.');
    linked('lost', 'Program does not answer');
    return;
  }
  if (state?.logger?.device !== answer.logger?.device) readings.forget();
  state = answer;
  readings.take(answer.logger?.link === 'there' ? answer.live : null, now_ms);
  const logger = answer.logger;
  if (!logger) linked('none', 'No logger');
  else if (logger.link === 'connecting') linked('connecting', 'Asking the logger …');
  else if (logger.link === 'there') linked('there', 'Logger there');
  else linked('lost', 'Logger lost: look at the cable');
  show(document.getElementById('practice-mark'), answer.practice);
  steps();
  if (!part) route();
  part.update(answer);
}

function linked(kind, words) {
  link.sign.set(kind);
  say(link.words, words);
}

const DONE = {
  loggers: () => Boolean(state?.logger && state.logger.link === 'there'),
  site: () => Boolean(state?.site),
  // An armed logger carries what the checks had come to; those that are made now begin anew.
  fit: () => Boolean(state?.checks.length && state.checks.every((check) => check.state === 'good'))
    || Boolean(state?.logger?.armed && state.site?.fitted),
  leave: () => Boolean(state?.logger?.armed),
  fetch: () => state?.job?.what === 'fetch' && state.job.state === 'done',
  records: () => false,
};

function steps() {
  const nav = document.getElementById('steps');
  const list = nav.firstChild ?? nav.appendChild(make('ol'));
  const here = place().name === 'record' ? 'records' : place().name;
  keep(list, Object.keys(PARTS), (name) => name, (name, old) => {
    const item = old ?? make('li', {}, make('a', { href: `#${name}` },
      make('span', { class: 'step-sign' }, sign('good')), make('span', { class: 'step-name' }, PARTS[name].title),
      make('span', { class: 'unseen' })));
    const anchor = item.firstChild;
    if (name === here) anchor.setAttribute('aria-current', 'page');
    else anchor.removeAttribute('aria-current');
    const done = DONE[name]();
    item.classList.toggle('done', done);
    say(anchor.lastChild, done ? ' (done)' : '');
    return item;
  });
}

/** The part that the address names. */
function place() {
  const [name, id] = location.hash.slice(1).split('/');
  if (name === 'record' && id) return { name, id: decodeURIComponent(id) };
  return { name: PARTS[name] ? name : 'loggers' };
}

function route() {
  const { name, id } = place();
  const chosen = name === 'record' ? record : PARTS[name];
  const led = part !== null;
  part = chosen.build(visit, id);
  watch.close = Boolean(part.close);
  main.replaceChildren(part.element);
  main.dataset.part = name;
  document.title = `${chosen.title} · pumpwitness`;
  steps();
  if (state) part.update(state);
  watch.soon();
  // Those who listen or type go on at the top of what they asked for.
  if (led) {
    window.scrollTo(0, 0);
    main.querySelector('h1')?.focus({ preventScroll: true });
    speak('');
  }
}

addEventListener('hashchange', () => {
  // The link past the steps is no part.
  if (location.hash !== '#main') route();
});
document.getElementById('skip').addEventListener('click', (event) => {
  event.preventDefault();
  main.focus();
});
setInterval(() => part?.tick?.(), TICK_MS);
steps();
watch.soon();
