// The exact shipping image on an emulated chip, with models of everything round it.
//
// Bytes of the USB serial port go over stdin and stdout; commands come as lines on descriptor COMMANDS,
// what happens is told as JSON lines on descriptor EVENTS.
//
// Usage: node machine.js COMMANDS EVENTS IMAGE.uf2 FLASH_FILE SCENARIO [CLOCK_MS]
//
// SCENARIO is a list of events (JSON) or the folder of a stage made by the site model.
// EMULATOR_OPTIONS, JSON: variables (0: bytes of RAM below the stack), flashLog2 (24), describes (true:
// the flash describes itself), clockPpm (0: how much too fast the processor's crystal runs against the
// clock chip), oscillatorStuck (false), reason and scratch (registers of the watchdog, as a restart
// leaves them).

import fs from 'node:fs';
import { ConsoleLogger, LogLevel, Simulator, USBCDC } from 'rp2040js';
import { ClockChip } from './clock_chip.js';
import { Converter, Plant } from './converter.js';
import { Flash } from './flash.js';
import { addOscillator } from './oscillator.js';
import { Waves } from './waves.js';

const CYCLE_NS = 8; // 125 MHz
const SWI_1 = 16 + 27; // exception number of the metering executor's interrupt
const PINS = { select: 17, supplyGood: 22, led: 25, supplySwitch: 10, lamps: [2, 3, 4, 5, 6, 7, 8, 9] };

const [commandsFd, eventsFd] = process.argv.slice(2, 4).map(Number);
const [imagePath, flashPath, scenarioPath, clockMs] = process.argv.slice(4);
const options = { variables: 0, flashLog2: 24, describes: true, clockPpm: 0,
  ...JSON.parse(process.env.EMULATOR_OPTIONS ?? '{}') };
const tell = (what) => fs.writeSync(eventsFd, `${JSON.stringify(what)}\n`);

// Only for the clock and the chip in it: it is run from here.
const { clock, rp2040: mcu } = new Simulator();
mcu.logger = new ConsoleLogger(LogLevel.Error, false);
const { core } = mcu;

// The image lies in the chip's flash as the boot drive would put it there.
const uf2 = fs.readFileSync(imagePath);
for (let at = 0; at < uf2.length; at += 512) {
  const address = uf2.readUInt32LE(at + 12);
  const length = uf2.readUInt32LE(at + 16);
  mcu.flash.set(uf2.subarray(at + 32, at + 32 + length), address - 0x1000_0000);
}
const word = (offset) => new DataView(mcu.flash.buffer, mcu.flash.byteOffset).getUint32(offset, true);
core.VTOR = 0x1000_0100;
core.SP = word(0x100);
core.PC = word(0x104) & ~1;
// Paint on the RAM shows afterwards how deep the stack went.
const PAINT = 0xc5;
const stackTop = core.SP - 0x2000_0000;
mcu.sram.fill(PAINT, 0, stackTop);
const stack = () => {
  // Up from the variables' end, all is paint as far down as the stack never came.
  let end = options.variables;
  while (end < stackTop && mcu.sram[end] === PAINT) end++;
  return { stackBytes: stackTop - end, ramUnused: end - options.variables, ramBytes: stackTop };
};

addOscillator(mcu, options.oscillatorStuck);
const flash = new Flash(flashPath, clock, [0x50, 0x57, 1, 2, 3, 4, 5, 6], options.flashLog2,
  options.describes);
// A byte takes its time: completed at once, the sending DMA channel would outrun the receiving one.
let reply = 0xff;
const byteAlarm = clock.createAlarm(() => mcu.spi[0].completeTransmit(reply));
mcu.spi[0].onTransmit = (byte) => {
  reply = flash.transfer(byte);
  byteAlarm.schedule(8e9 / mcu.spi[0].clockFrequency);
};
mcu.gpio[PINS.select].addListener((state) => flash.select(state === 0));

const chip = new ClockChip(mcu.i2c[0], clock, clockMs === undefined ? null : Number(clockMs),
  options.clockPpm);
chip.onSet = (unixMs) => tell({ event: 'clock-set', unixMs, atMs: clock.nanos / 1e6 });

const plant = fs.statSync(scenarioPath).isDirectory()
  ? new Waves(scenarioPath)
  : new Plant(JSON.parse(fs.readFileSync(scenarioPath, 'utf8')));
