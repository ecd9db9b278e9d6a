//! Waves at the converter become records: planted events are found where they were planted.
//! Depth and duration of dips by IEC 61000-4-30 class A: residual voltage within 0.2 % of U_din,
//! duration within one half cycle at each end (both from memory).

use pumpwitness_core::calibration::Channels;
use pumpwitness_core::meter::{Meter, MeterConfig};
use pumpwitness_core::recorder::Recorder;
use pumpwitness_core::wave::Frame;
use pumpwitness_protocol::record::{Interval, Mark, Record, Trigger, VoltageEvent};
use pumpwitness_protocol::settings::{Settings, TransducerKind};
use std::f64::consts::{SQRT_2, TAU};

const RATE: u32 = 8000;
const START_MS: i64 = 1_780_000_000_000;

/// What is applied at a moment: r.m.s. volts, r.m.s. amperes, loop mA.
type Applied = (f64, f64, f64);

/// Records of `seconds` of waves at `hz`, and the time by which they are late, ms.
fn record(hz: f64, seconds: f64, applied: impl Fn(f64) -> Applied) -> (Vec<Record>, f64) {
    let nominal_hz = if hz > 55.0 { 60 } else { 50 };
    let settings = Settings { nominal_hz, ..Settings::default() };
    let mut meter = Meter::new(MeterConfig {
        frames_per_s: RATE,
        nominal_hz,
        transducer: TransducerKind::Loop,
        voltage_floor_mv: 11_500,
        current_floor_ma: 300,
        calibration: Channels::default(),
    })
    .unwrap();
    let mut recorder = Recorder::new(&settings, START_MS);
    let mut records = Vec::new();
    let mut noise = 1_u32;
    let mut first = None;
    for n in 0..(seconds * f64::from(RATE)) as u32 {
        let t = f64::from(n) / f64::from(RATE);
        let (volts, amperes, loop_ma) = applied(t);
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let dither = f64::from(noise >> 24) / 16.0 - 8.0;
        let frame = Frame {
            voltage: (volts * SQRT_2 * (TAU * hz * t).sin() / 0.015_258_789 + dither) as i16,
            current: (amperes * SQRT_2 * (TAU * hz * t - 0.7).sin() / 0.003_051_758 - dither)
                as i16,
            signal: (loop_ma / 0.000_381) as u16,
            transducer_supply: 39_000,
        };
        if let Some(half) = meter.push(&frame) {
            // The recorder's clock begins with the first half wave.
            first.get_or_insert(t * 1e3 - f64::from(half.duration_us) / 1e3);
            recorder.half_wave(&half);
            records.extend(std::iter::from_fn(|| recorder.pop()));
        }
    }
    recorder.close();
    records.extend(std::iter::from_fn(|| recorder.pop()));
    (records, first.unwrap() - f64::from(meter.delay_us()) / 1e3)
}

fn intervals(records: &[Record]) -> impl Iterator<Item = &Interval> {
    records.iter().filter_map(|record| match record {
        Record::Interval(interval) => Some(interval),
        _ => None,
    })
}

fn voltage_marks(records: &[Record]) -> Vec<(VoltageEvent, f64, u32, i32)> {
    records
        .iter()
        .filter_map(|record| match record {
            Record::Mark(mark) => match mark.mark {
                Mark::Voltage { event, start_ms, half_cycles, extreme_dv, open: false } => {
                    Some((event, (start_ms - START_MS) as f64, half_cycles, extreme_dv))
                }
                _ => None,
            },
            _ => None,
        })
        .collect()
}

#[test]
fn dips_of_all_depths_lengths_and_phases() {
    let mut cases = 0;
    let mut worst = (0.0_f64, 0.0_f64, 0.0_f64);
    for hz in [47.5, 50.0, 50.3, 58.8, 60.0] {
        for depth in [0.85, 0.6, 0.3, 0.1] {
            for (cycles, phase) in [(2.0, 0.0), (5.0, 0.13), (5.5, 0.25), (30.0, 0.4), (12.0, 0.5)]
            {
                let begins = (60.0 + phase) / hz;
                let ends = begins + cycles / hz;
                let (records, late_ms) = record(hz, 3.0, |t| {
                    (if (begins..ends).contains(&t) { 230.0 * depth } else { 230.0 }, 0.0, 8.0)
                });
                let marks = voltage_marks(&records);
                assert_eq!(marks.len(), 1, "{hz} Hz, {depth}, {cycles} cycles: {marks:?}");
                let (event, start_ms, half_cycles, extreme_dv) = marks[0];
                assert_eq!(event, VoltageEvent::Dip);
                let residual = (f64::from(extreme_dv) / 10.0 - 230.0 * depth).abs() / 230.0;
                let half_ms = 500.0 / hz;
                let lengthened = (f64::from(half_cycles) - 2.0 * cycles).abs();
                // The value over one cycle is known at the cycle's end.
                let delay = (start_ms + late_ms - begins * 1e3) / half_ms;
                worst = (worst.0.max(residual), worst.1.max(lengthened), worst.2.max(delay.abs()));
                assert!(residual < 0.002, "{hz} Hz, {depth}, {cycles}: {extreme_dv}");
                assert!(lengthened <= 2.0, "{hz} Hz, {depth}, {cycles}: {half_cycles}");
                assert!((-0.5..2.5).contains(&delay), "{hz} Hz, {depth}, {cycles}: {delay}");
                cases += 1;
            }
        }
    }
    eprintln!(
        "{cases} dips: residual within {:.3} % of U_din, length within {:.2} half cycles, start \
         within {:.2} half cycles",
        worst.0 * 100.0,
        worst.1,
        worst.2
    );
}

