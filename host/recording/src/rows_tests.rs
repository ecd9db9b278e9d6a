use super::*;
use proptest::prelude::*;
use pumpwitness_protocol::record::{Interval, Spread};
use pumpwitness_protocol::settings::TransducerKind;

const NOON: i64 = 1_770_000_000_000;

fn interval(end_ms: i64) -> Record {
    Record::Interval(Interval {
        end_ms,
        span_ms: 200,
        count: 1,
        voltage_dv: Spread { mean: 2301, min: 2287, max: 2312 },
        current_ca: Spread { mean: 643, min: 601, max: 688 },
        power_w: -1234,
        signal: Spread { mean: 6000, min: 5900, max: 6100 },
        frequency_chz: 4998,
        flags: 0,
    })
}

fn mark(time_ms: i64, mark: Mark) -> Record {
    Record::Mark(TimedMark { time_ms, mark })
}

fn capture(start_ms: i64) -> Record {
    Record::Capture(CaptureBlock {
        capture: 1,
        first_index: 0,
        start_ms,
        step_us: 10_000,
        trigger: pumpwitness_protocol::record::Trigger::Dip,
        points: heapless::Vec::new(),
    })
}

#[test]
fn units_are_those_of_the_columns() {
    let settings = Settings::default(); // 0 to 10 bar on a loop
    let recording = from_records([interval(NOON)], &settings);
    let columns = &recording.columns;
    assert_eq!(columns.end_ms, [NOON]);
    assert_eq!(columns.span_ms, [200]);
    assert_eq!(columns.voltage_v[0].mean, [230.1]);
    assert_eq!(columns.voltage_v[0].min, [228.7]);
    assert_eq!(columns.current_a[0].max, [6.88]);
    assert_eq!(columns.power_w.as_deref(), Some(&[-1234.0][..]));
    assert_eq!(columns.frequency_hz.as_deref(), Some(&[49.98][..]));
    // 12 mA is the middle of 4 to 20 mA.
    assert_eq!(columns.loop_ma.as_ref().unwrap().mean, [12.0]);
    assert_eq!(columns.pressure_bar.as_ref().unwrap().mean, [5.0]);
    assert!(recording.source.losses.is_empty());
}

#[test]
fn a_ratiometric_signal_gives_pressure_and_no_loop() {
    let settings = Settings {
        transducer: TransducerKind::Ratiometric,
        high_mbar: 8000,
        ..Settings::default()
    };
    let columns = from_records([interval(NOON)], &settings).columns;
    // 0.6 of the supply: 0 + (0.6 − 0.1) / 0.8 × 8 bar.
    assert!((columns.pressure_bar.unwrap().mean[0] - 5.0).abs() < 1e-6);
    assert!(columns.loop_ma.is_none());
    let settings = Settings { transducer: TransducerKind::Absent, ..Settings::default() };
    assert!(from_records([interval(NOON)], &settings).columns.pressure_bar.is_none());
}

#[test]
fn what_was_before_arming_is_left_out() {
    let recording = from_records(
        [
            interval(NOON),
            capture(NOON),
            mark(NOON + 1, Mark::ClockSet { before_ms: 5 }),
            mark(NOON + 2, Mark::Armed),
            interval(NOON + 400),
        ],
        &Settings::default(),
    );
    assert_eq!(recording.columns.end_ms, [NOON + 400]);
    assert_eq!(recording.marks.len(), 1);
    assert!(recording.captures.is_empty());
    assert_eq!(recording.source.losses, ["1 rows from before the logger was armed were left out"]);
}

#[test]
fn rows_before_a_great_clock_step_are_moved_with_it() {
    let wrong = NOON - 3_600_000;
    let recording = from_records(
        [
            interval(wrong),
            capture(wrong),
            interval(wrong + 200),
            mark(NOON + 210, Mark::ClockSet { before_ms: wrong + 210 }),
            interval(NOON + 400),
        ],
        &Settings::default(),
    );
    assert_eq!(recording.columns.end_ms, [NOON, NOON + 200, NOON + 400]);
    assert_eq!(recording.captures[0].start_ms, NOON);
    assert_eq!(recording.marks[0].time_ms, NOON + 210);
    assert_eq!(recording.source.losses.len(), 2);
}

