extern crate std;
use super::*;
use crate::half_cycle::{HALF_WAVE_MAX_US, root_ca, root_dv};
use proptest::prelude::*;
use pumpwitness_protocol::record::{CaptureBlock, VoltageEvent};
use std::vec::Vec;

const START_MS: i64 = 1_780_000_000_000;

fn half(volts: f64, amperes: f64, signal: i32) -> HalfWave {
    let milli_sq = |value: f64| (value * 1000.0).round().powi(2) as u64;
    HalfWave {
        duration_us: 10_000,
        voltage_sq_mv2: milli_sq(volts),
        current_sq_ma2: milli_sq(amperes),
        power_mw: (volts * amperes * 800.0) as i32,
        signal,
        flags: 0,
    }
}

/// A recorder and everything it has told.
struct Bench {
    recorder: Recorder,
    records: Vec<Record>,
}

impl Bench {
    fn new(settings: &Settings) -> Self {
        Self { recorder: Recorder::new(settings, START_MS), records: Vec::new() }
    }

    fn feed(&mut self, seconds: f64, half: &HalfWave) {
        for _ in 0..(seconds * 1e6 / f64::from(half.duration_us)).round() as u32 {
            self.recorder.half_wave(half);
            self.take();
        }
    }

    fn take(&mut self) {
        self.records.extend(core::iter::from_fn(|| self.recorder.pop()));
    }

    fn close(&mut self) {
        self.recorder.close();
        self.take();
    }

    fn intervals(&self) -> Vec<Interval> {
        self.records
            .iter()
            .filter_map(|record| match record {
                Record::Interval(interval) => Some(*interval),
                _ => None,
            })
            .collect()
    }

    fn blocks(&self) -> Vec<&CaptureBlock> {
        self.records
            .iter()
            .filter_map(|record| match record {
                Record::Capture(block) => Some(block),
                _ => None,
            })
            .collect()
    }

    fn marks(&self) -> Vec<(i64, Mark)> {
        self.records
            .iter()
            .filter_map(|record| match record {
                Record::Mark(mark) => Some((mark.time_ms - START_MS, mark.mark.clone())),
                _ => None,
            })
            .collect()
    }
}

#[test]
fn rest_is_merged_and_a_run_is_kept_one_by_one() {
    let mut bench = Bench::new(&Settings::default());
    bench.feed(20.0, &half(230.0, 0.0, 5000));
    assert_eq!(bench.intervals().len(), 1, "one run of 10 s is closed, one is open");
    bench.feed(5.0, &half(228.0, 6.0, 5500));
    bench.feed(20.0, &half(230.0, 0.0, 6000));
    bench.close();
    let intervals = bench.intervals();
    let counts: Vec<u16> = intervals.iter().map(|interval| interval.count).collect();
    assert_eq!(counts[..2], [50, 50]);
    // 25 intervals running, the half cycle in which it stops reaches into one more, 2 s after it.
    assert_eq!(counts[2..2 + 25 + 11], [1; 36]);
    assert_eq!(counts[38..].iter().map(|count| u32::from(*count)).sum::<u32>(), 100 - 11);
    assert_eq!(counts[38..39], [50]);
    assert_eq!(intervals.last().unwrap().end_ms, START_MS + 45_000);
    let running = &intervals[10];
    assert_eq!(running.voltage_dv.mean, 2280);
    assert_eq!(running.current_ca.mean, 600);
    assert_eq!(running.power_w, 1094);
    assert_eq!(running.frequency_chz, 5000);
}

#[test]
fn twelve_cycles_at_sixty_hertz() {
    let settings = Settings { nominal_hz: 60, ..Settings::default() };
    let mut bench = Bench::new(&settings);
    let wave = HalfWave { duration_us: 8333, ..half(230.0, 6.0, 5000) };
    bench.feed(4.0, &wave);
    for interval in bench.intervals() {
        assert_eq!(interval.frequency_chz, 6000);
        assert!((199..=200).contains(&interval.span_ms));
    }
    assert_eq!(bench.intervals().len(), 20);
}

