// The elements of the viewer and what leads into it.

const make = (name, attributes = {}, text = '') => {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.textContent = text;
  return element;
};

const tools = make('div', { class: 'viewer-tools', role: 'toolbar', 'aria-label': words.tools });
const button = (sign, name, act) => {
  const element = make('button', { type: 'button', title: name, 'aria-label': name }, sign);
  element.addEventListener('click', act);
  tools.append(element);
};
const choice = make('select', { 'aria-label': words.jump });
choice.append(make('option', { value: '' }, words.jump));
record.findings.forEach((finding, n) => choice.append(make('option', { value: n }, finding.title)));
choice.addEventListener('change', () => {
  if (choice.value !== '') lookAt(...record.findings[choice.value].told);
});
if (record.findings.length) tools.append(choice);
button('←', words.left, () => pan(-0.5));
button('→', words.right, () => pan(0.5));
button('+', words.closer, () => zoom(0.5, view.cursor));
button('−', words.wider, () => zoom(2, view.cursor));
button(words.whole, words.whole, () => show(0, record.length));

const plot = make('div', {
  class: 'viewer-plot',
  tabindex: '0',
  role: 'application',
  'aria-label': words.plot,
  'aria-describedby': 'viewer-help viewer-range',
});
const canvas = make('canvas', { 'aria-hidden': 'true' });
plot.append(canvas);
const range = make('p', { id: 'viewer-range', class: 'viewer-range', 'aria-live': 'polite' });
const readout = make('table', { class: 'viewer-readout' });
const scroller = make('div', { class: 'scroller' });
scroller.append(readout);
const help = make('p', { id: 'viewer-help', class: 'aside' }, words.help);
viewer.append(tools, range, plot, scroller, help);
viewer.hidden = false;
document.querySelectorAll('.viewer-link').forEach((link) => { link.hidden = false; });

// Every picture of a stretch of time leads into the viewer, and back.
document.querySelectorAll('figure[data-from]').forEach((figure) => {
  const [from, to] = [figure.dataset.from - record.from, figure.dataset.to - record.from];
  const open = make('button', { type: 'button', class: 'closer' }, words.open);
  open.addEventListener('click', () => {
    view.cursor = (from + to) / 2;
    show(from, to);
    back.href = `#${figure.id}`;
    back.hidden = false;
    viewer.scrollIntoView();
    plot.focus({ preventScroll: true });
  });
  figure.append(open);
});
const back = make('a', { hidden: '', href: '#viewer' }, words.back);
tools.append(back);

function lookAt(from, to) {
  const around = Math.max((to - from) * 0.4, 5 * SECOND);
  view.cursor = (from + to) / 2;
  show(from - around, to + around);
}
