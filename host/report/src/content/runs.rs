//! Runs, one by one.

use super::{Block, Cell, Column, Section, Table, View};
use crate::format::{count, duration};
use crate::strings::{sentences, stops};
use crate::times::Fine;
use crate::units::Quantity;
use pumpwitness_analysis::outcome::Run;

/// Runs that are shown without unfolding.
const OPEN: usize = 30;
/// Runs listed at most; the rest is in the exported tables.
const LISTED: usize = 5000;

/// The section.
pub fn section(view: &View<'_>) -> Section {
    let runs = &view.analysis().runs;
    let mut blocks = Vec::new();
    if runs.is_empty() {
        blocks.push(Block::Paragraph(sentences::NO_RUNS.into()));
    } else {
        blocks.push(Block::Paragraph(summary(runs).into()));
        let table = Block::Table(table(view, runs));
        if runs.len() <= OPEN {
            blocks.push(table);
        } else {
            blocks.push(Block::Folded {
                summary: sentences::all_runs(runs.len().min(LISTED)),
                blocks: vec![table],
            });
        }
    }
    Section { id: "runs".into(), title: sentences::RUNS.into(), tone: None, blocks }
}

fn summary(runs: &[Run]) -> String {
    let mut lengths: Vec<f64> = runs.iter().map(|run| run.duration_s).collect();
    lengths.sort_by(f64::total_cmp);
    let at = |share: f64| duration(lengths[((lengths.len() - 1) as f64 * share).round() as usize]);
    sentences::runs_summary(
        &count(runs.len()),
        &duration(lengths.iter().sum()),
        &at(0.5),
        &at(0.0),
        &at(1.0),
    )
}

fn table(view: &View<'_>, runs: &[Run]) -> Table {
    let pressure = view.reader.symbol(Quantity::Bar);
    let has_current = runs.iter().any(|run| run.running_current_a.is_some());
    let has_pressure = runs.iter().any(|run| run.start_pressure_bar.is_some());
    let mut columns = vec![
        Column::numbers(sentences::COLUMN_NUMBER),
        Column::words(sentences::COLUMN_START),
        Column::numbers(sentences::COLUMN_LASTING),
    ];
    if has_current {
        columns.push(Column::numbers(sentences::COLUMN_PEAK));
        columns.push(Column::numbers(sentences::COLUMN_CURRENT));
    }
    if has_pressure {
        columns.push(Column::numbers(sentences::column_start_pressure(pressure)));
        columns.push(Column::numbers(sentences::column_stop_pressure(pressure)));
    }
    columns.push(Column::words(sentences::COLUMN_STOPPED_BY));
    let figure = |quantity, value: Option<f64>| -> Cell {
        value.map_or_else(|| "–".into(), |value| view.reader.number(quantity, value).into())
    };
    let rows = runs
        .iter()
        .take(LISTED)
        .enumerate()
        .map(|(n, run)| {
            let start = view.times.moment(run.start, Fine::Tenth);
            let mut cells: Vec<Cell> = vec![
                count(n + 1).into(),
                if run.automatic_restart {
                    sentences::restarted(&start).into()
                } else {
                    start.into()
                },
                duration(run.duration_s).into(),
            ];
            if has_current {
                cells.push(figure(Quantity::Ampere, run.peak_current_a));
                cells.push(figure(Quantity::Ampere, run.running_current_a));
            }
            if has_pressure {
                cells.push(figure(Quantity::Bar, run.start_pressure_bar));
                cells.push(figure(Quantity::Bar, run.stop_pressure_bar));
            }
            cells.push(run.stop_reason.map_or(sentences::STOP_NOT_SEEN, stops::name).into());
            cells
        })
        .collect();
    Table {
        caption: sentences::listed(sentences::RUNS_CAPTION, runs.len().min(LISTED), runs.len()),
        columns,
        rows,
    }
}
