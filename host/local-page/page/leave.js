// Leaving the logger: arm it, and what to see to before going.

import { button, complaint, make, say, show } from './dom.js';
import { daysPanel } from './practice.js';
import { order } from './server.js';
import { sign } from './signs.js';
import { facts } from './facts.js';
import { fixed, length } from './words.js';

export const title = 'Leave';

export function build(visit) {
  const trouble = complaint();
  const stateSign = sign('none');
  const heading = make('h2');
  const words = make('p');
  const table = facts();
  const open = make('p', { class: 'remedy' });
  const arm = button('Arm: start recording', () => order('api/arm')
    .then(() => trouble.tell(null), trouble.tell).then(() => visit.ask()), { class: 'primary' });
  const first = make('a', { class: 'button primary' });
  const fetched = make('a', { class: 'button', href: '#fetch' }, 'Fetch the record');
  const card = make('section', { class: 'card using', 'aria-label': 'State of the logger' },
    make('div', { class: 'headed' }, stateSign, heading), words, table.element, open,
    make('div', { class: 'row' }, arm, first, fetched), trouble);
  const leaving = make('section', { hidden: true },
    make('h2', {}, 'Before you go'),
    make('ul', { class: 'todo-list' },
      make('li', {}, 'Unplug the USB cable. The logger needs its own supply from now on: see that it has one.'),
      make('li', {}, 'A qualified person closes the panel and restores the supply.'),
      make('li', {}, 'See the pump run and stop once as it did before.'),
      make('li', {}, 'Write down when you come back, before the memory is full.')));
  const practice = daysPanel(visit);
  const element = make('div', {}, make('h1', { tabIndex: -1 }, 'Leave the logger'), card, leaving, practice.element);

  function update(state) {
    const { logger, site } = state;
    const there = logger?.link === 'there';
    const armed = Boolean(logger?.armed);
    const arming = state.job?.what === 'arm' && state.job.state === 'going';
    stateSign.set(armed ? 'good' : 'none');
    say(heading, armed ? 'The logger records' : arming ? 'Arming …' : 'The logger does not record yet');
    say(words, armed
      ? 'You may unplug the cable and leave. It goes on through power cuts and needs nobody.'
      : 'Arming hands it the site file, sets its clock by this computer, and starts recording.');
    const days = logger?.memory?.days_left;
    table.update([
      ['Logger', logger ? `${logger.device}${there ? '' : ', not answering'}` : 'none in use'],
      ['Site', site ? site.name || 'without a name' : 'none given'],
      ['Memory lasts', days === null || days === undefined ? null : `about ${fixed(days, 0)} days; then the oldest is overwritten`],
      ['Clock', logger && (Math.abs(logger.clock_off_s) < 2
        ? 'agrees with this computer'
        : `${length(logger.clock_off_s)} ${logger.clock_off_s < 0 ? 'behind' : 'ahead of'} this computer${armed ? '' : '; arming sets it'}`)],
      ['Fit checks', state.summary],
    ]);
    const wrong = state.checks.filter((check) => check.state === 'bad').map((check) => check.title);
    say(open, wrong.length && !armed
      ? `Still wrong: ${wrong.join(', ')}. What is recorded by a wrong fit proves nothing: put it right first.`
      : '');
    show(open, open.textContent);
    const lacking = !logger ? ['#loggers', 'Choose the logger'] : !site && !armed ? ['#site', 'Give the site'] : null;
    show(first, lacking);
    if (lacking) {
      first.href = lacking[0];
      say(first, lacking[1]);
    }
    show(arm, !lacking && !armed);
    arm.disabled = !there || arming;
    show(fetched, armed);
    show(leaving, armed);
    if (state.job?.what === 'arm' && state.job.state === 'failed' && !armed) trouble.tell(new Error(state.job.says));
    practice.update(state);
  }
  return { element, update, close: true };
}