#[test]
fn a_small_step_back_costs_the_rows_it_overlaps() {
    let recording = from_records(
        [
            interval(NOON),
            interval(NOON + 1000),
            mark(NOON + 510, Mark::ClockSet { before_ms: NOON + 1010 }),
            interval(NOON + 700),
            interval(NOON + 1100),
        ],
        &Settings::default(),
    );
    assert_eq!(recording.columns.end_ms, [NOON, NOON + 1000, NOON + 1100]);
    assert_eq!(recording.columns.span_ms, [200, 200, 100]);
    assert!(recording.source.losses[1].starts_with("1 rows lie in a time already recorded"));
}

#[test]
fn a_clock_that_fell_back_is_put_right_by_the_host() {
    let scale = Scale::of(&Settings::default());
    let mut rows = Rows::new(scale);
    let reset = 946_684_800_000; // 2000-01-01
    rows.merge(&mut batch_of([interval(NOON), interval(reset), interval(reset + 200)], scale));
    let recording = rows.finish(Some(NOON + 60_000 - reset));
    assert_eq!(recording.columns.end_ms, [NOON, NOON + 60_000, NOON + 60_200]);
}

fn records() -> impl Strategy<Value = Record> {
    let times =
        prop_oneof![NOON - 100_000..NOON + 100_000, any::<i64>(), Just(i64::MAX), Just(0_i64)];
    prop_oneof![
        4 => times.clone().prop_map(interval),
        1 => (times.clone(), times.clone())
            .prop_map(|(now, before_ms)| mark(now, Mark::ClockSet { before_ms })),
        1 => times.clone().prop_map(|now| mark(now, Mark::Armed)),
        1 => times.clone().prop_map(capture),
        1 => (times.clone(), times).prop_map(|(now, start_ms)| mark(now, Mark::Voltage {
            event: pumpwitness_protocol::record::VoltageEvent::Dip,
            start_ms,
            half_cycles: 1,
            extreme_dv: 0,
            open: false,
        })),
    ]
}

proptest! {
    /// However the records are cut into parts, and however many are turned into columns at once.
    #[test]
    fn parts_make_the_same_recording(
        records in proptest::collection::vec(records(), 0..60),
        repeat in 1usize..12,
        cuts in proptest::collection::vec(0usize..800, 0..6),
    ) {
        let records: Vec<Record> = records.iter().cycle().take(records.len() * repeat)
            .cloned().collect();
        let whole = from_records(records.iter().cloned(), &Settings::default());
        let scale = Scale::of(&Settings::default());
        let mut rows = Rows::new(scale);
        let mut cuts: Vec<usize> = cuts.iter().map(|cut| (*cut).min(records.len())).collect();
        cuts.sort_unstable();
        cuts.push(records.len());
        let mut from = 0;
        for cut in cuts {
            rows.merge(&mut batch_of(records[from..cut].iter().cloned(), scale));
            from = cut;
        }
        let parts = rows.finish(None);
        prop_assert_eq!(parts.columns, whole.columns);
        prop_assert_eq!(parts.marks, whole.marks);
        prop_assert_eq!(parts.captures, whole.captures);
        prop_assert_eq!(parts.source.losses, whole.source.losses);
    }

    /// Whatever the clock did, the columns keep their promises.
    #[test]
    fn columns_only_run_forward(records in prop::collection::vec(records(), 0..40), offset: i64) {
        let scale = Scale::of(&Settings::default());
        let mut rows = Rows::new(scale);
        rows.merge(&mut batch_of(records, scale));
        let columns = rows.finish(Some(offset)).columns;
        let n = columns.len();
        prop_assert!(columns.end_ms.windows(2).all(|pair| pair[0] < pair[1]));
        for row in 1..n {
            prop_assert!(columns.start_ms(row) >= columns.end_ms[row - 1]);
        }
        prop_assert_eq!(columns.span_ms.len(), n);
        prop_assert_eq!(columns.voltage_v[0].max.len(), n);
        prop_assert_eq!(columns.loop_ma.unwrap().mean.len(), n);
        prop_assert_eq!(columns.power_w.unwrap().len(), n);
    }
}
