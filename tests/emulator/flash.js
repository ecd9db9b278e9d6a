// Model of a 25-series serial NOR flash of 4 to 32 MiB: programming only clears bits, erasing sets whole
// sectors, both take time during which nothing but the status can be read. The array is kept in a
// file; a kill in the middle of an operation leaves it torn.

import fs from 'node:fs';

const SECTOR = 4096;
const PAGE = 256;
// Usual times of the family (from memory): programming 0.7 ms, at most 3; erasing 45 ms, at most 400.
const PROGRAM_NS = 700_000;
const ERASE_NS = 45_000_000;

// Opcodes with three-byte addresses, and those of large chips with four.
const READ = [0x03, 0x13];
const PROGRAM = [0x02, 0x12];
const ERASE = [0x20, 0x21];
const TABLE_AT = 0x30;

// The chip's description of itself (JEDEC JESD216, from memory): one basic table, of which the first
// two words are filled in: 4 KiB erasable by 20h, and the density in bits less one.
const description = (capacity) => {
  const bytes = Buffer.alloc(256, 0xff);
  bytes.write('SFDP');
  bytes.set([6, 1, 0, 0xff, 0x00, 6, 1, 16, TABLE_AT, 0, 0, 0xff], 4);
  bytes.writeUInt32LE(0xfff120e5, TABLE_AT);
  bytes.writeUInt32LE(capacity * 8 - 1, TABLE_AT + 4);
  return bytes;
};

export class Flash {
  constructor(path, clock, uniqueId, capacityLog2 = 24, describes = true) {
    this.capacityLog2 = capacityLog2;
    this.capacity = 2 ** capacityLog2;
    this.description = describes ? description(this.capacity) : null;
    this.clock = clock;
    this.uniqueId = uniqueId;
    const exists = fs.existsSync(path);
    this.file = fs.openSync(path, exists ? 'r+' : 'w+');
    this.array = Buffer.alloc(this.capacity, 0xff);
    if (exists) fs.readSync(this.file, this.array, 0, this.capacity, 0);
    else fs.writeSync(this.file, this.array, 0, this.capacity, 0);
    this.selected = false;
    this.command = [];
    this.writeEnabled = false;
    this.operation = null;
    this.counts = { programs: 0, erases: 0, bytes: 0, reads: 0, highest: 0 };
    // Things a real chip would not forgive.
    this.violations = [];
    // Programs and erases left until the supply is cut in the middle of one.
    this.cutAfter = null;
    this.cutShare = 0.5;
    // Which operations count for it: 'program', 'erase' or any.
    this.cutKind = null;
    // When the array was read first.
    this.firstReadNs = null;
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
    if (opcode === 0x9f) return [0xff, 0x00, 0x40, this.capacityLog2][n] ?? 0xff;
    if (opcode === 0x4b) return n < 5 ? 0xff : this.uniqueId[(n - 5) % 8];
    if (opcode === 0x5a && n > 4 && this.description) {
      return this.description[((command[2] << 8) + command[3] + n - 5) & 0xff];
    }
    const behind = this.address(READ);
    if (behind && n >= behind.bytes + 1) {
      this.readAt ??= behind.at;
      this.firstReadNs ??= this.clock.nanos;
      this.counts.reads++;
      const value = this.array[this.readAt];
      this.counts.highest = Math.max(this.counts.highest, this.readAt);
      this.readAt = (this.readAt + 1) % this.capacity;
      return value;
    }
    return 0xff;
  }

  // Address of the command under way, if it is one of these two, and how many bytes it takes.
  address(opcodes) {
    const { command } = this;
    const form = opcodes.indexOf(command[0]);
    if (form < 0) return null;
    const bytes = 3 + form;
    let at = 0;
    for (let n = 1; n <= bytes; n++) at = at * 256 + (command[n] ?? 0);
    if (form === 0 && this.capacityLog2 > 24) this.violations.push('three-byte address');
    return { at: at % this.capacity, bytes };
  }

  finish() {
    if (this.busy) return;
    const [opcode] = this.command;
    if (opcode === 0x06) this.writeEnabled = true;
    const program = this.address(PROGRAM);
    const erase = this.address(ERASE);
    if (!program && !erase) return;
    const { at, bytes } = program ?? erase;
    if (!this.writeEnabled) {
      this.violations.push(`opcode ${opcode.toString(16)} without write enable`);
      return;
    }
    this.writeEnabled = false;
    if (program) {
      const data = this.command.slice(1 + bytes);
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
    const kind = data.length === SECTOR ? 'erase' : 'program';
    const counts = this.cutKind === null || this.cutKind === kind;
    if (this.cutAfter !== null && counts && --this.cutAfter < 0) this.onCut(takes * this.cutShare);
  }
}
