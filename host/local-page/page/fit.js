// Fitting the sensors: what they read now, and whether each is right.

import { button, complaint, field, keep, make, say, show, speak } from './dom.js';
import { practicePanel } from './practice.js';
import { STALE_MS } from './readings.js';
import { order } from './server.js';
import { sign } from './signs.js';
import { tile } from './traces.js';
import { fixed, pressureUnit } from './words.js';

export const title = 'Fit';

const STATE_WORDS = { good: 'Good', bad: 'Wrong', waiting: 'Not seen yet' };
const LAMP_WORDS = { dark: 'dark', lit: 'lit', flashing: 'flashing' };

export function build(visit) {
  const readings = visit.readings;
  const trouble = complaint();
  const caution = make('aside', { class: 'caution', 'aria-label': 'Caution' },
    make('p', {}, make('strong', {}, 'Live parts. '),
      'Only a qualified person opens the panel and fits the sensors: isolate, lock off, prove dead '
      + 'with a tester. 0 V on this page proves nothing dead. Relieve the pressure before you open '
      + 'a fitting.'));

  // What to do next.
  const nextSign = sign('waiting');
  const nextTitle = make('strong');
  const nextWords = make('p');
  const nextRemedy = make('p', { class: 'remedy' });
  const nextLink = make('a', { class: 'button' });
  const next = make('section', { class: 'todo', 'aria-label': 'What to do next' },
    make('div', { class: 'headed' }, nextSign, make('h2', {}, 'Next: ', nextTitle)), nextWords, nextRemedy, nextLink);

  // Live readings.
  const tiles = {
    voltage: tile({ name: 'Voltage', unit: 'V', decimals: 1, value: (r) => r.voltage_v, least_span: 10 }),
    current: tile({ name: 'Current', unit: 'A', decimals: 2, value: (r) => r.current_a, least_span: 1, from_zero: true }),
    power: tile({ name: 'Power', unit: 'W', decimals: 0, value: (r) => r.power_w, least_span: 100, from_zero: true }),
    pressure: tile({ name: 'Pressure', unit: 'bar', decimals: 2, value: (r) => r.pressure_bar, least_span: 0.5 }),
    signal: tile({ name: 'Transducer signal', unit: 'mA', decimals: 2, value: (r) => r.signal?.value, least_span: 1 }),
  };
  const old = make('p', { class: 'old', role: 'status' });
  const pump = make('p', { class: 'pump' });
  const lamps = make('ul', { class: 'lamps' });
  const live = make('section', { class: 'live', 'aria-labelledby': 'live-title' },
    make('h2', { id: 'live-title' }, 'What the sensors read now'), old, pump,
    make('div', { class: 'tiles' }, ...Object.values(tiles).map((one) => one.element)), lamps);

  // What the technician sees and hears.
  const running = make('fieldset', { class: 'said' }, make('legend', {}, 'By eye and ear, the pump'));
  const radios = [[null, 'not said'], [true, 'runs'], [false, 'stands still']].map(([value, words]) => {
    const radio = make('input', { type: 'radio', name: 'running', onchange: () => stating({ running: value }) });
    running.append(make('label', {}, radio, make('span', {}, words)));
    return [value, radio];
  });
  const gauge = field('A gauge at the transducer reads', make('input', { type: 'text', inputMode: 'decimal', autocomplete: 'off', size: 6 }));
  const gaugeUnit = make('span', {}, 'bar');
  gauge.whole.querySelector('label').append(', ', gaugeUnit);
  const gaugeForm = make('form', { class: 'gauge', noValidate: true, onsubmit: (event) => { event.preventDefault(); gaugeStated(); } },
    gauge.whole, make('button', { type: 'submit' }, 'Compare'));
  const said = make('section', { class: 'card', 'aria-labelledby': 'said-title' },
    make('h2', { id: 'said-title' }, 'What you see and hear'),
    make('p', {}, 'The checks compare the sensors with this.'), running, gaugeForm, trouble);

  let stated = { running: null, gauge_bar: null };
  let unit = pressureUnit('metric');
  async function stating(change) {
    stated = { ...stated, ...change };
    await order('api/stated', stated).then(() => trouble.tell(null), trouble.tell);
    visit.ask();
  }
  async function gaugeStated() {
    const typed = gauge.input.value.trim().replace(',', '.');
    const value = Number(typed);
    if (typed !== '' && !Number.isFinite(value)) {
      trouble.tell(new Error('Type what the gauge reads as a plain number, such as 2.5.'));
      gauge.input.focus();
      return;
    }
    // Taken back first, so that the same figure typed again is another reading of the gauge.
    if (stated.gauge_bar !== null) await stating({ gauge_bar: null });
    if (typed !== '') await stating({ gauge_bar: unit.bar(value) });
  }

  // The checks.
  const tally = make('p', { class: 'tally' });
  const list = make('ol', { class: 'checks' });
  const checks = make('section', { class: 'watched', 'aria-labelledby': 'checks-title' },
    make('h2', { id: 'checks-title' }, 'Fit checks'), tally, list);
  const before = new Map();
  const onward = make('a', { class: 'button primary', href: '#leave' }, 'Go on: leave the logger');
  const practice = practicePanel(visit);

  const element = make('div', { class: 'fit' },
    make('h1', { tabIndex: -1 }, 'Fit the sensors'), caution, next, live,
    make('div', { class: 'beside' }, said, checks, practice.element),
    make('div', { class: 'row' }, onward));

  function update(state) {
    const site = state.site;
    const metrics = pressureUnit(site?.units);
    if (metrics.unit !== unit.unit) {
      unit = metrics;
      say(gaugeUnit, unit.unit);
    }
    stated = state.stated ?? stated;
    for (const [value, radio] of radios) radio.checked = value === stated.running;
    const order_ = nextStep(state);
    nextSign.set(order_.sign);
    say(nextTitle, order_.title);
    say(nextWords, order_.words);
    say(nextRemedy, order_.remedy ?? '');
    show(nextRemedy, order_.remedy);
    show(nextLink, order_.link);
    if (order_.link) {
      nextLink.href = order_.link[0];
      say(nextLink, order_.link[1]);
    }
    next.classList.toggle('bad', order_.sign === 'bad');
    show(checks, state.checks.length > 0);
    show(onward, site && state.logger);
    update_checks(state.checks);
    practice.update(state);
    const withPressure = state.live ? state.live.pressure_bar !== null : true;
    show(gaugeForm, withPressure);
    show(tiles.pressure.element, withPressure);
    show(tiles.signal.element, state.live ? state.live.signal !== null : true);
    // Of a logger that does not answer nothing is told.
    draw(readings.latest);
  }

  function draw(reading) {
    const now = performance.now();
    const beside = (words) => (reading ? words : '');
    tiles.voltage.update(readings, now, {}, beside(reading?.frequency_hz ? `${fixed(reading.frequency_hz, 2)} Hz` : 'no frequency'));
    tiles.current.update(readings, now, {}, beside(reading?.over_range ? 'at the end of the range' : ''));
    tiles.power.update(readings, now, {}, '');
    tiles.pressure.update(readings, now, { unit: unit.unit, decimals: unit.decimals, value: (r) => (r.pressure_bar === null ? null : unit.of(r.pressure_bar)) });
    tiles.signal.update(readings, now, { unit: reading?.signal?.unit ?? 'mA' },
      beside(reading?.transducer_supply_v ? `supplied with ${fixed(reading.transducer_supply_v, 1)} V` : ''));
    say(pump, reading ? (reading.running ? 'By its current, the pump runs.' : 'By its current, the pump stands still.') : '');
    keep(lamps, reading?.lamps ?? [], (lamp) => lamp.number, (lamp, kept) => {
      const item = kept ?? make('li', {}, sign('dark'), make('span', { class: 'lamp-label' }), make('strong'));
      item.firstChild.set(lamp.state);
      say(item.children[1], lamp.label || `Lamp ${lamp.number}`);
      say(item.lastChild, LAMP_WORDS[lamp.state] ?? '');
      return item;
    });
    tick();
  }

  /** Between two states: whether what is shown is old. */
  function tick() {
    const age = readings.ageNow(performance.now());
    const stale = age > STALE_MS;
    live.classList.toggle('stale', stale);
    say(old, !stale ? '' : Number.isFinite(age)
      ? `Old readings: the last came ${fixed(age / 1000, 0) === '0' ? 'more than half a second' : `${fixed(age / 1000, 0)} s`} ago`
      : 'No readings');
    live.dataset.ageMs = Number.isFinite(age) ? Math.round(age) : '';
  }

  function update_checks(all) {
    const number = (state) => all.filter((check) => check.state === state).length;
    say(tally, `${number('good')} of ${all.length} good, ${number('bad')} wrong, ${number('waiting')} not seen yet`);
    for (const check of all) {
      const was = before.get(check.key);
      if (was && was !== check.state) {
        speak(`${check.title}: ${STATE_WORDS[check.state]}. ${check.says} ${check.remedy ?? ''}`);
      }
      before.set(check.key, check.state);
    }
    keep(list, all, (check) => check.key, (check, kept) => {
      const item = kept ?? make('li', { 'data-check': check.key }, sign('waiting'),
        make('div', {}, make('p', { class: 'check-title' }, make('strong'), ' ', make('span', { class: 'state' })),
          make('p', { class: 'says' }), make('p', { class: 'remedy' })));
      item.firstChild.set(check.state);
      item.dataset.state = check.state;
      const [head, says, remedy] = item.lastChild.children;
      say(head.firstChild, check.title);
      say(head.lastChild, STATE_WORDS[check.state]);
      say(says, check.says);
      say(remedy, check.remedy ?? '');
      show(remedy, check.remedy);
      return item;
    });
  }
  return { element, update, tick, close: true };
}

/** The one thing to do now. */
function nextStep(state) {
  if (!state.logger) {
    return { sign: 'none', title: 'a logger', words: 'No logger is in use.', link: ['#loggers', 'Choose the logger'] };
  }
  if (state.logger.link === 'lost') {
    return {
      sign: 'lost',
      title: 'the cable',
      words: 'No usable answer comes from the logger. Plug the USB cable in again; the checks go on by themselves.'
        + (state.logger.trouble ? ` What the program met: ${state.logger.trouble}.` : ''),
    };
  }
  if (!state.site) {
    return { sign: 'none', title: 'the site', words: 'Readings need no site, but the checks compare them with its nameplate.', link: ['#site', 'Give the site'] };
  }
  const wrong = state.checks.find((check) => check.state === 'bad');
  if (wrong) return { sign: 'bad', title: wrong.title, words: wrong.says, remedy: wrong.remedy };
  const open = state.checks.find((check) => check.state === 'waiting');
  if (open) return { sign: 'waiting', title: open.title, words: open.says };
  if (!state.checks.length) return { sign: 'waiting', title: 'wait', words: 'The first readings are on their way.' };
  return { sign: 'good', title: 'leave the logger', words: 'All fit checks are good.' };
}
