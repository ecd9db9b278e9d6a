use super::*;
use crate::columns::Columns;
use crate::error::Problem;
use pumpwitness_site_file::Site;

fn texts(cells: &[&str]) -> Cells {
    let mut texts = Texts::with_capacity(cells.len(), false);
    for cell in cells {
        texts.push(cell);
    }
    Cells::Texts(texts)
}

/// A table of text columns: heading, cells.
fn table(columns: &[(&str, &[&str])]) -> RawTable {
    let columns = columns
        .iter()
        .map(|(name, cells)| RawColumn { name: (*name).to_owned(), cells: texts(cells) })
        .collect();
    RawTable { columns }
}

fn import(columns: &[(&str, &[&str])]) -> Imported {
    assemble(table(columns), &ImportOptions::default(), None).unwrap()
}

fn refusal(columns: &[(&str, &[&str])]) -> String {
    assemble(table(columns), &ImportOptions::default(), None).unwrap_err().to_string()
}

fn in_zone(zone: &str, times: &[&str]) -> Imported {
    let values = vec!["1"; times.len()];
    let options = ImportOptions { time_zone: Some(zone.to_owned()), ..ImportOptions::default() };
    assemble(table(&[("time", times), ("voltage_v", &values)]), &options, None).unwrap()
}

fn utc(columns: &Columns) -> Vec<String> {
    columns.end_ms.iter().map(|ms| crate::clock::utc_text(*ms)).collect()
}

fn site(more: &str) -> Site {
    pumpwitness_site_file::parse(&format!(
        "[supply]\nnominal_v = 230\nfrequency_hz = 50\n[motor]\nrated_current_a = 7\n{more}"
    ))
    .unwrap()
}

#[test]
fn columns_land_in_their_units() {
    let imported = import(&[
        ("Time", &["2026-02-03T04:05:06Z", "2026-02-03T04:05:07Z"]),
        ("voltage_v", &["230.5", ""]),
        ("voltage_min_v", &["229", "NaN"]),
        ("current_max_a", &["9.5", "9.6"]),
        ("current_a", &["7", "null"]),
        ("Pressure [psi]", &["50", "40"]),
        ("power_kw", &["1.5", "1.25"]),
    ]);
    let columns = imported.columns;
    assert_eq!(columns.end_ms, [1_770_091_506_000, 1_770_091_507_000]);
    assert_eq!(columns.span_ms, [1000, 1000]);
    let voltage = &columns.voltage_v[0];
    assert_eq!(voltage.mean[0], 230.5);
    assert!(voltage.mean[1].is_nan() && voltage.min[1].is_nan());
    assert_eq!((voltage.min[0], voltage.max[0], voltage.spread), (229.0, 230.5, true));
    assert_eq!(columns.current_a[0].max, [9.5, 9.6]);
    // 50 psi is 3.447 bar (handbook tables).
    let pressure = columns.pressure_bar.unwrap();
    assert!((pressure.mean[0] - 3.447).abs() < 5e-4 && !pressure.spread);
    assert_eq!(columns.power_w.unwrap(), [1500.0, 1250.0]);
    assert!(imported.notes.is_empty(), "{:?}", imported.notes);
}

#[test]
fn three_phases() {
    let imported = import(&[
        ("time", &["2026-02-03T04:05:06Z"]),
        ("voltage_l1_v", &["230"]),
        ("voltage_l2_v", &["231"]),
        ("voltage_l3_v", &["232"]),
        ("voltage_l3_min_v", &["200"]),
    ]);
    let voltage = imported.columns.voltage_v;
    assert_eq!(voltage.len(), 3);
    assert_eq!((voltage[2].mean[0], voltage[2].min[0]), (232.0, 200.0));
}

#[test]
fn what_is_missing_or_mixed_is_named() {
    let time: (&str, &[&str]) = ("time", &["2026-02-03T04:05:06Z"]);
    assert_eq!(
        refusal(&[("voltage_v", &["1"]), ("note", &["x"])]),
        "no column holds the time: name one `time` or map it; the columns are voltage_v, note"
    );
    assert_eq!(
        refusal(&[time, ("pressure", &["1"])]),
        "no column holds a channel (voltage_v, current_a, pressure_bar or _kpa or _psi, loop_ma, \
         power_w, frequency_hz): rename or map one; the columns are time, pressure"
    );
    assert_eq!(
        refusal(&[time, ("pressure_bar", &["1"]), ("pressure_max_psi", &["20"])]),
        "the columns `pressure_bar` and `pressure_max_psi` give one channel in two units: keep \
         one unit"
    );
    assert_eq!(
        refusal(&[time, ("voltage_v", &["1"]), ("Voltage (V)", &["20"])]),
        "the columns `voltage_v` and `Voltage (V)` both give voltage_v: keep one, or map the \
         right one"
    );
    assert_eq!(
        refusal(&[time, ("voltage_v", &["1"]), ("voltage_v", &["20"])]),
        "two columns are called `voltage_v`: rename one of them"
    );
}

