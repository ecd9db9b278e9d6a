use super::*;
use crate::columns::{Channel, Columns};
use crate::read_any;
use crate::table::MISSING;
use proptest::prelude::*;
use std::fs;
use std::path::PathBuf;
use tempfile::TempDir;

fn written(name: &str, bytes: &[u8]) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, bytes).unwrap();
    (folder, path)
}

fn read(text: &str) -> Result<Recording, FileError> {
    let (_folder, path) = written("table.csv", text.as_bytes());
    read_table(&path, &ImportOptions::default(), None)
}

fn refusal(bytes: &[u8]) -> String {
    let (_folder, path) = written("table.csv", bytes);
    read_any(&path, &ImportOptions::default(), None).unwrap_err().problem.to_string()
}

fn channel(values: &[f32]) -> Channel {
    Channel {
        mean: values.to_vec(),
        min: values.iter().map(|value| value - 1.5).collect(),
        max: values.iter().map(|value| value + 0.1).collect(),
        spread: true,
    }
}

fn sample(rows: usize) -> Recording {
    let ramp = |from: f32, step: f32| -> Vec<f32> {
        (0..rows).map(|row| from + step * row as f32).collect()
    };
    let mut columns = Columns {
        end_ms: (0..rows as i64).map(|row| 1_770_000_000_123 + 200 * row + row % 3).collect(),
        span_ms: (0..rows).map(|row| 197 + (row % 2) as u32).collect(),
        voltage_v: vec![channel(&ramp(230.1, 0.013))],
        current_a: vec![channel(&ramp(7.3, 1e-4))],
        pressure_bar: Some(channel(&ramp(-1.0, 0.01))),
        loop_ma: Some(channel(&ramp(4.0, 0.001))),
        power_w: Some(ramp(-3.0, 1.7)),
        frequency_hz: Some(ramp(49.98, 1e-5)),
        transducer_supply_v: None,
    };
    if rows > 3 {
        columns.power_w.as_mut().unwrap()[3] = f32::NAN;
    }
    Recording {
        columns,
        source: Source {
            name: "a.csv".to_owned(),
            sha256: "00ff".to_owned(),
            site_text: Some("[supply]\n# ünïcode\n".to_owned()),
            losses: vec!["one was lost".to_owned(), "and another".to_owned()],
            ..Source::default()
        },
        ..Recording::default()
    }
}

/// Bit for bit, NaN included.
fn bits(columns: &Columns) -> Vec<Vec<u32>> {
    let of = |values: &Vec<f32>| values.iter().map(|value| value.to_bits()).collect();
    let channels = columns
        .voltage_v
        .iter()
        .chain(&columns.current_a)
        .chain(&columns.pressure_bar)
        .chain(&columns.loop_ma);
    let mut out: Vec<Vec<u32>> =
        channels.flat_map(|channel| [&channel.mean, &channel.min, &channel.max]).map(of).collect();
    out.extend(columns.power_w.iter().chain(&columns.frequency_hz).map(of));
    out
}

#[test]
fn both_formats_come_back_to_the_last_bit() {
    let folder = tempfile::tempdir().unwrap();
    for (format, name) in [(Format::Csv, "a.csv"), (Format::Parquet, "a.parquet")] {
        for rows in [1, 2, 1000] {
            let recording = sample(rows);
            let path = folder.path().join(name);
            write_table(&recording, &path, format).unwrap();
            let back = read_any(&path, &ImportOptions::default(), None).unwrap();
            assert_eq!(back.columns.end_ms, recording.columns.end_ms);
            assert_eq!(back.columns.span_ms, recording.columns.span_ms);
            assert_eq!(bits(&back.columns), bits(&recording.columns), "{name} {rows}");
            assert!(back.columns.transducer_supply_v.is_none());
            assert_eq!(back.source.name, name);
            assert_eq!(back.source.sha256, sha256_hex(&fs::read(&path).unwrap()));
            if format == Format::Parquet {
                assert_eq!(back.source.site_text, recording.source.site_text);
                assert_eq!(back.source.losses, recording.source.losses);
                assert_eq!(back.source.made_from.as_deref(), Some("a.csv (SHA-256 00ff)"));
            }
        }
    }
    // Nothing but the two files: no half file was left behind.
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
}

