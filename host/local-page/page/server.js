// The program behind the page: orders, questions, and the state it publishes, asked for in turn.

/** No answer for this long: the program is gone or stuck, ms. */
const PATIENCE_MS = 4000;
/** Between two requests for the state: while readings or a job are looked at, and else, ms. */
const CLOSE_MS = 250;
const CALM_MS = 1000;

/** An answer that is no success, in the program's own words. */
export class Refused extends Error {
  constructor(words, key = null) {
    super(words);
    this.key = key;
  }
}

async function asked(address, options = {}, patience = 60_000) {
  let answer;
  try {
    answer = await fetch(address, { ...options, cache: 'no-store', signal: AbortSignal.timeout(patience) });
  } catch {
    throw new Refused('The program does not answer. Is pumpwitness still running on this computer?');
  }
  const body = await answer.json().catch(() => null);
  if (!answer.ok) {
    throw new Refused(body?.error ?? `The program refused this (${answer.status}).`, body?.key ?? null);
  }
  return body;
}

export const get = (address) => asked(address);

export const order = (address, body = {}) => asked(address, {
  method: 'POST',
  headers: { 'content-type': 'application/json' },
  body: JSON.stringify(body),
});

/** Asks for the state again and again, one request at a time, and hands each answer on, or the
 * failure. Rests while the page is not looked at. */
export class Watch {
  constructor(hear) {
    this.hear = hear;
    this.close = false;
    this.timer = 0;
    this.asking = false;
    document.addEventListener('visibilitychange', () => this.soon());
  }

  /** Asks at once, unless an answer is awaited already. */
  soon() {
    clearTimeout(this.timer);
    if (!this.asking) this.round();
  }

  async round() {
    if (document.hidden) return;
    this.asking = true;
    const began = performance.now();
    let state = null;
    try {
      state = await asked('api/state', {}, PATIENCE_MS);
    } catch {
      // Told by the missing state.
    }
    this.asking = false;
    const every = this.close ? CLOSE_MS : CALM_MS;
    this.timer = setTimeout(() => this.round(), Math.max(20, every - (performance.now() - began)));
    this.hear(state, performance.now());
  }
}
