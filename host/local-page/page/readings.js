// The live readings of the last minute, kept for the traces whichever page is shown.

/** What the traces show, s. */
export const SPAN_S = 60;
/** Older than this a reading is stale, ms. */
export const STALE_MS = 500;
/** A pause of this length breaks a trace, s. */
export const BREAK_S = 2;

export class Readings {
  constructor() {
    /** Oldest first: moment (s of this page's clock) and the reading. */
    this.list = [];
    this.latest = null;
    this.heard = 0;
    this.age = 0;
  }

  /** Takes the live part of a state heard at `at_ms` of the page's clock. */
  take(live, at_ms) {
    if (!live) {
      this.latest = null;
      return;
    }
    this.heard = at_ms;
    this.age = live.age_ms;
    // A clock that is not set tells no time.
    const fresh = live.time === null || this.latest?.time !== live.time;
    this.latest = live;
    if (fresh) this.list.push({ at_s: (at_ms - live.age_ms) / 1000, live });
    const oldest = at_ms / 1000 - SPAN_S - BREAK_S;
    while (this.list.length && this.list[0].at_s < oldest) this.list.shift();
  }

  /** Age of the latest reading now, ms. */
  ageNow(now_ms) {
    return this.latest ? this.age + now_ms - this.heard : Infinity;
  }

  forget() {
    this.list = [];
    this.latest = null;
  }
}