#[test]
fn ten_minutes_of_a_site() {
    // Two runs, a dip during the second, an interruption and an open loop at rest.
    let applied = |t: f64| -> Applied {
        let mut now = (230.0, 0.0, 8.0 + 0.005 * t);
        for start in [60.0, 240.0] {
            let run = t - start;
            if (0.0..0.4).contains(&run) {
                now = (218.0, 30.0, now.2);
            } else if (0.4..45.0).contains(&run) {
                now = (227.0, 6.5, now.2);
            }
        }
        if (260.0..260.3).contains(&t) {
            now.0 = 160.0;
        }
        if (400.0..402.0).contains(&t) {
            now.0 = 0.0;
        }
        if (500.0..520.0).contains(&t) {
            now.2 = 0.0;
        }
        now
    };
    let (records, late_ms) = record(49.9, 600.0, applied);
    let near = |ms: f64, s: f64| (ms + late_ms - s * 1e3).abs() < 30.0;

    let marks = voltage_marks(&records);
    assert_eq!(marks.len(), 3, "{marks:?}");
    assert!(marks[0].0 == VoltageEvent::Dip && near(marks[0].1, 260.0), "{marks:?}");
    assert!(marks[1].0 == VoltageEvent::Interruption && near(marks[1].1, 400.0), "{marks:?}");
    assert!(marks[2].0 == VoltageEvent::Dip && near(marks[2].1, 400.0), "{marks:?}");
    assert!(marks[1].2.abs_diff(200) <= 2 && marks[1].3 < 5, "{marks:?}");

    let mut triggers: Vec<(u16, Trigger, f64)> = Vec::new();
    for record in &records {
        if let Record::Capture(block) = record
            && block.first_index == 0
        {
            triggers.push((block.capture, block.trigger, (block.start_ms - START_MS) as f64));
        }
    }
    let kinds: Vec<Trigger> = triggers.iter().map(|(_, trigger, _)| *trigger).collect();
    assert_eq!(
        kinds,
        [Trigger::Start, Trigger::Start, Trigger::Dip, Trigger::Dip, Trigger::SensorLoss]
    );
    assert!(near(triggers[0].2, 59.8) && near(triggers[1].2, 239.8), "{triggers:?}");
    assert!(near(triggers[2].2, 259.0) && near(triggers[3].2, 399.0), "{triggers:?}");

    let sensor: Vec<f64> = records
        .iter()
        .filter_map(|record| match record {
            Record::Mark(mark) => {
                matches!(mark.mark, Mark::Sensor { .. }).then_some((mark.time_ms - START_MS) as f64)
            }
            _ => None,
        })
        .collect();
    assert_eq!(sensor.len(), 2);
    assert!((sensor[0] + late_ms - 500_000.0).abs() < 100.0, "{sensor:?}");
    assert!((sensor[1] + late_ms - 520_000.0).abs() < 100.0, "{sensor:?}");

    // Energy of the two runs, by the sums of the records against the waves' own.
    let joules: f64 =
        intervals(&records).map(|i| f64::from(i.power_w) * f64::from(i.span_ms) / 1e3).sum();
    let dip_j = 0.3 * (227.0 - 160.0) * 6.5 * 0.7_f64.cos();
    let truth = 2.0 * 0.7_f64.cos() * (0.4 * 218.0 * 30.0 + 44.6 * 227.0 * 6.5) - dip_j;
    assert!((joules / truth - 1.0).abs() < 0.002, "{joules} {truth}");
    let frequencies: Vec<u16> = intervals(&records)
        .filter(|interval| interval.flags == 0)
        .map(|interval| interval.frequency_chz)
        .collect();
    let off = frequencies.iter().skip(1).map(|chz| chz.abs_diff(4990)).max();
    assert!(off <= Some(1), "{off:?} of 0.01 Hz");
}
