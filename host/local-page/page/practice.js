// Practice: the site as one would see and hear it, putting planted wrong fits right, pulling the
// cable, letting days pass.

import { button, complaint, field, keep, make, say, show } from './dom.js';
import { facts } from './facts.js';
import { order } from './server.js';
import { sign } from './signs.js';
import { fixed, moment, pressureUnit } from './words.js';

const NOTE = 'Nothing here is real. At a site, a qualified person does this with the panel isolated and proved dead.';

/** Gives an order and tells its failure in place. */
function orders(visit) {
  const trouble = complaint();
  const give = (address, body) => order(`api/practice/${address}`, body)
    .then(() => trouble.tell(null), trouble.tell).then(() => visit.ask());
  return { trouble, give };
}

/** The practised site: what eye and ear tell of it, and the planted wrong fits with a button each
 * that puts one right. */
export function practicePanel(visit) {
  const { trouble, give } = orders(visit);
  let practice = null;
  const met = new Set();
  const seen = facts();
  const tap = button('', () => give('tap', { open: !practice.tap_open }), { id: 'practice-tap' });
  const lamps = make('ul', { class: 'faults' });
  const test = button('Press the panel\'s lamp test', () => give('lamp-test', {}), { id: 'practice-lamp-test' });
  const skip = button('Wait for the pump (time passes fast)', () => give('skip', {}), { id: 'practice-skip' });
  const faults = make('ul', { class: 'faults' });
  const element = make('section', { class: 'card practice', 'aria-labelledby': 'faults-title', hidden: true },
    make('h2', { id: 'faults-title' }, 'Practice: be at the site'), make('p', {}, NOTE),
    seen.element, lamps, make('div', { class: 'row' }, tap, skip, test),
    make('h3', {}, 'Work on the fit'), faults, trouble);

  function update(state) {
    practice = state.practice;
    show(element, practice);
    if (!practice) return;
    const unit = pressureUnit(state.site?.units);
    seen.update([
      ['Gauge reads', `${fixed(unit.of(practice.gauge_bar), unit.decimals)} ${unit.unit}`],
      ['You hear', practice.pump_runs ? 'the pump run' : 'no pump'],
    ]);
    say(tap, practice.tap_open ? 'Shut the tap' : 'Open a tap');
    keep(lamps, practice.lamps ?? [], (lamp) => lamp.number, (lamp, old) => {
      const item = old ?? make('li', {}, sign('dark'), make('span'));
      item.firstChild.set(lamp.lit ? 'lit' : 'dark');
      say(item.children[1], `Lamp "${lamp.label || lamp.number}" is ${lamp.lit ? 'lit' : 'dark'}`);
      return item;
    });
    show(test, practice.lamps?.length);
    // Those that were never there are no work.
    for (const fault of practice.faults) if (fault.planted) met.add(fault.key);
    keep(faults, practice.faults.filter((fault) => met.has(fault.key)), (fault) => fault.key, (fault, old) => {
      const item = old ?? make('li', { 'data-fault': fault.key }, sign('waiting'), make('span'),
        button('Put right', () => give('correct', { key: fault.key }), { 'aria-label': `Put right: ${fault.title}` }));
      item.dataset.planted = fault.planted;
      say(item.children[1], fault.planted ? fault.title : `${fault.title}: put right`);
      item.firstChild.set(fault.planted ? 'bad' : 'good');
      const pressed = item.lastChild;
      // What goes hands the focus on, to the next one to put right.
      if (!fault.planted && document.activeElement === pressed) {
        (faults.querySelector('[data-planted=true] button') ?? document.querySelector('h1')).focus();
      }
      show(pressed, fault.planted);
      return item;
    });
  }
  return { element, update };
}

/** The cable, to be pulled at any moment. */
export function cablePanel(visit) {
  const { trouble, give } = orders(visit);
  let plugged = true;
  const state_ = make('p');
  const pull = button('', () => (plugged ? give('unplug', { after_bytes: 0 }) : give('plug')), { id: 'practice-cable' });
  const element = make('section', { class: 'card practice', 'aria-labelledby': 'cable-title', hidden: true },
    make('h2', { id: 'cable-title' }, 'Practice: the cable'), state_, make('div', { class: 'row' }, pull), trouble);

  function update(state) {
    show(element, state.practice && state.logger);
    if (!state.practice) return;
    plugged = state.practice.plugged;
    say(state_, plugged ? 'The USB cable is in. Pull it while the record is fetched, and see what happens.' : 'The USB cable is out.');
    say(pull, plugged ? 'Pull the cable' : 'Plug the cable in');
  }
  return { element, update };
}

/** Days that pass while nobody is there. */
export function daysPanel(visit) {
  const { trouble, give } = orders(visit);
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
    give('days', { days: typed });
  }

  function update(state) {
    show(element, state.practice && state.logger?.armed);
    if (!state.practice) return;
    const job = state.job?.what === 'practice' ? state.job : null;
    const going = job?.state === 'going';
    say(now, `At the site it is ${moment(state.practice.now)}; ${fixed(state.practice.days, 0)} days have passed.`);
    show(bar, going);
    if (job?.total) {
      bar.max = job.total;
      bar.value = job.done;
    } else {
      bar.removeAttribute('value');
    }
    show(form, !going);
    if (job?.state === 'failed') trouble.tell(new Error(job.says));
  }
  return { element, update };
}