/// A start is captured from 0.2 s before, 2 s in all, without a gap between the blocks.
#[test]
fn a_start_is_captured() {
    let mut bench = Bench::new(&Settings::default());
    bench.feed(5.0, &half(230.0, 0.0, 5000));
    bench.feed(3.0, &half(225.0, 6.0, 5000));
    let blocks = bench.blocks();
    assert_eq!(blocks.iter().map(|block| block.points.len()).sum::<usize>(), 200);
    let mut next = (0, START_MS + 5010 - 200);
    for block in &blocks {
        assert_eq!((block.capture, block.trigger, block.step_us), (0, Trigger::Start, 10_000));
        assert_eq!((i64::from(block.first_index), block.start_ms), next);
        next.0 += block.points.len() as i64;
        next.1 += block.points.len() as i64 * 10;
    }
    let currents: Vec<i32> =
        blocks.iter().flat_map(|block| &block.points).map(|point| point.current_ca).collect();
    assert_eq!(currents[..20], [0; 20]);
    // The cycle that straddles the start: √(6²/2).
    assert_eq!(currents[20], 424);
    assert_eq!(currents[21..], [600; 179]);
}

#[test]
fn a_dip_is_marked_flagged_and_captured() {
    let mut bench = Bench::new(&Settings::default());
    bench.feed(5.0, &half(230.0, 0.0, 5000));
    bench.feed(0.1, &half(150.0, 0.0, 5000));
    bench.feed(5.0, &half(230.0, 0.0, 5000));
    // The first straddling cycle has √((230² + 150²)/2) = 194 V, so the dip is seen at once; the
    // last straddling one ends it not yet: eleven half cycles in all.
    assert_eq!(
        bench.marks(),
        [(
            5120,
            Mark::Voltage {
                event: VoltageEvent::Dip,
                start_ms: START_MS + 5010,
                half_cycles: 11,
                extreme_dv: 1500,
                open: false
            }
        )]
    );
    let flagged: Vec<bool> = bench
        .intervals()
        .iter()
        .map(|interval| interval.flags & flags::VOLTAGE_EVENT != 0)
        .collect();
    assert_eq!(flagged.iter().filter(|flagged| **flagged).count(), 1);
    let blocks = bench.blocks();
    assert!(blocks.iter().all(|block| block.trigger == Trigger::Dip));
    let points: Vec<_> = blocks.iter().flat_map(|block| &block.points).collect();
    assert_eq!(points.len(), 300);
    assert_eq!(points[99].voltage_dv, 2300);
    assert_eq!(points[100].voltage_dv, 1942);
    assert_eq!(points[101].voltage_dv, 1500);
    assert_eq!(blocks[0].start_ms, START_MS + 4010);
}

/// A dip inside a capture lengthens it to two seconds after the dip; a chatter of dips is cut into
/// captures of ten seconds that follow each other closely.
#[test]
fn triggers_inside_a_capture_lengthen_it() {
    let mut bench = Bench::new(&Settings::default());
    bench.feed(5.0, &half(230.0, 0.0, 5000));
    bench.feed(1.0, &half(230.0, 6.0, 5000));
    bench.feed(0.1, &half(150.0, 6.0, 5000));
    bench.feed(5.0, &half(230.0, 6.0, 5000));
    let points = |bench: &Bench| bench.blocks().iter().map(|b| b.points.len()).sum::<usize>();
    // 0.2 s before the start, 1 s until the dip, 2 s from there.
    assert_eq!(points(&bench), 320);
    assert!(bench.blocks().iter().all(|block| block.capture == 0));

    let mut bench = Bench::new(&Settings::default());
    for _ in 0..100 {
        bench.feed(0.4, &half(230.0, 0.0, 5000));
        bench.feed(0.1, &half(150.0, 0.0, 5000));
    }
    bench.close();
    let last = bench.blocks().last().unwrap().capture;
    assert!((3..=6).contains(&last), "{last}");
    let longest = bench.blocks().iter().map(|block| block.first_index).max().unwrap();
    assert!((1000..1200).contains(&longest), "{longest}");
    assert!(bench.recorder.losses().1 > 0);
}

