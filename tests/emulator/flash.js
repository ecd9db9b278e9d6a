// Model of a 25-series serial NOR flash of 16 MiB: programming only clears bits, erasing sets whole
// sectors, both take time during which nothing but the status can be read. The array is kept in a
// file; a kill in the middle of an operation leaves it torn.

import fs from 'node:fs';

export const CAPACITY_LOG2 = 24;
const CAPACITY = 1 << CAPACITY_LOG2;
const SECTOR = 4096;
const PAGE = 256;
// Usual times of the family (from memory): programming 0.7 ms, at most 3; erasing 45 ms, at most 400.
const PROGRAM_NS = 700_000;
const ERASE_NS = 45_000_000;

export class Flash {
  constructor(path, clock, uniqueId) {
    this.clock = clock;
    this.uniqueId = uniqueId;
    const exists = fs.existsSync(path);
    this.file = fs.openSync(path, exists ? 'r+' : 'w+');
    this.array = Buffer.alloc(CAPACITY, 0xff);
    if (exists) fs.readSync(this.file, this.array, 0, CAPACITY, 0);
    else fs.writeSync(this.file, this.array, 0, CAPACITY, 0);
    this.selected = false;
    this.command = [];
    this.writeEnabled = false;
    this.operation = null;
    this.counts = { programs: 0, erases: 0, bytes: 0, reads: 0 };
    // Things a real chip would not forgive.
    this.violations = [];
    // Programs and erases left until the supply is cut in the middle of one.
    this.cutAfter = null;
    this.onCut = () => {};
  }

  get busy() {
    if (this.operation && this.clock.nanos >= this.operation.ends) {
      this.apply(this.operation, 1);
      this.operation = null;
    }
    return this.operation !== null;
  }

  // Applies an operation up to a share of it; less than 1 leaves it torn.
  apply({ at, data }, share) {
    const bytes = Math.floor(data.length * share);
    for (let n = 0; n < bytes; n++) this.array[at + n] = data[n];
    if (share < 1 && bytes < data.length) {
      // The byte under way: some of its bits have moved.
      this.array[at + bytes] = (this.array[at + bytes] & 0x55) | (data[bytes] & 0xaa);
    }
    fs.writeSync(this.file, this.array, at, data.length, at);
  }

  // Cuts the supply now.
  cut() {
    if (this.busy) {
      const { ends, takes } = this.operation;
      this.apply(this.operation, Math.max(0, 1 - (ends - this.clock.nanos) / takes));
      this.operation = null;
    }
    fs.closeSync(this.file);
  }

  select(low) {
    if (low && !this.selected) this.command = [];
    if (!low && this.selected) this.finish();
    this.selected = low;
  }

  transfer(byte) {
    if (!this.selected) return 0xff;
    const { command } = this;
    const n = command.length;
    const opcode = n ? command[0] : byte;
    if (n < 4 + PAGE * 2) command.push(byte);
    if (opcode === 0x05) return this.busy ? 1 : this.writeEnabled ? 2 : 0;
    if (n === 0) {
      if (this.busy) this.violations.push(`command ${opcode.toString(16)} while busy`);
      this.readAt = undefined;
      return 0xff;
    }
    if (opcode === 0x9f) return [0xff, 0x00, 0x40, CAPACITY_LOG2][n] ?? 0xff;
    if (opcode === 0x4b) return n < 5 ? 0xff : this.uniqueId[(n - 5) % 8];
    if (opcode === 0x03 && n > 3) {
      this.readAt ??= (command[1] << 16) | (command[2] << 8) | command[3];
      this.counts.reads++;
      const value = this.array[this.readAt];
      this.readAt = (this.readAt + 1) % CAPACITY;
      return value;
    }
    return 0xff;
  }

  finish() {
    const [opcode, a, b, c] = this.command;
    const at = (a << 16) | (b << 8) | c;
    if (this.busy) return;
    if (opcode === 0x06) this.writeEnabled = true;
    if (opcode !== 0x02 && opcode !== 0x20) return;
    if (!this.writeEnabled) {
      this.violations.push(`opcode ${opcode.toString(16)} without write enable`);
      return;
    }
    this.writeEnabled = false;
    if (opcode === 0x02) {
      const data = this.command.slice(4);
      if ((at % PAGE) + data.length > PAGE) this.violations.push(`program past a page at ${at}`);
      const over = data.findIndex((byte, n) => byte & ~this.array[at + n]);
      if (over >= 0) this.violations.push(`program of cleared bits at ${at + over}`);
      this.counts.programs++;
      this.counts.bytes += data.length;
      this.begin(at, data.map((byte, n) => byte & this.array[at + n]), PROGRAM_NS);
    } else {
      this.counts.erases++;
      this.begin(at - (at % SECTOR), new Array(SECTOR).fill(0xff), ERASE_NS);
    }
  }

  begin(at, data, takes) {
    this.operation = { at, data, takes, ends: this.clock.nanos + takes };
    if (this.cutAfter !== null && --this.cutAfter < 0) this.onCut(takes / 2);
  }
}
