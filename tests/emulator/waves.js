// Feeds the converter with conversions made beforehand by the site model (src/stage.rs), one after
// another from the first conversion on, and switches the lamps at the conversions named there.

import fs from 'node:fs';
import path from 'node:path';

const CHANNELS = 5;
const SUPPLY = 3;
const CHUNK = 1 << 19; // conversions read at a time
// Behind its end the last second is repeated.
const SECOND = 100_000;

export class Waves {
  constructor(folder) {
    const { lamps } = JSON.parse(fs.readFileSync(path.join(folder, 'stage.json'), 'utf8'));
    this.lamps = lamps;
    this.file = fs.openSync(path.join(folder, 'conversions.bin'), 'r');
    this.total = Math.floor(fs.fstatSync(this.file).size / 2);
    this.total -= this.total % CHANNELS;
    this.bytes = Buffer.alloc(CHUNK * 2);
    this.from = -CHUNK;
    this.lit = 0;
    // When the first conversion was, s.
    this.origin = Infinity;
    this.showsLoggerSupply = false;
    this.onLamps = () => {};
    this.onFirst = () => {};
    // Conversions of another channel than the file's.
    this.outOfStep = 0;
  }

  lampsLit() {
    return this.lit;
  }

  // The n-th conversion of all, of that channel, at s; none when the model does not know it.
  conversion(n, channel, s) {
    if (n === 0) {
      this.origin = s;
      this.onFirst();
    }
    if (n % CHANNELS !== channel) this.outOfStep++;
    while (this.lamps.length && n >= this.lamps[0][0]) {
      this.lit = this.lamps.shift()[1];
      this.onLamps();
    }
    if (channel === SUPPLY && this.showsLoggerSupply) return null;
    const at = n < this.total ? n : this.total - SECOND + ((n - this.total) % SECOND);
    if (at < this.from || at >= this.from + CHUNK) {
      this.from = at - (at % CHUNK);
      fs.readSync(this.file, this.bytes, 0, CHUNK * 2, this.from * 2);
    }
    return this.bytes.readUInt16LE((at - this.from) * 2);
  }
}
