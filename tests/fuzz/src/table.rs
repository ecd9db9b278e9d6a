//! Cells of an imported table, as CSV and Parquet give them.

use arbitrary::Arbitrary;
use pumpwitness_recording::table::{
    Cells, ImportOptions, MISSING, RawColumn, RawTable, Texts, assemble, headings,
};

const HEADINGS: [&str; 16] = [
    "time",
    "time_ms",
    "elapsed_s",
    "span_s",
    "voltage_v",
    "voltage_min_v",
    "voltage_max_v",
    "voltage_2_v",
    "current_a",
    "current_ma",
    "pressure_bar",
    "pressure_psi",
    "loop_ma",
    "power_w",
    "frequency_hz",
    "transducer_supply_v",
];

#[derive(Arbitrary, Debug)]
enum Column<'a> {
    Numbers(Vec<f64>),
    Texts(bool, Vec<&'a str>),
    Steady { from: i32, step: u16 },
    Moments(bool, Vec<Option<i64>>),
    Other,
}

#[derive(Arbitrary, Debug)]
struct Input<'a> {
    rows: u8,
    columns: Vec<(u8, Option<&'a str>, Column<'a>)>,
    mapping: Vec<(&'a str, &'a str)>,
    time_zone: Option<&'a str>,
    time_format: Option<&'a str>,
    elapsed_from_ms: Option<i64>,
}

fn cells(column: &Column<'_>, rows: usize) -> Cells {
    match column {
        Column::Numbers(given) => {
            let mut numbers = given.clone();
            numbers.resize(rows, f64::NAN);
            Cells::Numbers(numbers)
        }
        Column::Texts(decimal_comma, given) => {
            let mut texts = Texts::with_capacity(rows, *decimal_comma);
            for n in 0..rows {
                texts.push(given.get(n).copied().unwrap_or_default());
            }
            Cells::Texts(texts)
        }
        Column::Steady { from, step } => Cells::Numbers(
            (0..rows).map(|n| f64::from(*from) + n as f64 * f64::from(*step) / 10.0).collect(),
        ),
        Column::Moments(utc, given) => {
            let mut ms: Vec<i64> = given.iter().map(|ms| ms.unwrap_or(MISSING)).collect();
            ms.resize(rows, MISSING);
            Cells::Moments { ms, utc: *utc }
        }
        Column::Other => Cells::Other("list".to_owned()),
    }
}

/// Runs the target on one input.
pub fn run(bytes: &[u8]) {
    let Some(input) = crate::input::<Input<'_>>(bytes) else { return };
    let rows = usize::from(input.rows);
    let columns: Vec<RawColumn> = input
        .columns
        .iter()
        .map(|(heading, name, column)| {
            let known = HEADINGS[usize::from(*heading) % HEADINGS.len()];
            let name = name.unwrap_or(known).to_owned();
            let _ = headings::read(&name);
            RawColumn { name, cells: cells(column, rows) }
        })
        .collect();
    // Options come from a command line, which is one line.
    let line = |text: &str| text.replace(char::is_control, " ");
    let owned = |text: Option<&str>| text.map(line);
    let options = ImportOptions {
        mapping: input.mapping.iter().map(|(a, b)| (line(a), line(b))).collect(),
        time_zone: owned(input.time_zone),
        time_format: owned(input.time_format),
        elapsed_from_ms: input.elapsed_from_ms,
    };
    let site = pumpwitness_site_file::parse(pumpwitness_site_file::EXAMPLE).ok();
    match assemble(RawTable { columns }, &options, site.as_ref()) {
        Err(problem) => {
            let text = problem.to_string();
            assert!(!text.contains('\n') && !text.is_empty(), "{text:?}");
        }
        Ok(imported) => {
            let columns = imported.columns;
            let rows = columns.len();
            assert!(rows > 0);
            assert!(columns.end_ms.windows(2).all(|pair| pair[0] < pair[1]));
            assert_eq!(columns.span_ms.len(), rows);
            for row in 1..rows {
                assert!(columns.start_ms(row) >= columns.end_ms[row - 1], "spans overlap");
            }
            let channels = columns.voltage_v.iter().chain(&columns.current_a);
            for channel in channels.chain(&columns.pressure_bar).chain(&columns.loop_ma) {
                assert_eq!(
                    (channel.mean.len(), channel.min.len(), channel.max.len()),
                    (rows, rows, rows)
                );
            }
            for values in [&columns.power_w, &columns.frequency_hz, &columns.transducer_supply_v] {
                assert!(values.as_ref().is_none_or(|values| values.len() == rows));
            }
        }
    }
}
