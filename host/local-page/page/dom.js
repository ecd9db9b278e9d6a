// Elements made and kept in step with data. Words go in as text only, never as markup: names of
// sites and labels of lamps come from files that anybody may have written.

/** An element. `has`: properties, or attributes where a name has a dash or is none of its
 * properties; `on…`: listeners. */
export function make(tag, has = {}, ...inside) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(has)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith('on')) element.addEventListener(name.slice(2), value);
    else if (name === 'class') element.className = value;
    else if (name in element && !name.includes('-')) element[name] = value;
    else element.setAttribute(name, value === true ? '' : value);
  }
  element.append(...inside.filter((child) => child !== null && child !== undefined));
  return element;
}

/** Changes the text only where it differs, so that nothing is read out or laid out for nothing. */
export function say(element, words) {
  const text = words ?? '';
  if (element.textContent !== text) element.textContent = text;
}

export function show(element, shown) {
  if (element.hidden === Boolean(shown)) element.hidden = !shown;
}

/** Keeps the children of `parent` in step with `items`. `keep(item, old)` returns the element of an
 * item, the old one of the same key where there is one; what has the focus keeps it. */
export function keep(parent, items, key, change) {
  parent.kept ??= new Map();
  const before = parent.kept;
  const now = new Map();
  let place = parent.firstChild;
  for (const item of items) {
    const name = String(key(item));
    const element = change(item, before.get(name));
    now.set(name, element);
    if (element === place) place = place.nextSibling;
    else parent.insertBefore(element, place);
  }
  for (const [name, element] of before) {
    if (now.get(name) !== element) element.remove();
  }
  parent.kept = now;
}

/** A button that cannot be pressed twice while its order is under way. */
export function button(words, press, has = {}) {
  const element = make('button', { type: 'button', ...has }, words);
  element.addEventListener('click', async () => {
    if (element.getAttribute('aria-disabled') === 'true') return;
    element.setAttribute('aria-disabled', 'true');
    try {
      await press(element);
    } finally {
      element.removeAttribute('aria-disabled');
    }
  });
  return element;
}

/** A field with its label; returns the whole and the input. */
export function field(words, input, hint = '') {
  const id = `field-${(field.count = (field.count ?? 0) + 1)}`;
  input.id = id;
  const whole = make('div', { class: 'field' }, make('label', { htmlFor: id }, words), input);
  if (hint) {
    const note = make('p', { class: 'hint', id: `${id}-hint` }, hint);
    input.setAttribute('aria-describedby', note.id);
    whole.append(note);
  }
  return { whole, input };
}

/** Where the answer to an order that failed is told, in place. */
export function complaint() {
  const element = make('p', { class: 'complaint', role: 'alert', hidden: true });
  element.tell = (error) => {
    const words = error ? String(error.message ?? error) : '';
    say(element, words.charAt(0).toUpperCase() + words.slice(1));
    show(element, Boolean(error));
  };
  return element;
}

/** Says something to those who listen instead of looking. */
export function speak(words) {
  document.getElementById('spoken').textContent = words;
}
