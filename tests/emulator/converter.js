// Feeds the converter with the waves of a scenario. The emulator's own round robin reads channel 0
// only, so conversions are driven from here: one at each of the converter's own paced moments.

// What a count of the 16-bit frame is worth at the terminals (firmware/core/src/calibration.rs); the
// converter has 12 bits.
const VOLT = 1e9 / 15_258_789 / 16;
const AMPERE = 1e9 / 3_051_758 / 16;
const MILLIAMPERE = 1e6 / 381 / 16;
const SUPPLY_VOLT = 1e9 / 610_352 / 16;
// The logger's own supply, 4.95 V of 10 V at full scale.
const LOGGER_SUPPLY = (4.95 / 10) * 4096;
// 0.706 V at 27 °C, −1.721 mV a degree, of 3.3 V.
const TEMPERATURE = ((0.706 - 0.001721 * (24 - 27)) / 3.3) * 4096;

// Codes 512, 1536, 2560 and 3584 are 8.9 steps wider than a step, the others make up for it (erratum of
// the chip's data sheet, hardware-notes/uncertainty.md). A count in steps lies in the middle of its code.
const WIDE = 1 + 8.9;
const NARROW = (4096 - 4 * WIDE) / 4092;
const EDGES = [];
for (let code = 0, edge = 0; code < 4095; code++) {
  edge += code % 1024 === 512 ? WIDE : NARROW;
  EDGES.push(edge);
}
const clamp = (count) => {
  const steps = count + 0.5;
  // An even converter is at most 18 steps off.
  let code = Math.max(0, Math.min(4095, Math.floor(steps)) - 18);
  while (code < 4095 && EDGES[code] <= steps) code++;
  return code;
};

export class Converter {
  constructor(mcu, plant) {
    const { adc, clock } = mcu;
    this.conversions = 0;
    // Conversions that found the converter's queue full.
    this.overruns = 0;
    this.stalled = false;
    this.firstNanos = null;
    let channel = 0;
    let noise = 1;
    adc.startADCRead = () => {
      adc.busy = true;
      channel = (adc.cs >> 12) & 7;
      alarm.schedule(2000);
    };
    const read = () => {
      noise = (Math.imul(noise, 1_664_525) + 1_013_904_223) >>> 0;
      const dither = noise / 2 ** 32 - 0.5;
      const s = clock.nanos / 1e9;
      const given = plant.conversion?.(this.conversions - 1, channel, s);
      if (given != null) return given;
      switch (channel) {
        case 0: return clamp(2048 + plant.voltage(s) * VOLT + dither);
        case 1: return clamp(2048 + plant.current(s) * AMPERE + dither);
        case 2: return clamp(plant.loopMa(s) * MILLIAMPERE + dither);
        case 3:
          return clamp((plant.showsLoggerSupply ? LOGGER_SUPPLY : 24 * SUPPLY_VOLT) + dither);
        default: return clamp(TEMPERATURE + dither);
      }
    };
    const alarm = clock.createAlarm(() => {
      if (this.stalled) return;
      if (this.conversions++ === 0) this.firstNanos = clock.nanos;
      adc.busy = false;
      const value = read();
      adc.result = value;
      if (adc.fcs & 1) {
        if (adc.fifo.full) {
          adc.fcs |= 1 << 11;
          this.overruns++;
        } else {
          adc.fifo.push(value);
          adc.updateDMA();
        }
      }
      const round = (adc.cs >> 16) & 31;
      if (round) {
        do channel = (channel + 1) % 5; while (!(round & (1 << channel)));
        adc.cs = (adc.cs & ~(7 << 12)) | (channel << 12);
      }
      if (adc.cs & (1 << 3)) {
        adc.busy = true;
        alarm.schedule(Math.max(2000, adc.divider * (1000 / 48)));
      }
    });
  }
}

// A pump on a supply, by a list of events; all times in s from `origin`, again from the start after
// `repeat_s` where the scenario names one. Its sensors may be fitted wrongly: `wrong` holds
// 'loop-open', 'clamp-round-both' (the clamp holds both wires), 'clamp-turned'.
export class Plant {
  constructor(scenario) {
    this.scenario = scenario;
    this.origin = Infinity;
    // As the analogue switch stands.
    this.showsLoggerSupply = false;
    const of = (kind) => scenario.events.filter((event) => event.kind === kind);
    this.runs = of('run');
    this.dips = [...of('dip'), ...of('interruption').map((e) => ({ ...e, volts: 0 }))];
    this.open = of('loop-open');
    this.lamps = of('lamp');
    this.hz = scenario.supply_hz;
    this.lag = scenario.lag_rad ?? 0.6;
    this.peak = scenario.supply_v * Math.SQRT2;
    this.repeat = scenario.repeat_s ?? Infinity;
    this.wrong = new Set();
  }

  // Of the scenario's time.
  at(s) {
    const since = s - this.origin;
    return since > 0 && Number.isFinite(this.repeat) ? since % this.repeat : since;
  }

  pumps(s) {
    return this.within(this.runs, s) !== null;
  }

  within(list, s) {
    const at = this.at(s);
    for (const event of list) if (at >= event.from && at < event.to) return event;
    return null;
  }

  voltage(s) {
    const dip = this.within(this.dips, s);
    const peak = dip ? dip.volts * Math.SQRT2 : this.peak;
    return peak * Math.sin(2 * Math.PI * this.hz * s);
  }

  current(s) {
    const run = this.within(this.runs, s);
    if (!run || this.wrong.has('clamp-round-both')) return 0;
    const dip = this.within(this.dips, s);
    const since = this.at(s) - run.from;
    let amperes = this.scenario.running_a * (since < 0.3 ? 5 : 1);
    if (dip) amperes *= dip.volts < 10 ? 0 : this.scenario.supply_v / dip.volts;
    if (this.wrong.has('clamp-turned')) amperes = -amperes;
    return amperes * Math.SQRT2 * Math.sin(2 * Math.PI * this.hz * s - this.lag);
  }

  // Pressure between cut-in and cut-out: up while it runs, down in between.
  loopMa(s) {
    if (this.wrong.has('loop-open') || this.within(this.open, s)) return 0;
    const { cut_in_bar: low, cut_out_bar: high, span_bar: span } = this.scenario;
    const at = this.at(s);
    let bar = high;
    let from = 0;
    for (const run of this.runs) {
      if (at < run.from) {
        bar = high - ((high - low) * (at - from)) / (run.from - from);
        break;
      }
      if (at < run.to) {
        bar = low + ((high - low) * (at - run.from)) / (run.to - run.from);
        break;
      }
      from = run.to;
    }
    return 4 + (16 * Math.min(high, Math.max(low, bar))) / span;
  }

  lampsLit(s) {
    const at = this.at(s);
    let lit = 0;
    for (const lamp of this.lamps) {
      if (at < lamp.from || at >= lamp.to) continue;
      const on = !lamp.hz || ((at - lamp.from) * lamp.hz) % 1 < 0.5;
      if (on) lit |= 1 << (lamp.input - 1);
    }
    return lit;
  }
}
