//! Days at a glance.

use super::{Block, Cell, Column, Figure, Section, Table, Text, View};
use crate::format::{capital, count, counted, duration};
use crate::picture::Size;
use crate::picture::decimate::{Bucket, Series};
use crate::picture::glance::{self, Day, Shared};
use crate::picture::sign::{self, Nature};
use crate::picture::stack::buckets;
use crate::strings::{sentences, stops};
use crate::times::from_ms;
use crate::units::Quantity;
use pumpwitness_analysis::outcome::{Run, StopReason};
use std::collections::BTreeMap;

/// Days drawn; a longer record is drawn from its first day on, and says so.
const DRAWN: usize = 92;

/// Figures of one day.
struct Figures {
    day: Day,
    runs: usize,
    running_s: f64,
    stops: BTreeMap<StopReason, usize>,
    pressure: Option<(f64, f64)>,
    voltage: Option<(f64, f64)>,
}

/// The section.
pub fn section(view: &View<'_>) -> Section {
    let days = days(view);
    let shared = Shared {
        pressure: shared(days.iter().filter_map(|day| day.pressure), 0.05),
        voltage: shared(days.iter().filter_map(|day| day.voltage), 0.03),
    };
    let mut blocks =
        vec![Block::Paragraph(sentences::DAYS_LEAD.into()), Block::Aside(legend(view))];
    blocks.extend(days.iter().enumerate().map(|(n, day)| {
        Block::Figure(Figure {
            id: format!("day-{}", n + 1),
            title: sentences::day_title(&day.day.name),
            description: describe(view, day),
            wide: glance::draw(view, &day.day, &shared, Size::Wide),
            narrow: Some(glance::draw(view, &day.day, &shared, Size::Narrow)),
            caption: Text::default(),
            table: None,
            span: Some((day.day.from_ms, day.day.to_ms)),
        })
    }));
    blocks.push(Block::Table(table(view, &days)));
    Section { id: "days".into(), title: sentences::DAYS.into(), tone: None, blocks }
}

fn days(view: &View<'_>) -> Vec<Figures> {
    let (from, to) = view.extent();
    let mut days = Vec::new();
    let mut start = view.times.day_start(from_ms(from));
    while start.as_millisecond() < to && days.len() < DRAWN {
        let next = view.times.next_day(start);
        days.push(figures(view, start.as_millisecond(), next.as_millisecond()));
        start = next;
    }
    days
}

fn figures(view: &View<'_>, from_ms: i64, to_ms: i64) -> Figures {
    let within =
        |run: &&Run| run.start.as_millisecond() < to_ms && run.stop.as_millisecond() > from_ms;
    let (mut runs, mut running_ms) = (0, 0);
    let mut stops = BTreeMap::new();
    for run in view.analysis().runs.iter().filter(within) {
        let (start, stop) = (run.start.as_millisecond(), run.stop.as_millisecond());
        running_ms += stop.min(to_ms) - start.max(from_ms);
        runs += usize::from(start >= from_ms);
        if let Some(reason) = run.stop_reason
            && stop < to_ms
        {
            *stops.entry(reason).or_insert(0) += 1;
        }
    }
    let summed = |series: Option<Series<'_>>, quantity| {
        series.map_or_else(Vec::new, |series| {
            buckets(view, series, quantity, from_ms, to_ms, glance::COLUMNS)
        })
    };
    let pressure = summed(view.pressure(), Quantity::Bar);
    let voltage = summed(view.voltage(), Quantity::Volt);
    let running_s = running_ms as f64 / 1000.0;
    let summary =
        sentences::day_summary(&counted(runs, "start", "starts"), &duration((running_s).round()));
    Figures {
        runs,
        running_s,
        stops,
        pressure: extent(&pressure),
        voltage: extent(&voltage),
        day: Day {
            from_ms,
            to_ms,
            name: view.times.weekday(crate::times::from_ms(from_ms)),
            summary,
            pressure,
            voltage,
        },
    }
}

fn extent(buckets: &[Option<Bucket>]) -> Option<(f64, f64)> {
    buckets.iter().flatten().fold(None, |extent: Option<(f64, f64)>, bucket| {
        let (min, max) = (f64::from(bucket.min), f64::from(bucket.max));
        let (low, high) = extent.unwrap_or((min, max));
        Some((low.min(min), high.max(max)))
    })
}

