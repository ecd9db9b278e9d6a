// Model of the ring oscillator as a source of random bits: a register at 1Ch whose lowest bit is
// noise. The emulator has none.

import { BasePeripheral } from 'rp2040js';

const BASE = 0x4006_0000;
const STATUS = 0x18;
const RANDOM_BIT = 0x1c;
const STABLE = 1 << 31;

class Oscillator extends BasePeripheral {
  constructor(mcu, stuck) {
    super(mcu, 'ROSC');
    this.stuck = stuck;
    this.state = (Date.now() | 1) >>> 0;
  }

  readUint32(offset) {
    if (offset === STATUS) return STABLE;
    if (offset !== RANDOM_BIT || this.stuck) return 0;
    // xorshift (Marsaglia 2003)
    this.state ^= this.state << 13;
    this.state ^= this.state >>> 17;
    this.state ^= this.state << 5;
    return (this.state >>> 7) & 1;
  }

  writeUint32() {}
}

export const addOscillator = (mcu, stuck) => {
  mcu.peripherals[BASE >>> 12] = new Oscillator(mcu, stuck);
};