mcu.gpio[PINS.supplySwitch].addListener((state) => {
  plant.showsLoggerSupply = state === 1;
});
const converter = new Converter(mcu, plant);
let pumped = false;
// The emulator takes an input's level when it is set, not when the input is switched on: set anew
// with the lamps.
let supplyGood = true;
const setInputs = () => {
  const lit = plant.lampsLit(clock.nanos / 1e9);
  mcu.gpio[PINS.supplyGood].setInputValue(supplyGood);
  PINS.lamps.forEach((pin, n) => mcu.gpio[pin].setInputValue(!(lit & (1 << n))));
};
const lampAlarm = clock.createAlarm(() => {
  setInputs();
  const pumps = plant.pumps?.(clock.nanos / 1e9) ?? false;
  if (pumps !== pumped) tell({ event: 'pump', runs: pumps, atMs: clock.nanos / 1e6 });
  pumped = pumps;
  lampAlarm.schedule(10_000_000);
});
lampAlarm.schedule(1_000_000);
plant.onLamps = setInputs;
// The first conversion of a stage: when it was by both clocks, and how long mounting took.
plant.onFirst = () => {
  tell({ event: 'converting', atMs: clock.nanos / 1e6, unixMs: chip.unixMs,
    mountMs: (clock.nanos - flash.firstReadNs) / 1e6 });
  if (until !== null) commands.until(until);
};

let over = false;
const end = (event, more = {}) => {
  if (over) return;
  over = true;
  tell({ event, atMs: clock.nanos / 1e6, ...more });
};
const watchdog = mcu.peripherals[0x40058];
watchdog.reason = options.reason ?? 0;
watchdog.scratchData.set(options.scratch ?? []);
watchdog.onWatchdogTrigger = () => {
  if (over) return;
  flash.cut();
  end('watchdog', { reason: watchdog.reason, scratch: [...watchdog.scratchData] });
};
flash.onCut = (ns) => clock.createAlarm(() => {
  flash.cut();
  end('cut');
}).schedule(ns);

// USB: out packets are held back until there are bytes, as a host that has nothing to say does.
const cdc = new USBCDC(mcu.usbCtrl);
mcu.usbCtrl.writeDelayMicroseconds = 52; // 64 bytes at the 1.2 MB/s a full-speed bulk pipe carries
let fromHost = Buffer.alloc(0);
let wanted = 0;
// The emulator takes a buffer from the device as soon as the device offers it; the chip only when a
// packet has come. Device code that looks in between would find a packet of rubbish.
const AVAILABLE = 1 << 10;
const offer = (offered) => {
  const at = 0x84 + cdc.outEndpoint * 8;
  const control = mcu.usbDPRAMView.getUint32(at, true);
  mcu.usbDPRAMView.setUint32(at, offered ? control | AVAILABLE : control & ~AVAILABLE, true);
};
const feed = () => {
  if (!wanted || !fromHost.length) return;
  const packet = fromHost.subarray(0, wanted);
  fromHost = fromHost.subarray(packet.length);
  wanted = 0;
  offer(false);
  mcu.usbCtrl.finishRead(cdc.outEndpoint, new Uint8Array(packet));
};
mcu.usbCtrl.onEndpointRead = (endpoint, size) => {
  if (endpoint !== cdc.outEndpoint) return;
  wanted = size;
  offer(true);
};
// What has gone to the host, and the pauses between packets: those in which the host said something
// are its own, or the time it takes to answer.
const line = { bytes: 0, idleMs: 0, longestMs: 0, hostMs: 0, lastNs: 0, asked: false };
const PACKET_NS = 60_000;
cdc.onDeviceConnected = () => tell({ event: 'enumerated', atMs: clock.nanos / 1e6 });
cdc.onSerialData = (bytes) => {
  if (!bytes.length) return;
  const pauseMs = Math.max(0, clock.nanos - line.lastNs - PACKET_NS) / 1e6;
  if (line.asked || !line.bytes) line.hostMs += pauseMs;
  else {
    line.idleMs += pauseMs;
    line.longestMs = Math.max(line.longestMs, pauseMs);
  }
  line.lastNs = clock.nanos;
  line.asked = false;
  line.bytes += bytes.length;
  if (plugged) process.stdout.write(Buffer.from(bytes));
  if (line.bytes < unplugAt) return;
  unplugAt = Infinity;
  plugged = false;
  fromHost = Buffer.alloc(0);
  tell({ event: 'unplugged', atMs: clock.nanos / 1e6 });
};
let plugged = true;
let unplugAt = Infinity;
process.stdin.on('data', (bytes) => {
  if (!plugged) return;
  fromHost = Buffer.concat([fromHost, bytes]);
  line.asked = true;
});
process.stdin.on('end', () => process.exit(0));

