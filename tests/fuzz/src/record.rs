//! The codec: any records come back; any bits decode to an end, and what they decode to is a
//! record like any other.

use crate::{record, time_ms};
use arbitrary::{Result, Unstructured};
use pumpwitness_protocol::bits::BitReader;
use pumpwitness_protocol::codec::{Model, RECORD_BITS_MIN};
use pumpwitness_protocol::record::Record;

fn round_trip(base_ms: i64, records: &[Record]) {
    let mut bytes = vec![0; 512 * (records.len() + 1)];
    let mut model = Model::new(base_ms);
    let mut at = 0;
    for record in records {
        at = model.encode(record, &mut bytes, at).expect("room enough");
    }
    let mut bits = BitReader::new(&bytes);
    let mut model = Model::new(base_ms);
    let mut read = Vec::new();
    for _ in records {
        let before = bits.position();
        model.decode(&mut bits, &mut |record| read.push(record)).expect("what was written");
        assert!(bits.position() - before >= RECORD_BITS_MIN, "fill would pass for a record");
    }
    assert_eq!(read, records);
    assert_eq!(bits.position(), at);
}

fn work(u: &mut Unstructured<'_>) -> Result<()> {
    let base_ms = time_ms(u)?;
    let mut records = Vec::new();
    if u.arbitrary()? {
        while !u.is_empty() {
            records.push(record(u)?);
        }
    } else {
        let bytes = u.bytes(u.len())?;
        let mut bits = BitReader::new(bytes);
        let mut model = Model::new(base_ms);
        while model.decode(&mut bits, &mut |record| records.push(record)).is_ok() {
            assert!(records.len() <= 8 * bytes.len(), "records out of nothing");
        }
    }
    round_trip(base_ms, &records);
    Ok(())
}

/// Runs the target on one input.
pub fn run(bytes: &[u8]) {
    let _ = work(&mut Unstructured::new(bytes));
}