#[test]
fn text_in_numbers_is_shown_with_its_place() {
    assert_eq!(
        refusal(&[
            ("time", &["2026-02-03T04:05:06Z", "2026-02-03T04:05:07Z"]),
            ("voltage_v", &["1", "overload"]),
        ]),
        "row 2, column `voltage_v`: \"overload\" is not a number that can be kept; leave a cell empty where there \
         is no value"
    );
}

#[test]
fn a_mapping_says_what_the_heading_does_not() {
    let raw =
        || table(&[("when", &["2026-02-03T04:05:06Z"]), ("PT1", &["58"]), ("voltage_v", &["1"])]);
    let options = |mapping: &[(&str, &str)]| ImportOptions {
        mapping: mapping.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect(),
        ..ImportOptions::default()
    };
    let given = options(&[("when", "time"), ("PT1", "pressure_psi")]);
    let imported = assemble(raw(), &given, None).unwrap();
    assert!((imported.columns.pressure_bar.unwrap().mean[0] - 3.999).abs() < 5e-4);
    let error = assemble(raw(), &options(&[("PT2", "time")]), None).unwrap_err().to_string();
    assert_eq!(error, "there is no column `PT2` to map; the columns are when, PT1, voltage_v");
    let error = assemble(raw(), &options(&[("PT1", "pressure")]), None).unwrap_err().to_string();
    assert!(error.starts_with("`pressure` is no channel"), "{error}");
}

#[test]
fn unordered_and_repeated_times_are_mended_and_told() {
    let imported = import(&[
        (
            "time",
            &[
                "2026-02-03T04:05:08Z",
                "2026-02-03T04:05:06Z",
                "",
                "2026-02-03T04:05:07Z",
                "2026-02-03T04:05:07Z",
            ],
        ),
        ("voltage_v", &["3", "1", "99", "", "2"]),
        ("voltage_max_v", &["3", "1", "99", "7", "2"]),
    ]);
    assert_eq!(imported.columns.end_ms.len(), 3);
    assert_eq!(imported.columns.voltage_v[0].mean, [1.0, 2.0, 3.0]);
    assert_eq!(imported.columns.voltage_v[0].max, [1.0, 7.0, 3.0]);
    assert_eq!(
        imported.notes,
        [
            "1 rows carry no time and were left out",
            "the rows were not in time order (time ran backwards 1 times): they were sorted",
            "1 rows repeat the time of another row: each was merged into it (first value kept, \
             extremes widened)",
        ]
    );
}

#[test]
fn unix_times_tell_their_own_unit() {
    let seconds = "1770091506.25";
    for (heading, time) in [
        ("time", seconds),
        ("time", "1770091506250"),
        ("time", "1770091506250000"),
        ("unix_ms", "1770091506250"),
        ("epoch [µs]", "1770091506250000"),
    ] {
        let columns = import(&[(heading, &[time]), ("voltage_v", &["1"])]).columns;
        assert_eq!(columns.end_ms, [1_770_091_506_250], "{heading} {time}");
    }
    let error = refusal(&[("t_s", &["0", "60"]), ("voltage_v", &["1", "1"])]);
    assert!(error.contains("row 1, column `t_s`"), "{error}");
    let options =
        ImportOptions { elapsed_from_ms: Some(1_770_000_000_000), ..ImportOptions::default() };
    let raw = table(&[("t_s", &["0", "0.2"]), ("voltage_v", &["1", "1"])]);
    let columns = assemble(raw, &options, None).unwrap().columns;
    assert_eq!(columns.end_ms, [1_770_000_000_000, 1_770_000_000_200]);
}

