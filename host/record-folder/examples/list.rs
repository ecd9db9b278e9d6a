//! How long a list of many records takes: `list [RECORDS]`, 500 unless told.

use jiff::{SignedDuration, Timestamp};
use pumpwitness_record_folder::{Cause, Folder, Found, Query, RuledOut, Summary};
use std::time::Instant;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let count = std::env::args().nth(1).map_or(Ok(500), |text| text.parse())?;
    let root = tempfile::tempdir()?;
    let folder = Folder::open(root.path(), "example")?;
    for n in 0..count {
        let start = Timestamp::from_second(1_772_323_200 + i64::from(n) * 86_400)?;
        let says = "The tank holds hardly any gas: the pump starts for every glass of water.";
        let summary = Summary {
            site: format!("Site {}", n % 60),
            start,
            end: start + SignedDuration::from_hours(168),
            device: format!("{n:016x}"),
            causes: vec![
                Cause {
                    cause: "waterlogged-tank".into(),
                    confidence: 0.9,
                    says: says.into(),
                    next_checks: vec![says.into(); 3],
                    ..Cause::default()
                };
                2
            ],
            findings: vec![
                Found {
                    kind: "short-cycling".into(),
                    severity: "fault".into(),
                    count: 9,
                    says: says.into(),
                    ..Found::default()
                };
                6
            ],
            ruled_out: vec![RuledOut { cause: "idle-draw".into(), because: says.into() }; 12],
            ..Summary::default()
        };
        folder.add(format!("archive {n}").as_bytes(), summary)?;
    }
    let begun = Instant::now();
    let listing = folder.list(&mut |_| Err("nothing is to be made anew".to_owned()));
    let read = begun.elapsed();
    let words = Query { words: Some("site 7 glass".to_owned()), ..Query::default() };
    let begun = Instant::now();
    let found = listing.search(&words).len();
    println!(
        "{} records listed in {read:.1?}, {found} found by words in {:.1?}",
        listing.records.len(),
        begun.elapsed()
    );
    Ok(())
}
