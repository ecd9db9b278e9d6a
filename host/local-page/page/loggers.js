// Loggers found on USB: choose one.

import { button, complaint, keep, make, say, show } from './dom.js';
import { facts } from './facts.js';
import { order } from './server.js';
import { sign } from './signs.js';
import { fixed, length } from './words.js';

export const title = 'Logger';

export function build(visit) {
  const found = make('ul', { class: 'cards' });
  const none = make('div', { class: 'empty' },
    make('p', {}, 'No logger found yet. This page looks again by itself.'),
    make('ul', {},
      make('li', {}, 'Plug the logger into this computer by USB.'),
      make('li', {}, 'Some cables only charge: use one that carries data.'),
      make('li', {}, 'A hub or an adapter may lack power: try the socket of the computer.')));
  const trouble = complaint();
  const using = make('section', { class: 'card using', 'aria-label': 'The logger in use' });
  const mark = sign('connecting');
  const heading = make('h2');
  const table = facts();
  const hint = make('p', { class: 'next' });
  const onward = make('a', { class: 'button primary', href: '#site' });
  const release = button('Let go of this logger', () => tell(order('api/disconnect')), { class: 'quiet' });
  using.append(make('div', { class: 'headed' }, mark, heading), table.element, hint,
    make('div', { class: 'row' }, onward, release));

  const tell = (answer) => answer.then(() => trouble.tell(null), trouble.tell).then(() => visit.ask());

  const element = make('div', {},
    make('h1', { tabIndex: -1 }, 'Loggers found on USB'), trouble, using, found, none);

  function update(state) {
    const logger = state.logger;
    show(using, logger);
    show(none, !logger && state.ports.length === 0);
    const others = state.ports.filter((port) => port.name !== logger?.port);
    const primary = !logger && others.length === 1;
    keep(found, others, (port) => port.name, (port, old) => {
      const card = old ?? make('li', { class: 'card' },
        make('h2', {}, port.what || 'Logger'), make('p', { class: 'port' }, port.name),
        button('Use this logger', () => tell(order('api/connect', { port: port.name }))));
      card.querySelector('button').className = primary ? 'primary' : '';
      return card;
    });
    if (!logger) return;
    mark.set(logger.link);
    say(heading, {
      connecting: 'Asking the logger who it is …',
      there: `Logger ${logger.device} is there`,
      lost: 'No usable answer from the logger',
    }[logger.link]);
    const memory = logger.memory;
    table.update(logger.link === 'connecting' ? [] : [
      ['Port', logger.port],
      ['Program in the logger', logger.firmware],
      ['Records now', logger.armed ? 'yes, it is armed' : 'no, it is not armed'],
      ['Set up for', logger.settings_of ?? 'no site'],
      ['Clock', Math.abs(logger.clock_off_s) < 2
        ? 'agrees with this computer'
        : `${length(logger.clock_off_s)} ${logger.clock_off_s < 0 ? 'behind' : 'ahead of'} this computer`],
      ['Memory', memory && `${fixed((100 * memory.used_pages) / (memory.pages || 1), 0)} % in use`],
      ['Note', logger.trouble],
    ]);
    say(hint, logger.link === 'lost'
      ? 'Plug the cable in again, or switch the logger on. It is taken up again by itself; nothing recorded is lost.'
      : '');
    show(onward, logger.link === 'there');
    onward.href = logger.armed ? '#fetch' : '#site';
    say(onward, logger.armed ? 'Fetch what it recorded' : 'Go on: the site');
  }
  return { element, update };
}
