// Model of the battery-backed clock: address 68h, BCD registers 00h to 06h, status 0Fh.

const ADDRESS = 0x68;
const bcd = (value) => (Math.floor(value / 10) << 4) | value % 10;
const plain = (byte) => (byte >> 4) * 10 + (byte & 15);

export class ClockChip {
  // Shows `unixMs` now; null: its battery was empty. The processor's crystal, by which the emulator
  // counts, runs `ppm` too fast against this clock.
  constructor(i2c, clock, unixMs, ppm = 0) {
    this.rate = 1 / (1 + ppm / 1e6);
    this.clock = clock;
    this.stopped = unixMs === null;
    // ms since 1970 at the emulator's time 0.
    this.baseMs = unixMs ?? Date.UTC(2000, 0, 1);
    this.baseMs -= this.elapsedMs;
    this.onSet = () => {};
    let at = null;
    let reading = false;
    let written = {};
    let selected = false;
    i2c.onConnect = (address, mode) => {
      selected = address === ADDRESS;
      reading = mode === 1;
      if (!reading) at = null;
      i2c.completeConnect(selected);
    };
    i2c.onWriteByte = (value) => {
      if (at === null) at = value;
      else written[at++] = value;
      i2c.completeWrite(true);
    };
    i2c.onReadByte = () => i2c.completeRead(this.register(at++));
    i2c.onStop = () => {
      if (0 in written) {
        const [s, min, h, , d, mon, y] = [0, 1, 2, 3, 4, 5, 6].map((n) => plain(written[n]));
        const set = Date.UTC(2000 + y, mon - 1, d, h, min, s);
        this.baseMs = set - this.elapsedMs;
        this.onSet(set);
      }
      if (0x0f in written && !(written[0x0f] & 0x80)) this.stopped = false;
      written = {};
      i2c.completeStop();
    };
  }

  get elapsedMs() {
    return (this.clock.nanos / 1e6) * this.rate;
  }

  get unixMs() {
    return this.baseMs + this.elapsedMs;
  }

  register(n) {
    const now = new Date(this.unixMs);
    switch (n) {
      case 0: return bcd(now.getUTCSeconds());
      case 1: return bcd(now.getUTCMinutes());
      case 2: return bcd(now.getUTCHours());
      case 3: return now.getUTCDay() + 1;
      case 4: return bcd(now.getUTCDate());
      case 5: return bcd(now.getUTCMonth() + 1);
      case 6: return bcd(now.getUTCFullYear() % 100);
      case 0x0f: return this.stopped ? 0x80 : 0;
      default: return 0;
    }
  }
}
