use super::*;
use crate::record::{BootReason, VoltageEvent};
use proptest::prelude::*;

fn round_trip(records: &[Record]) -> usize {
    let mut bytes = [0; 8192];
    let base_ms = 1_770_000_000_000;
    let mut model = Model::new(base_ms);
    let mut at = 0;
    for record in records {
        at = model.encode(record, &mut bytes, at).unwrap();
    }
    let mut model = Model::new(base_ms);
    let mut bits = BitReader::new(&bytes[..at.div_ceil(8)]);
    for record in records {
        assert_eq!(decode(&mut model, &mut bits).as_ref(), Ok(record));
    }
    assert_eq!(bits.position(), at);
    at
}

fn decode(model: &mut Model, bits: &mut BitReader<'_>) -> Result<Record, DecodeError> {
    let mut found = None;
    model.decode(bits, &mut |record| found = Some(record))?;
    Ok(found.expect("a record was handed over"))
}

fn spread() -> impl Strategy<Value = Spread> {
    prop_oneof![
        (-100..5000, 0..40, 0..40).prop_map(|(mean, down, up)| Spread {
            mean,
            min: mean - down,
            max: mean + up
        }),
        (any::<i32>(), any::<i32>(), any::<i32>()).prop_map(|(mean, min, max)| Spread {
            mean,
            min,
            max
        }),
    ]
}

fn interval() -> impl Strategy<Value = Interval> {
    (
        (1_769_999_999_000..1_770_000_100_000i64, any::<u32>(), any::<u16>()),
        (spread(), spread(), spread()),
        (any::<i32>(), any::<u16>(), any::<u8>()),
    )
        .prop_map(
            |((end_ms, span, count), (voltage_dv, current_ca, signal), (p, f, flags))| Interval {
                end_ms,
                span_ms: span % 70_000,
                count,
                voltage_dv,
                current_ca,
                power_w: p,
                signal,
                frequency_chz: f,
                flags,
            },
        )
}

fn capture() -> impl Strategy<Value = CaptureBlock> {
    let point = (any::<i16>(), -50..9000i32, any::<i32>()).prop_map(|(v, i, p)| CapturePoint {
        voltage_dv: v.into(),
        current_ca: i,
        power_w: p,
    });
    let points = proptest::collection::vec(point, 0..=CAPTURE_BLOCK_POINTS);
    (any::<u16>(), any::<u16>(), any::<u16>(), 0u8..5, points).prop_map(|(c, f, s, t, points)| {
        CaptureBlock {
            capture: c,
            first_index: f,
            start_ms: 1_770_000_000_123,
            step_us: s,
            trigger: Trigger::from_code(t).unwrap(),
            points: points.into_iter().collect(),
        }
    })
}

fn record() -> impl Strategy<Value = Record> {
    prop_oneof![
        8 => interval().prop_map(Record::Interval),
        1 => capture().prop_map(Record::Capture),
        1 => (any::<i32>(), any::<i32>()).prop_map(|(t, x)| Record::Mark(TimedMark {
            time_ms: 1_770_000_000_000 + i64::from(t),
            mark: Mark::Voltage {
                event: VoltageEvent::Dip,
                start_ms: i64::from(x),
                half_cycles: 6,
                extreme_dv: 1760,
                open: false
            },
        })),
    ]
}

proptest! {
    #[test]
    fn any_records_come_back(records in proptest::collection::vec(record(), 0..12)) {
        round_trip(&records);
    }

    #[test]
    fn any_bytes_decode_to_an_end(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let mut model = Model::new(0);
        let mut bits = BitReader::new(&bytes);
        let mut at = 0;
        while decode(&mut model, &mut bits).is_ok() {
            prop_assert!((at + RECORD_BITS_MIN..=bytes.len() * 8).contains(&bits.position()));
            at = bits.position();
        }
    }
}

#[test]
fn a_record_without_room_changes_nothing() {
    let mut bytes = [0; 16];
    let mut model = Model::new(0);
    let small = Record::Mark(TimedMark {
        time_ms: 3,
        mark: Mark::Boot { boot: 1, reason: BootReason::PowerOn, firmware: [0, 1, 0] },
    });
    let at = model.encode(&small, &mut bytes, 0).unwrap();
    let large = Record::Interval(Interval {
        voltage_dv: Spread { mean: 2300, min: 2290, max: 2310 },
        current_ca: Spread { mean: 500, min: 490, max: 510 },
        power_w: 1000,
        ..Interval::default()
    });
    let first = bytes;
    assert_eq!(model.encode(&large, &mut bytes, at), Err(EncodeError::NoRoom));
    assert_eq!(bytes[..at / 8], first[..at / 8]);
    let mut bits = BitReader::new(&bytes);
    assert_eq!(decode(&mut Model::new(0), &mut bits), Ok(small));
}

fn still(end_ms: i64, span_ms: u32, count: u16, frequency_chz: u16) -> Record {
    Record::Interval(Interval {
        end_ms,
        span_ms,
        count,
        voltage_dv: Spread { mean: 2301, min: 2301, max: 2301 },
        frequency_chz,
        ..Interval::default()
    })
}

/// Bits of a record in the long run, of records that end after so many intervals.
fn bits_each(record: impl Fn(i64) -> Record) -> usize {
    let few: std::vec::Vec<_> = (1..=100).map(&record).collect();
    let many: std::vec::Vec<_> = (1..=200).map(&record).collect();
    (round_trip(&many) - round_trip(&few)) / 100
}

/// What the format is for: one bit for all that stands still, and one for each measured value.
#[test]
fn an_unchanging_interval_costs_one_bit_a_value() {
    let at_50_hz = |n: i64| still(1_770_000_000_000 + 200 * n, 200, 1, 5000);
    assert_eq!(bits_each(at_50_hz), 1 + 10);
    let at_60_hz = |n: i64| still(1_770_000_000_000 + 200 * n, 200, 1, 6000);
    assert_eq!(bits_each(at_60_hz), 1 + 10);
    let merged = |n: i64| still(1_770_000_000_000 + 9400 * n, 9400, 47, 5000);
    assert_eq!(bits_each(merged), 1 + 10);
}

/// At 50.03 Hz ten cycles are 199.880 ms: nearly every eighth span is one millisecond shorter, and
/// which one follows from the frequency.
#[test]
fn spans_follow_from_the_frequency() {
    let end_ms = |n: i64| 1_770_000_000_000 + n * 199_880 / 1000;
    let record = |n: i64| still(end_ms(n), (end_ms(n) - end_ms(n - 1)) as u32, 1, 5003);
    assert_eq!(bits_each(record), 1 + 10);
}

extern crate std;
