// The plan's questions as a form; the program makes the site file of the answers.

import { button, complaint, field, make, show } from './dom.js';
import { get, order } from './server.js';
import { first, plain } from './words.js';

/** Longest label of a lamp in the logger's settings, bytes. */
const LABEL_MAX = 24;

const SECTIONS = {
  site: 'Where',
  supply: 'Supply',
  motor: 'Motor, from its nameplate',
  control: 'How the pump is controlled',
  tank: 'Pressure tank',
  transducer: 'Pressure transducer',
  pump: 'Pump',
  lamps: 'Lamps to watch, in your own words',
  fit: 'This visit',
};

/** `made(toml)` takes the finished site file. */
export function questions(made) {
  const form = make('form', { class: 'questions', noValidate: true, onsubmit: (event) => event.preventDefault() });
  const trouble = complaint();
  const rows = new Map();
  const submit = button('Make and use this site', send, { class: 'primary', type: 'submit' });
  const element = make('div', {}, form);

  get('api/plan/questions').then((list) => {
    const sections = new Map();
    for (const question of list) {
      const section = question.section ?? question.key.split('.')[0];
      if (!sections.has(section)) {
        const group = make('fieldset', { class: 'group' }, make('legend', {}, SECTIONS[section] ?? first(plain(section))));
        sections.set(section, group);
        form.append(group);
      }
      const input = entry(question);
      const asks = question.unit ? `${question.ask}, ${question.unit}` : question.ask;
      const row = field(asks + (question.needed ? ' (needed)' : ''), input);
      row.question = question;
      rows.set(question.key, row);
      sections.get(section).append(row.whole);
      input.addEventListener('change', concern);
    }
    form.append(trouble, submit);
    concern();
  }).catch((error) => {
    form.append(trouble);
    trouble.tell(error);
  });

  /** Shows the questions that the answers so far call for. */
  function concern() {
    for (const { whole, question } of rows.values()) {
      const only = question.only_if;
      show(whole, !only || rows.get(only.key)?.input.value === only.is);
    }
  }

  async function send() {
    const answers = {};
    for (const [key, { whole, input, question }] of rows) {
      input.removeAttribute('aria-invalid');
      const value = input.value.trim();
      if (!whole.hidden && value !== '') answers[key] = comma(question, value);
    }
    try {
      const { toml } = await order('api/plan', { answers });
      trouble.tell(null);
      await made(toml);
    } catch (error) {
      trouble.tell(error);
      const row = rows.get(error.key);
      if (row) {
        row.input.setAttribute('aria-invalid', 'true');
        row.input.focus();
      } else {
        trouble.scrollIntoView({ block: 'center' });
      }
    }
  }
  return { element };
}

function entry(question) {
  if (question.choices) {
    const select = make('select', {}, ...question.choices.map((choice) => make('option', { value: choice }, choice)));
    if (question.default) select.value = question.default;
    return select;
  }
  const input = make('input', { type: 'text', value: question.default ?? '', autocomplete: 'off' });
  if (question.unit) input.inputMode = 'decimal';
  // The logger keeps so much of a label.
  if (question.section === 'lamps') input.maxLength = LABEL_MAX;
  return input;
}

/** A decimal comma, as many write it, is a point in the site file. */
function comma(question, value) {
  return question.unit && /^[\d\s.,-]+$/.test(value) ? value.replace(',', '.') : value;
}
