// Fetching the record: progress, a pulled cable, the verified end.

import { button, complaint, field, make, say, show, speak } from './dom.js';
import { cablePanel } from './practice.js';
import { order } from './server.js';
import { sign } from './signs.js';
import { first, size } from './words.js';

export const title = 'Fetch';

export function build(visit) {
  const trouble = complaint();
  const mark = sign('none');
  const heading = make('h2');
  const words = make('p');
  const bar = make('progress', { 'aria-label': 'Fetched so far' });
  const figures = make('p', { class: 'figures' });
  const by = field('Your name (stands in the record as who fetched it; may be left out)', make('input', { type: 'text', autocomplete: 'off' }));
  const release = make('input', { type: 'checkbox', id: 'release' });
  const choices = make('div', {}, by.whole,
    make('label', { class: 'tick', htmlFor: 'release' }, release,
      make('span', {}, 'Once the file here is verified, let the logger use its memory again. Until then nothing is erased.')));
  const tell = (answer) => answer.then(() => trouble.tell(null), trouble.tell).then(() => visit.ask());
  const begin = button('Fetch the record', () => tell(order('api/fetch', { release: release.checked, by: by.input.value.trim() })), { class: 'primary' });
  const stop = button('Stop', () => tell(order('api/stop')), { class: 'quiet' });
  const see = make('a', { class: 'button primary' }, 'See the findings');
  const choose = make('a', { class: 'button primary', href: '#loggers' }, 'Choose the logger');
  const cable = cablePanel(visit);
  const element = make('div', {},
    make('h1', { tabIndex: -1 }, 'Fetch the record'),
    make('section', { class: 'card using', 'aria-label': 'Fetching' },
      make('div', { class: 'headed' }, mark, heading), words, bar, figures, choices,
      make('div', { class: 'row' }, see, begin, choose, stop), trouble), cable.element);
  let spoken = '';

  function update(state) {
    const job = state.job?.what === 'fetch' ? state.job : null;
    const logger = state.logger;
    const going = job?.state === 'going';
    const done = job?.state === 'done';
    const out = going && logger?.link === 'lost';
    mark.set(out ? 'lost' : done ? 'good' : job?.state === 'failed' ? 'bad' : going ? 'waiting' : logger ? logger.link : 'none');
    say(heading, out ? 'The cable is out' : going ? 'Fetching …' : done ? 'Fetched and verified'
      : job?.state === 'failed' ? 'Not fetched' : logger ? 'Ready to fetch' : 'No logger is in use');
    say(words, out
      ? 'What was fetched is kept. Plug the cable in again: it goes on where it stopped.'
      : job ? first(job.says) : logger
        ? 'The whole record is copied to this computer, verified against its own checks, and only then counted as fetched. You may pull the cable at any moment: nothing is lost.'
        : 'Plug in the logger and choose it first.');
    show(bar, going);
    show(figures, going && job.total);
    if (going && job.total) {
      bar.max = job.total;
      bar.value = job.done;
      const amount = (number) => (job.unit === 'bytes' ? size(number) : `${number} ${job.unit}`);
      say(figures, `${amount(job.done)} of ${amount(job.total)} (${Math.floor((100 * job.done) / job.total)} %)`);
    } else if (going) {
      bar.removeAttribute('value');
    }
    // Said at each quarter and at each change, not at each block.
    const quarter = going && job.total ? `${25 * Math.floor((4 * job.done) / job.total)} % fetched` : '';
    const now = `${heading.textContent}. ${out ? words.textContent : quarter}`;
    if (job && now !== spoken) speak(now);
    spoken = now;
    show(choices, !going && logger);
    show(begin, !going && logger);
    begin.className = done ? '' : 'primary';
    say(begin, done ? 'Fetch again' : job?.state === 'failed' ? 'Go on fetching' : 'Fetch the record');
    begin.disabled = logger?.link !== 'there';
    show(choose, !logger && !going && !done);
    show(stop, going);
    cable.update(state);
    show(see, done && job.result?.id);
    if (done && job.result?.id) see.href = `#record/${encodeURIComponent(job.result.id)}`;
  }
  return { element, update, close: true };
}