let stopAt = Infinity;
let stopName = '';
let until = null;
const cycles = { all: 0, busy: 0, metering: 0 };
// Since when the processor has not rested, and the longest it went without, ns.
let restedAt = 0;
let longest = 0;
let conversionsThen = 0;
const zero = () => {
  cycles.all = cycles.busy = cycles.metering = 0;
  longest = 0;
  Object.assign(line, { bytes: 0, idleMs: 0, longestMs: 0, hostMs: 0, lastNs: clock.nanos });
  conversionsThen = converter.conversions;
};
const commands = {
  // Starts the scenario's time.
  begin() {
    plant.origin = clock.nanos / 1e9 + 0.1;
    tell({ event: 'begun', originMs: plant.origin * 1000 });
    zero();
  },
  // Tells when the scenario's second has come.
  until(second) {
    until = plant.origin === Infinity ? second : null;
    stopAt = (plant.origin + Number(second)) * 1e9;
    stopName = second;
  },
  figures() {
    const frames = (converter.conversions - conversionsThen) / 20;
    tell({ event: 'figures', ...cycles, frames, flash: flash.counts, violations: flash.violations,
      line, overruns: converter.overruns, outOfStep: plant.outOfStep ?? 0,
      conversions: converter.conversions, longestMs: longest / 1e6, ...stack(),
      firstConversionMs: converter.firstNanos / 1e6, atMs: clock.nanos / 1e6 });
  },
  zero,
  // Cuts the supply in the n-th program or erase (or either) from now, when a share of it is done.
  cut(operations, share = 0.5, kind = null) {
    flash.cutAfter = Number(operations);
    flash.cutShare = Number(share);
    flash.cutKind = kind;
  },
  // The cable is pulled when so many bytes have gone to the host; what is under way is lost.
  unplug(bytes) {
    unplugAt = line.bytes + Number(bytes);
  },
  // The cable is put in again: the host resets the bus and asks who is there.
  plug() {
    plugged = true;
    wanted = 0;
    cdc.initialized = false;
    cdc.descriptorsSize = null;
    cdc.descriptors = [];
    mcu.usbCtrl.resetDevice();
  },
  // The processor meets a hard fault at its next instruction outside interrupts.
  fault() {
    poke = () => {
      tell({ event: 'poked', place: core.PC });
      core.exceptionEntry(3);
    };
  },
  // It goes on at that address, outside interrupts.
  jump(address) {
    poke = () => {
      tell({ event: 'poked', place: core.PC });
      core.PC = Number(address);
    };
  },
  // Fits a sensor wrongly, or puts it right.
  fit(fault, wrongly) {
    if (wrongly === 'wrong') plant.wrong.add(fault);
    else plant.wrong.delete(fault);
  },
  // The converter stands still.
  stall() {
    converter.stalled = true;
  },
  // The supply fails: the monitor says so, and the hold-up lasts 20 ms more.
  fail() {
    supplyGood = false;
    mcu.gpio[PINS.supplyGood].setInputValue(false);
    flash.onCut(20_000_000);
  },
};
let said = '';
fs.createReadStream(null, { fd: commandsFd }).on('data', (bytes) => {
  said += bytes;
  const lines = said.split('\n');
  said = lines.pop();
  for (const command of lines) {
    const [name, ...given] = command.split(' ');
    commands[name](...given);
  }
});

let poke = null;
let handled = 0;
function slice() {
  feed();
  for (let n = 0; n < 300_000 && !over; n++) {
    if (core.waiting) {
      const ns = clock.nanosToNextAlarm;
      clock.tick(ns);
      cycles.all += ns / CYCLE_NS;
      longest = Math.max(longest, clock.nanos - restedAt - ns);
      restedAt = clock.nanos;
    } else {
      if (poke && core.IPSR === 0) {
        poke();
        poke = null;
      }
      const metering = core.IPSR === SWI_1;
      const spent = core.executeInstruction();
      cycles.all += spent;
      cycles.busy += spent;
      if (metering) cycles.metering += spent;
      clock.tick(spent * CYCLE_NS);
    }
    if (clock.nanos >= stopAt) {
      stopAt = Infinity;
      tell({ event: 'reached', second: stopName });
    }
    if ((++handled & 1023) === 0) feed();
  }
  if (over) process.exit(0);
  setImmediate(slice);
}
slice();
