// Names and what is known under them, as a list of terms.

import { keep, make, say } from './dom.js';

export function facts() {
  const element = make('dl', { class: 'facts' });
  /** `rows`: name and words; rows without words are left out. */
  function update(rows) {
    const known = rows.filter(([, words]) => words !== null && words !== undefined && words !== '' && words !== false);
    keep(element, known, ([name]) => name, ([name, words], old) => {
      const row = old ?? make('div', {}, make('dt', {}, name), make('dd'));
      say(row.lastChild, String(words));
      return row;
    });
  }
  return { element, update };
}