#[test]
fn three_phases_come_back() {
    let mut recording = sample(5);
    recording.columns.voltage_v = vec![channel(&[1.0; 5]), channel(&[2.0; 5]), channel(&[3.0; 5])];
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a");
    write_table(&recording, &path, Format::Csv).unwrap();
    let back = read_any(&path, &ImportOptions::default(), None).unwrap();
    assert_eq!(back.columns.voltage_v, recording.columns.voltage_v);
}

#[test]
fn a_failed_write_leaves_the_old_file() {
    let (_folder, path) = written("a.csv", b"old");
    let result = replace::replace(&path, |_| Err(Problem::NoRows));
    assert!(result.is_err());
    assert_eq!(fs::read(&path).unwrap(), b"old");
    let missing = path.with_file_name("no-folder").join("a.csv");
    let error = write_table(&sample(1), &missing, Format::Csv).unwrap_err().to_string();
    assert!(error.contains("no-folder"), "{error}");
}

#[test]
fn separators_commas_marks_and_comments_of_other_programs() {
    let recording = read(
        "\u{FEFF}# logger export\r\ntime;voltage_v;pressure_kpa\r\n2026-02-03 04:05:06Z;230,5;350\r\n\
         2026-02-03 04:05:07Z;;1.5e2\r\n",
    )
    .unwrap();
    assert_eq!(recording.columns.voltage_v[0].mean[0], 230.5);
    assert!(recording.columns.voltage_v[0].mean[1].is_nan());
    assert_eq!(recording.columns.pressure_bar.unwrap().mean, [3.5, 1.5]);
    // A heading in an 8-bit alphabet.
    let (_folder, path) =
        written("t.csv", b"time,temp \xB0C,voltage_v\n2026-02-03T04:05:06Z,5,230\n");
    let recording = read_table(&path, &ImportOptions::default(), None).unwrap();
    assert_eq!(recording.columns.voltage_v[0].mean, [230.0]);
}

#[test]
fn bad_tables_are_refused_in_one_line() {
    for (bytes, expected) in [
        (&b""[..], "the file is empty"),
        (b"\n\n\n", "it cannot be read as CSV"),
        (b"PK\x03\x04rest", "spreadsheet"),
        (b"\x00\x01\x02", "a binary file of an unknown kind"),
        (b"PAR1", "it cannot be read as Parquet"),
        (b"PAR1 and then some text PAR1", "it cannot be read as Parquet"),
        (b"PWARCH1\n", "the archive is cut off inside its head"),
        (b"time,voltage_v,voltage_v\n1,2,3\n", "two columns are called `voltage_v`"),
        (b"time,voltage_v\n2026-02-03T04:05:06Z,1,2,3\n", "it cannot be read as CSV"),
        (b"time,voltage_v\n2026-02-03T04:05:06Z,off\n", "row 1, column `voltage_v`: \"off\""),
        (b"time,note\n2026-02-03T04:05:06Z,off\n", "no column holds a channel"),
        (b"hello world\n", "no column holds the time"),
        (b"time,voltage_v\n", "no row carries a time"),
    ] {
        let error = refusal(bytes);
        assert!(error.contains(expected), "{error}");
        assert_eq!(error.lines().count(), 1, "{error}");
    }
}

/// Clock change of 27 March 2022 in central Europe (EU directive 2000/84/EC: last Sunday of March,
/// 01:00 UTC), as a logger that writes offsets and one that writes wall time would show it.
#[test]
fn hourly_rows_across_a_change_of_the_clock() {
    let offsets = "Time,power_w\n2022-03-27T00:00:00+01:00,1\n2022-03-27T01:00:00+01:00,2\n\
                   2022-03-27T03:00:00+02:00,3\n2022-03-27T04:00:00+02:00,4\n";
    let wall = offsets.replace("+01:00", "").replace("+02:00", "");
    let by_offset = read(offsets).unwrap();
    let (_folder, path) = written("wall.csv", wall.as_bytes());
    let options =
        ImportOptions { time_zone: Some("Europe/Berlin".to_owned()), ..ImportOptions::default() };
    let by_zone = read_table(&path, &options, None).unwrap();
    assert_eq!(by_zone.columns, by_offset.columns);
    assert_eq!(by_offset.columns.span_ms, [3_600_000; 4]);
    assert!(by_zone.source.losses.is_empty());
}