#[test]
fn captures_are_limited_and_the_dropped_ones_counted() {
    let settings = Settings { captures_per_hour: 3, ..Settings::default() };
    let mut bench = Bench::new(&settings);
    for _ in 0..400 {
        bench.feed(5.0, &half(230.0, 0.0, 5000));
        bench.feed(5.0, &half(230.0, 6.0, 5000));
    }
    let kept: std::collections::BTreeSet<u16> =
        bench.blocks().iter().map(|block| block.capture).collect();
    assert_eq!(kept.len(), 6, "three in each of the hours");
    // 360 starts an hour.
    assert_eq!(bench.marks(), [(3_600_000, Mark::CapturesDropped { captures: 357 })]);
    bench.close();
    assert_eq!(bench.marks()[1].1, Mark::CapturesDropped { captures: 37 });
    assert_eq!(bench.recorder.losses(), (0, 394));
}

#[test]
fn an_open_loop_is_marked_flagged_and_captured() {
    let mut bench = Bench::new(&Settings::default());
    bench.feed(3.0, &half(230.0, 0.0, 5000));
    bench.feed(3.0, &half(230.0, 0.0, 0));
    bench.feed(3.0, &half(230.0, 0.0, 5000));
    let channel = Channel::Transducer;
    assert_eq!(
        bench.marks(),
        [
            (3050, Mark::Sensor { channel, state: SensorState::Low }),
            (6050, Mark::Sensor { channel, state: SensorState::Good }),
        ]
    );
    assert!(bench.blocks().iter().all(|block| block.trigger == Trigger::SensorLoss));
    let fault = |interval: &&Interval| interval.flags & flags::SIGNAL_FAULT != 0;
    let span: u32 = bench.intervals().iter().filter(fault).map(|i| i.span_ms).sum();
    assert_eq!(span, 3000);
}

#[test]
fn setting_the_clock_leaves_no_jump_inside_an_interval() {
    let mut bench = Bench::new(&Settings::default());
    bench.feed(3.05, &half(230.0, 0.0, 5000));
    bench.recorder.set_clock(START_MS + 1_000_000);
    bench.feed(3.0, &half(230.0, 0.0, 5000));
    bench.close();
    let before_ms = START_MS + 3050;
    assert_eq!(bench.marks(), [(1_000_000, Mark::ClockSet { before_ms })]);
    let spans: Vec<_> = bench
        .intervals()
        .iter()
        .map(|interval| (interval.end_ms - START_MS, interval.span_ms))
        .collect();
    assert_eq!(spans, [(3050, 3050), (1_003_000, 3000)]);
}

#[test]
fn a_full_queue_loses_records_and_says_so() {
    let mut bench = Bench::new(&Settings::default());
    for _ in 0..3000 {
        bench.recorder.half_wave(&half(230.0, 6.0, 5000));
    }
    bench.take();
    assert_eq!(bench.records.len(), crate::output::WAITING_MAX);
    bench.feed(1.0, &half(230.0, 6.0, 5000));
    // 150 intervals and 6 blocks of the start's capture (nothing was before it), 24 of them kept.
    assert_eq!(bench.marks()[0].1, Mark::RecordsLost { records: 156 - 24 });
}

#[test]
fn health_is_told_every_ten_minutes_and_when_it_moves() {
    let mut bench = Bench::new(&Settings::default());
    let slow = Slow { board_dc: 251, supply_mv: 5010, transducer_supply_mv: 24_000 };
    for second in 0..1500 {
        let supply_mv = if second == 900 { 4300 } else { 5010 };
        bench.recorder.slow(Slow { supply_mv, ..slow });
        bench.feed(1.0, &half(230.0, 0.0, 5000));
    }
    let times: Vec<i64> = bench.marks().iter().map(|(ms, _)| *ms).collect();
    assert_eq!(times, [0, 600_000, 900_000, 910_000]);
    for _ in 0..5 {
        bench.recorder.slow(Slow { transducer_supply_mv: 0, ..slow });
    }
    bench.take();
    assert!(bench.marks().iter().any(|(_, mark)| *mark
        == Mark::Sensor { channel: Channel::TransducerSupply, state: SensorState::Low }));
    assert_eq!(bench.recorder.live().supply_mv, 5010);
}