/// A scale that holds every day, with a little room. It leaves out nothing: a single extreme day
/// sets it for all, which is what makes the days comparable.
fn shared(days: impl Iterator<Item = (f64, f64)>, room: f64) -> Option<(f64, f64)> {
    let (low, high) = days.fold(None, |all: Option<(f64, f64)>, (low, high)| {
        let (a, b) = all.unwrap_or((low, high));
        Some((a.min(low), b.max(high)))
    })?;
    let margin = ((high - low) * room).max(high.abs() * 0.01);
    Some((if low >= 0.0 { (low - margin).max(0.0) } else { low - margin }, high + margin))
}

fn describe(view: &View<'_>, figures: &Figures) -> String {
    let mut parts = vec![figures.day.summary.clone()];
    let range = |(low, high): (f64, f64), quantity, name: &str| {
        let digits = if view.reader.symbol(quantity) == "bar" { 2 } else { 0 };
        format!(
            "{name} {} to {} {}",
            crate::format::fixed(low, digits),
            crate::format::fixed(high, digits),
            view.reader.symbol(quantity)
        )
    };
    if let Some(extent) = figures.pressure {
        parts.push(range(extent, Quantity::Bar, sentences::CHANNEL_PRESSURE));
    }
    if let Some(extent) = figures.voltage {
        parts.push(range(extent, Quantity::Volt, sentences::CHANNEL_VOLTAGE));
    }
    parts.extend(
        figures.stops.iter().map(|(reason, n)| format!("{} {}", count(*n), stops::name(*reason))),
    );
    parts.join("; ")
}

fn legend(view: &View<'_>) -> Text {
    let used: Vec<StopReason> = view
        .analysis()
        .stops
        .keys()
        .copied()
        .filter(|reason| sign::nature(*reason) != Nature::Normal)
        .collect();
    let mut words = sentences::DAYS_LEGEND.to_owned();
    if !used.is_empty() {
        let letters: Vec<String> = used
            .iter()
            .map(|reason| format!("{} {}", stops::letter(*reason), stops::name(*reason)))
            .collect();
        words.push_str(&sentences::days_letters(&letters.join("; ")));
    }
    words.into()
}

fn table(view: &View<'_>, days: &[Figures]) -> Table {
    let mut columns = vec![
        Column::words(sentences::COLUMN_DAY),
        Column::numbers(sentences::COLUMN_STARTS),
        Column::numbers(sentences::COLUMN_RUNNING),
    ];
    let pressure = view.reader.symbol(Quantity::Bar);
    if view.pressure().is_some() {
        columns
            .push(Column::numbers(format!("{}, {pressure}", capital(sentences::CHANNEL_PRESSURE))));
    }
    if view.voltage().is_some() {
        columns.push(Column::numbers(format!("{}, V", capital(sentences::CHANNEL_VOLTAGE))));
    }
    columns.push(Column::words(sentences::COLUMN_OTHER_STOPS));
    let digits = usize::from(pressure == "bar") * 2;
    let extent = |extent: Option<(f64, f64)>, digits| -> Cell {
        extent.map_or_else(
            || "–".into(),
            |(low, high)| {
                format!(
                    "{} to {}",
                    crate::format::fixed(low, digits),
                    crate::format::fixed(high, digits)
                )
                .into()
            },
        )
    };
    let rows = days
        .iter()
        .map(|figures| {
            let mut cells: Vec<Cell> = vec![
                figures.day.name.clone().into(),
                count(figures.runs).into(),
                duration(figures.running_s.round()).into(),
            ];
            if view.pressure().is_some() {
                cells.push(extent(figures.pressure, digits));
            }
            if view.voltage().is_some() {
                cells.push(extent(figures.voltage, 0));
            }
            let others: Vec<String> = figures
                .stops
                .iter()
                .filter(|(reason, _)| sign::nature(**reason) != Nature::Normal)
                .map(|(reason, n)| format!("{} {}", count(*n), stops::name(*reason)))
                .collect();
            cells.push(if others.is_empty() { "–".into() } else { others.join(", ").into() });
            cells
        })
        .collect();
    let caption = if days.len() == DRAWN { sentences::DAYS_CUT } else { sentences::DAYS_CAPTION };
    Table { caption: caption.into(), columns, rows }
}
