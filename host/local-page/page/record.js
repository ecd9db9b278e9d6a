// One recording: what was found, beside its days at a glance; report and bundle.

import { button, complaint, make, say, show, speak } from './dom.js';
import { closer } from './closer.js';
import { facts } from './facts.js';
import { get, order } from './server.js';
import { count, first, moment, plain } from './words.js';

export const title = 'Record';

/** Most height of the frame with the record, px. */
const HIGHEST = 1700;
const SEVERITY = { fault: 'Fault', watch: 'To watch', info: 'For information' };

export function build(visit, id) {
  const trouble = complaint();
  const name = make('h1', { tabIndex: -1 }, 'Record');
  const span = make('p', { class: 'details' });
  const headline = make('p', { class: 'headline' });
  const findings = make('ol', { class: 'findings' });
  const reasons = make('div');
  const custody = facts();
  const place = encodeURIComponent(id);
  const view = make('iframe', { title: 'The record: days at a glance and time axis', src: `records/${place}/view#days` });
  // As high as the days are, so that a week needs no scrolling inside.
  view.addEventListener('load', () => {
    const days = view.contentDocument?.getElementById('days');
    if (days) view.style.height = `${Math.min(days.offsetHeight + 32, HIGHEST)}px`;
  });
  const close = closer(id);

  // Report and bundle.
  const making = make('p', { role: 'status' });
  const ready = make('p', { class: 'ready' });
  const isPrivate = make('input', { type: 'checkbox', id: 'private' });
  let awaited = null;
  let latest = 0;
  const request = (what, address, body) => async () => {
    // A state asked for before the order may come after it, with the job of before.
    const after = latest;
    try {
      await order(`api/records/${place}/${address}`, body);
      awaited = { what, after };
      trouble.tell(null);
      ready.replaceChildren();
    } catch (error) {
      trouble.tell(error);
    }
    visit.ask();
  };
  const orders = [
    button('Report (PDF)', request('report', 'report', { format: 'pdf' }), { class: 'primary', id: 'report-pdf' }),
    button('Report (web page)', request('report', 'report', { format: 'html' }), { id: 'report-html' }),
    button('Bundle (zip with the raw record)', (pressed) => request('bundle', 'bundle', { private: isPrivate.checked })(pressed), { id: 'bundle' }),
  ];
  const papers = make('section', { class: 'card', 'aria-labelledby': 'papers-title' },
    make('h2', { id: 'papers-title' }, 'Report and bundle'),
    make('div', { class: 'row' }, ...orders),
    make('label', { class: 'tick', htmlFor: 'private' }, isPrivate,
      make('span', {}, 'Bundle without customer and address. The raw record is left out then: it is sealed whole, nothing can be taken from it.')),
    making, ready, trouble);

  const element = make('div', { class: 'record' }, name, span, headline, papers,
    make('div', { class: 'beside' },
      make('div', {}, make('h2', {}, 'What was found'), findings, reasons, make('h2', {}, 'Where this record comes from'), custody.element),
      make('div', {}, close.element,
        make('h2', {}, 'Days at a glance'),
        make('p', { class: 'row' },
          make('a', { class: 'button', href: `records/${place}/view`, target: '_blank', rel: 'noopener' }, 'Open in a page of its own')),
        view)));

  get(`api/records/${place}`).then((record) => {
    say(name, record.site || 'Site without a name');
    say(span, `${moment(record.start)} to ${moment(record.end)} by this computer's time zone · logger ${record.device}`);
    say(headline, record.headline || record.says);
    findings.append(...record.findings.map((finding) => found(finding, close)));
    if (!record.findings.length) findings.replaceWith(make('p', {}, 'Nothing out of the ordinary.'));
    reasons.append(...verdicts(record));
    custody.update((record.custody ?? []).map(({ name: what, says }) => [what, says]));
    close.limits(record.start, record.end);
  }).catch(trouble.tell);

  function update(state) {
    const job = state.job;
    latest = job?.number ?? 0;
    const ours = job && (job.what === 'report' || job.what === 'bundle') ? job : null;
    const going = ours?.state === 'going';
    for (const one of orders) one.disabled = Boolean(job?.state === 'going');
    say(making, going ? `Making the ${ours.what} …` : '');
    if (!awaited || !ours || ours.what !== awaited.what || ours.number <= awaited.after || going) return;
    awaited = null;
    if (ours.state === 'failed') {
      trouble.tell(new Error(ours.says));
      return;
    }
    const { file, href } = ours.result ?? {};
    if (!href) return;
    const link = make('a', { class: 'button', href, download: file }, `Save ${file}`);
    ready.replaceChildren(link);
    speak(`${file} is ready`);
    // One press is enough where the browser allows it; the link stays for where it does not.
    link.click();
  }
  return { element, update, close: true };
}

function found(finding, close) {
  const when = finding.count === 1 ? moment(finding.start, true)
    : `${count(finding.count, 'time')}, ${moment(finding.start)} to ${moment(finding.end)}`;
  return make('li', { class: `finding ${finding.severity}` },
    make('p', { class: 'check-title' }, make('strong', {}, first(plain(finding.kind))), ' ',
      make('span', { class: 'state' }, SEVERITY[finding.severity] ?? '')),
    make('p', {}, finding.text),
    make('p', { class: 'details' }, when),
    button('Look closer', () => close.look(finding.start, finding.end), { 'aria-label': `Look closer: ${plain(finding.kind)}` }));
}

function verdicts(record) {
  const parts = [];
  for (const verdict of record.verdict ?? []) {
    if (!verdict.next_checks?.length) continue;
    parts.push(make('h3', {}, `To settle it: ${plain(verdict.cause)}`),
      make('ul', {}, ...verdict.next_checks.map((check) => make('li', {}, check))));
  }
  const out = record.ruled_out ?? [];
  if (out.length) {
    parts.push(make('details', {}, make('summary', {}, `Ruled out, or not spoken about (${out.length})`),
      make('ul', {}, ...out.map(({ cause, because }) => make('li', {}, make('strong', {}, `${first(plain(cause))}: `), because)))));
  }
  return parts;
}
