// Practice: putting planted wrong fits right, pulling the cable, letting days pass.

import { button, complaint, field, keep, make, say, show } from './dom.js';
import { order } from './server.js';
import { sign } from './signs.js';
import { moment } from './words.js';

const NOTE = 'Practice: nothing here is real. At a site, a qualified person does this with the panel isolated and proved dead.';

/** The planted wrong fits, each with a button that puts it right. */
export function practicePanel(visit) {
  const trouble = complaint();
  const list = make('ul', { class: 'faults' });
  const element = make('section', { class: 'card practice', 'aria-labelledby': 'faults-title', hidden: true },
    make('h2', { id: 'faults-title' }, 'Practice: do the work here'), make('p', {}, NOTE), list, trouble);

  function update(state) {
    show(element, state.practice?.faults.length);
    keep(list, state.practice?.faults ?? [], (fault) => fault.key, (fault, old) => {
      const item = old ?? make('li', { 'data-fault': fault.key }, sign('waiting'), make('span', {}, fault.title),
        button('Put right', () => order('api/practice/correct', { key: fault.key })
          .then(() => trouble.tell(null), trouble.tell).then(() => visit.ask()), { 'aria-label': `Put right: ${fault.title}` }));
      item.dataset.planted = fault.planted;
      item.firstChild.set(fault.planted ? 'bad' : 'good');
      const pressed = item.lastChild;
      // The focus stays where it was: the next one to put right.
      if (!fault.planted && document.activeElement === pressed) {
        (list.querySelector('[data-planted=true] button') ?? document.querySelector('h1')).focus();
      }
      show(pressed, fault.planted);
      return item;
    });
  }
  return { element, update };
}

/** Days that pass while nobody is there. */
export function daysPanel(visit) {
  const trouble = complaint();
  const days = field('Days to let pass', make('input', { type: 'text', inputMode: 'numeric', value: '7', size: 4, autocomplete: 'off' }));
  const now = make('p');
  const bar = make('progress', { 'aria-label': 'Days pass' });
  const form = make('form', { class: 'gauge', noValidate: true, onsubmit: (event) => { event.preventDefault(); pass(); } },
    days.whole, make('button', { type: 'submit', id: 'pass-days' }, 'Let them pass'));
  const element = make('section', { class: 'card practice', 'aria-labelledby': 'days-title', hidden: true },
    make('h2', { id: 'days-title' }, 'Practice: come back later'),
    make('p', {}, 'The simulated site goes on by itself, with what troubles it, faster than time.'),
    now, form, bar, trouble);

  function pass() {
    const typed = Number(days.input.value.trim());
    if (!Number.isInteger(typed) || typed < 1) {
      trouble.tell(new Error('Type a whole number of days, such as 7.'));
      days.input.focus();
      return;
    }
    order('api/practice/days', { days: typed }).then(() => trouble.tell(null), trouble.tell).then(() => visit.ask());
  }

  function update(state) {
    show(element, state.practice && state.logger?.armed);
    if (!state.practice) return;
    const job = state.job?.what === 'practice' ? state.job : null;
    const going = job?.state === 'going';
    say(now, `At the site it is ${moment(state.practice.now)}; ${state.practice.days} days have passed.`);
    show(bar, going);
    if (job?.total) {
      bar.max = job.total;
      bar.value = job.done;
    }
    show(form, !going);
    if (job?.state === 'failed') trouble.tell(new Error(job.says));
  }
  return { element, update };
}