#[test]
fn times_that_cannot_be_read_are_shown() {
    let error = refusal(&[("time", &["03/02/2026 04:05"]), ("voltage_v", &["1"])]);
    assert_eq!(
        error,
        "row 1, column `time`: \"03/02/2026 04:05\" is not a time that can be read: write \
         2026-02-03T04:05:06Z, or give a pattern such as %d/%m/%Y %H:%M:%S"
    );
    let options = ImportOptions {
        time_format: Some("%d/%m/%Y %H:%M".to_owned()),
        ..ImportOptions::default()
    };
    let raw = table(&[("time", &["03/02/2026 04:05"]), ("voltage_v", &["1"])]);
    let imported = assemble(raw, &options, None).unwrap();
    assert_eq!(utc(&imported.columns), ["2026-02-03T04:05:00.000Z"]);
    let error = refusal(&[("time", &["9999-02-03T04:05:06Z"]), ("voltage_v", &["1"])]);
    assert!(error.contains("9999-02-03"), "{error}");
}

/// Clock changes of 2026 in Lisbon by the EU's rule (directive 2000/84/EC): last Sunday of October
/// and of March at 01:00 UTC.
#[test]
fn local_times_across_the_changes_of_the_clock() {
    let imported = in_zone(
        "Europe/Lisbon",
        &[
            "2026-10-25 00:30",
            "2026-10-25 01:00",
            "2026-10-25 01:30",
            "2026-10-25 01:00",
            "2026-10-25 01:30",
            "2026-10-25 02:00",
        ],
    );
    assert_eq!(
        utc(&imported.columns),
        [
            "2026-10-24T23:30:00.000Z",
            "2026-10-25T00:00:00.000Z",
            "2026-10-25T00:30:00.000Z",
            "2026-10-25T01:00:00.000Z",
            "2026-10-25T01:30:00.000Z",
            "2026-10-25T02:00:00.000Z",
        ]
    );
    assert_eq!(imported.notes.len(), 1);
    assert!(imported.notes[0].starts_with("4 times fall into an hour"), "{:?}", imported.notes);

    let imported = in_zone("Europe/Lisbon", &["2026-03-29 00:30", "2026-03-29 01:30"]);
    assert_eq!(utc(&imported.columns), ["2026-03-29T00:30:00.000Z", "2026-03-29T01:30:00.000Z"]);
    assert!(imported.notes[0].contains("skip"), "{:?}", imported.notes);
}

#[test]
fn the_zone_comes_from_the_options_the_site_or_is_assumed() {
    let raw = || table(&[("time", &["2026-07-01 12:00:00"]), ("voltage_v", &["1"])]);
    let lisbon = site("[site]\ntime_zone = \"Europe/Lisbon\"\n");
    let hour = |options: &ImportOptions, site: Option<&Site>| {
        utc(&assemble(raw(), options, site).unwrap().columns)[0][11..13].to_owned()
    };
    let tokyo =
        ImportOptions { time_zone: Some("Asia/Tokyo".to_owned()), ..ImportOptions::default() };
    assert_eq!(hour(&tokyo, Some(&lisbon)), "03");
    assert_eq!(hour(&ImportOptions::default(), Some(&lisbon)), "11");
    let imported = assemble(raw(), &ImportOptions::default(), None).unwrap();
    assert_eq!(utc(&imported.columns), ["2026-07-01T12:00:00.000Z"]);
    assert!(imported.notes[0].contains("taken as UTC"));
    let atlantis =
        ImportOptions { time_zone: Some("Atlantis".to_owned()), ..ImportOptions::default() };
    assert!(matches!(assemble(raw(), &atlantis, None), Err(Problem::Zone { .. })));
}

#[test]
fn pressure_comes_from_the_loop_and_the_site_file() {
    let raw = || table(&[("time", &["2026-07-01T12:00:00Z"]), ("loop_ma", &["12"])]);
    let fitted = site("[transducer]\nlow_bar = 0\nhigh_bar = 6\n");
    let options = ImportOptions::default();
    let columns = assemble(raw(), &options, Some(&fitted)).unwrap().columns;
    assert_eq!(columns.pressure_bar.unwrap().mean, [3.0]);
    assert_eq!(columns.loop_ma.unwrap().mean, [12.0]);
    let imported = assemble(raw(), &options, Some(&site(""))).unwrap();
    assert!(imported.columns.pressure_bar.is_none());
    assert!(imported.notes[0].contains("[transducer]"));
}

/// Found by fuzzing: a quoted heading may hold line breaks, a message is one line.
#[test]
fn a_heading_of_several_lines_is_one_line_in_a_message() {
    let text = refusal(&[("volts\nof\tphase 1", &["1"])]);
    assert!(text.ends_with("volts of phase 1"), "{text:?}");
    assert!(!text.contains(char::is_control), "{text:?}");
}
