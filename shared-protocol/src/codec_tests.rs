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
        assert_eq!(model.decode(&mut bits).as_ref(), Ok(record));
    }
    assert_eq!(bits.position(), at);
    at
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
        while model.decode(&mut bits).is_ok() {}
        prop_assert!(bits.position() <= bytes.len() * 8);
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
    assert_eq!(Model::new(0).decode(&mut bits), Ok(small));
}

/// What the format is for: a quiet record costs little more than two bytes.
#[test]
fn an_unchanging_interval_costs_one_bit_a_field() {
    let still = |n: i64| {
        Record::Interval(Interval {
            end_ms: 1_770_000_000_000 + 200 * n,
            span_ms: 200,
            count: 1,
            voltage_dv: Spread { mean: 2301, min: 2301, max: 2301 },
            frequency_chz: 5000,
            ..Interval::default()
        })
    };
    let few: std::vec::Vec<_> = (1..=100).map(still).collect();
    let many: std::vec::Vec<_> = (1..=200).map(still).collect();
    let per_record = (round_trip(&many) - round_trip(&few)) / 100;
    assert_eq!(per_record, 2 + CONTEXTS);
}

extern crate std;