#[test]
fn live_readings_follow_the_latest_interval() {
    let mut bench = Bench::new(&Settings::default());
    bench.feed(1.0, &half(231.0, 5.0, 7000));
    let live = bench.recorder.live();
    assert_eq!(live.time_ms, START_MS + 1000);
    assert_eq!((live.voltage_dv, live.current_ca, live.power_w), (2310, 500, 924));
    assert_eq!((live.signal, live.frequency_chz, live.running), (7000, 5000, true));
}

fn any_half() -> impl Strategy<Value = HalfWave> {
    (
        prop_oneof![Just(10_000), 8000_u32..13_000, any::<u32>()],
        prop_oneof![
            4 => 200_000_000_u64 * 220..200_000_000 * 290,
            1 => Just(0),
            1 => any::<u64>(),
        ],
        prop_oneof![3 => 0_u64..10_000, 1 => 0_u64..100_000_000, 1 => any::<u64>()],
        any::<i32>(),
        prop_oneof![3 => 5000..5030, 1 => any::<i32>()],
        prop_oneof![3 => Just(0), 1 => any::<u8>()],
    )
        .prop_map(|(duration_us, voltage_sq_mv2, current_sq_ma2, power_mw, signal, flags)| {
            HalfWave { duration_us, voltage_sq_mv2, current_sq_ma2, power_mw, signal, flags }
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Whatever comes in: no panic; intervals follow each other without a gap and add up to the
    /// time of all half waves; the extremes of all one-cycle values are in the records.
    #[test]
    fn no_time_and_no_extreme_is_lost(
        stretches in proptest::collection::vec((any_half(), 1_u32..80), 1..40),
        sixty in any::<bool>(),
        merge_max_s in 1_u8..=60,
    ) {
        let settings = Settings {
            nominal_hz: if sixty { 60 } else { 50 },
            merge_max_s,
            ..Settings::default()
        };
        let mut bench = Bench::new(&settings);
        let mut total_us = 0_u64;
        let mut voltage = (i32::MAX, i32::MIN);
        let mut current = voltage;
        let mut signal = voltage;
        let mut before: Option<HalfWave> = None;
        for (half, repeat) in &stretches {
            for _ in 0..*repeat {
                bench.recorder.half_wave(half);
                bench.take();
                if half.duration_us == 0 {
                    continue;
                }
                let half = bounded(half);
                total_us += u64::from(half.duration_us.min(HALF_WAVE_MAX_US));
                let cycle = HalfCycle::join(&before.unwrap_or(half), &half);
                before = Some(half);
                let widen = |range: &mut (i32, i32), value: i32| {
                    *range = (range.0.min(value), range.1.max(value));
                };
                widen(&mut voltage, root_dv(cycle.voltage_sq_mv2));
                widen(&mut current, root_ca(cycle.current_sq_ma2));
                widen(&mut signal, half.signal);
            }
        }
        bench.close();
        let intervals = bench.intervals();
        let mut end_ms = START_MS;
        for interval in &intervals {
            prop_assert_eq!(interval.end_ms - i64::from(interval.span_ms), end_ms);
            end_ms = interval.end_ms;
            prop_assert!(interval.count >= 1);
            for spread in [interval.voltage_dv, interval.current_ca, interval.signal] {
                prop_assert!(spread.min <= spread.mean && spread.mean <= spread.max);
            }
        }
        prop_assert_eq!(end_ms - START_MS, (total_us / 1000) as i64);
        if total_us > 0 {
            let least = |of: fn(&Interval) -> i32| intervals.iter().map(of).min().unwrap();
            let most = |of: fn(&Interval) -> i32| intervals.iter().map(of).max().unwrap();
            prop_assert!(least(|i| i.voltage_dv.min) <= voltage.0);
            prop_assert!(most(|i| i.voltage_dv.max) >= voltage.1);
            prop_assert!(least(|i| i.current_ca.min) <= current.0);
            prop_assert!(most(|i| i.current_ca.max) >= current.1);
            prop_assert_eq!(least(|i| i.signal.min), signal.0);
            prop_assert_eq!(most(|i| i.signal.max), signal.1);
        }
    }
}