#[test]
fn parquet_times_of_any_unit() {
    use polars::prelude::*;
    let ms = 1_770_091_506_250_i64;
    for (unit, scale) in [
        (TimeUnit::Milliseconds, 1),
        (TimeUnit::Microseconds, 1000),
        (TimeUnit::Nanoseconds, 1_000_000),
    ] {
        for zone in [None, Some(TimeZone::UTC)] {
            let time = Series::new("time".into(), [Some(ms * scale), None]);
            let time = time.i64().unwrap().clone().into_datetime(unit, zone.clone());
            let volts = Series::new("voltage_v".into(), [230_i32, 231]);
            let columns = vec![time.into_column(), volts.into_column()];
            let mut frame = DataFrame::new(2, columns).unwrap();
            let mut bytes = Vec::new();
            ParquetWriter::new(&mut bytes).finish(&mut frame).unwrap();
            let (_folder, path) = written("t.parquet", &bytes);
            let recording = read_table(&path, &ImportOptions::default(), None).unwrap();
            assert_eq!(recording.columns.end_ms, [ms], "{unit:?} {zone:?}");
            assert_eq!(recording.columns.voltage_v[0].mean, [230.0]);
        }
    }
    let days = Series::new("date".into(), [20_000_i32]).cast(&DataType::Date).unwrap();
    let cells = library::cells(&days.into_column(), false).unwrap();
    let crate::table::Cells::Moments { ms, utc: false } = cells else { panic!("{cells:?}") };
    assert_eq!(ms, [20_000 * 86_400_000]);
    assert_ne!(ms[0], MISSING);
}

#[test]
fn marks_have_a_table_of_their_own() {
    use pumpwitness_protocol::record::{LampState, Mark, TimedMark};
    let mut recording = sample(1);
    recording.marks = vec![
        TimedMark { time_ms: 1_770_000_000_000, mark: Mark::Armed },
        TimedMark {
            time_ms: 1_770_000_000_500,
            mark: Mark::Lamp { lamp: 2, state: LampState::Flashing(150) },
        },
    ];
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("marks.csv");
    write_marks(&recording, &path, Format::Csv).unwrap();
    assert_eq!(
        fs::read_to_string(&path).unwrap(),
        "time,kind,detail\n2026-02-02T02:40:00.000Z,armed,\n\
         2026-02-02T02:40:00.500Z,lamp,input 2 flashing at 1.50 Hz\n"
    );
    write_marks(&recording, &folder.path().join("marks.parquet"), Format::Parquet).unwrap();
}

fn parquet_bytes() -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.parquet");
    write_table(&sample(200), &path, Format::Parquet).unwrap();
    fs::read(path).unwrap()
}

/// A count in a page header, made negative by one bit, once ended the whole program in a failed
/// reservation of memory.
#[test]
fn every_bit_of_a_page_header_may_flip() {
    let good = parquet_bytes();
    for bit in 0..100 * 8 {
        let mut bytes = good.clone();
        bytes[4 + bit / 8] ^= 1 << (bit % 8);
        let _ = recording(Path::new("a"), &bytes, &ImportOptions::default(), None);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// A damaged Parquet file gives an error of one line or rows in order; nothing else.
    #[test]
    fn damaged_parquet_is_survived(at in 0..10_000_usize, bit in 0..8_u8, cut: bool) {
        static BYTES: std::sync::LazyLock<Vec<u8>> = std::sync::LazyLock::new(parquet_bytes);
        let mut bytes = BYTES.clone();
        // Half of all damage into the last kilobytes, where the structure is.
        let at = if bit < 4 { bytes.len() - 1 - at % 3000 } else { at % bytes.len() };
        if cut { bytes.truncate(at) } else { bytes[at] ^= 1 << bit }
        let result = recording(Path::new("a"), &bytes, &ImportOptions::default(), None);
        match result {
            Ok(recording) => {
                let ends = &recording.columns.end_ms;
                prop_assert!(ends.windows(2).all(|pair| pair[0] < pair[1]));
            }
            Err(problem) => prop_assert_eq!(problem.to_string().lines().count(), 1),
        }
    }

    #[test]
    fn any_text_is_survived(text in "(time,voltage_v\n)?[0-9a-zT:;,.\"\n\r#é-]{0,200}") {
        let result = recording(Path::new("a"), text.as_bytes(), &ImportOptions::default(), None);
        if let Err(problem) = result {
            prop_assert_eq!(problem.to_string().lines().count(), 1);
        }
    }
}
