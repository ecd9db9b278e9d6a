//! How far the readings may be from the truth, and what that rests on.

use super::{Block, Cell, Column, Section, Table, Text, View};
use crate::budget::{Budget, Recorded, Standing};
use crate::format::{NBSP, significant};
use crate::strings::{sentences, uncertainty as words};
use crate::times::from_ms;
use crate::units::Quantity;
use pumpwitness_analysis::outcome::Finding;
use pumpwitness_recording::SourceKind;

/// Parts below this share of the variance are summed up.
const LEAST_SHARE: f64 = 0.02;

/// The section.
pub fn section(view: &View<'_>) -> Section {
    let mut blocks = Vec::new();
    if let Some(standing) = Standing::of(view.input) {
        blocks.push(Block::Paragraph(words::LEAD.into()));
        blocks.push(Block::Paragraph(calibration(view, &standing).into()));
        let budgets = standing.budgets(recorded(view));
        blocks.push(Block::Table(summary(&standing, &budgets)));
        blocks.push(Block::Aside(words::WITHOUT.into()));
        blocks.push(Block::Folded {
            summary: words::LINES.into(),
            blocks: vec![Block::Table(lines(&standing, &budgets))],
        });
    } else {
        blocks.push(Block::Paragraph(words::UNKNOWN.into()));
    }
    blocks.extend(times(view));
    Section { id: "uncertainty".into(), title: words::UNCERTAINTY.into(), tone: None, blocks }
}

/// A figure of a finding with its unit, and with its expanded uncertainty where it has one.
pub fn figure(
    view: &View<'_>,
    finding: &Finding,
    name: &str,
    quantity: Quantity,
    value: f64,
) -> String {
    let plain = view.reader.value(quantity, value);
    let uncertainty =
        Standing::of(view.input).and_then(|standing| standing.of_figure(finding, name, value));
    let Some(uncertainty) = uncertainty else { return plain };
    let number = view.reader.number(quantity, value);
    let decimals = number.rsplit_once('.').map_or(0, |(_, digits)| digits.len());
    // Rounded up to the last digit of the value (JCGM 100, 7.2.6).
    let scale = 10_f64.powi(decimals as i32);
    let shown = (view.reader.convert(quantity, uncertainty) * scale).ceil() / scale;
    let symbol = view.reader.symbol(quantity);
    let both = format!("{number}{NBSP}±{NBSP}{}", crate::format::fixed(shown, decimals));
    if symbol.is_empty() { both } else { format!("{both}{NBSP}{symbol}") }
}

/// True when the judged value lies within its uncertainty of the limit.
pub fn near_limit(view: &View<'_>, finding: &Finding) -> bool {
    Standing::of(view.input).and_then(|standing| standing.within(finding)).unwrap_or(false)
}

fn recorded(view: &View<'_>) -> Recorded {
    Recorded {
        voltage: view.voltage().is_some(),
        current: view.current().is_some(),
        power: view.power().is_some(),
        pressure: view.pressure().is_some() && view.input.site.transducer.is_some(),
        loop_current: view.loop_current().is_some(),
        frequency: view.frequency().is_some(),
    }
}

fn calibration(view: &View<'_>, standing: &Standing<'_>) -> String {
    match &view.input.recording.source.custody {
        Some(custody) if standing.calibrated() => {
            words::calibrated(&view.times.date(from_ms(custody.calibrated_ms)), standing.years())
        }
        _ => words::NEVER_CALIBRATED.to_owned(),
    }
}

fn in_unit(budget: &Budget, value: f64) -> String {
    format!("{}{NBSP}{}", significant(value, 2), budget.unit)
}

fn summary(standing: &Standing<'_>, budgets: &[&Budget]) -> Table {
    let rows = budgets
        .iter()
        .map(|budget| -> Vec<Cell> {
            let mut lines = standing.lines(budget);
            lines.sort_by(|a, b| b.u.total_cmp(&a.u));
            let whole: f64 = lines.iter().map(|line| line.u.powi(2)).sum();
            let share = |u: f64| u.powi(2) / whole.max(f64::MIN_POSITIVE);
            let (large, small): (Vec<_>, Vec<_>) =
                lines.iter().partition(|line| share(line.u) >= LEAST_SHARE);
            let percent = |share: f64| format!("{:.0}{NBSP}%", share * 100.0);
            let mut parts: Vec<String> = large
                .iter()
                .map(|line| {
                    let assumed = if line.basis == "assumed" { words::ASSUMED } else { "" };
                    format!("{}{assumed} {}", line.what, percent(share(line.u)))
                })
                .collect();
            let rest: f64 = small.iter().map(|line| share(line.u)).sum();
            if !small.is_empty() {
                parts.push(format!("{} {}", words::REST, percent(rest)));
            }
            vec![
                budget.title.clone().into(),
                format!("±{}", in_unit(budget, standing.expanded(budget))).into(),
                parts.join("; ").into(),
            ]
        })
        .collect();
    Table {
        caption: words::BUDGETS.into(),
        columns: vec![
            Column::words(words::COLUMN_QUANTITY),
            Column::words(words::COLUMN_EXPANDED),
            Column::words(words::COLUMN_PARTS),
        ],
        rows,
    }
}

fn lines(standing: &Standing<'_>, budgets: &[&Budget]) -> Table {
    let rows = budgets
        .iter()
        .flat_map(|budget| {
            standing.lines(budget).into_iter().map(|line| -> Vec<Cell> {
                vec![
                    budget.title.clone().into(),
                    line.what.clone().into(),
                    words::basis(&line.basis).into(),
                    in_unit(budget, line.u).into(),
                ]
            })
        })
        .collect();
    Table {
        caption: words::LINES.into(),
        columns: vec![
            Column::words(words::COLUMN_QUANTITY),
            Column::words(words::COLUMN_PART),
            Column::words(words::COLUMN_BASIS),
            Column::words(words::COLUMN_STANDARD),
        ],
        rows,
    }
}

fn times(view: &View<'_>) -> Option<Block> {
    let source = &view.input.recording.source;
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    if let Some(row_s) = view.row_s(i64::MIN, i64::MAX) {
        let row = words::half_of(&crate::format::duration(row_s));
        rows.push(vec![words::MOMENTS.into(), row.into(), words::MOMENTS_SOURCE.into()]);
    }
    if source.kind == SourceKind::Archive && view.voltage().is_some() {
        rows.push(vec![
            words::DIP_LENGTH.into(),
            words::HALF_CYCLE.into(),
            words::DIP_SOURCE.into(),
        ]);
    }
    if let Some(offset) = source.clock_offset_ms {
        let offset = sentences::clock_offset(offset);
        rows.push(vec![words::CLOCK.into(), offset.into(), words::CLOCK_SOURCE.into()]);
    }
    let columns = vec![
        Column::words(words::COLUMN_WHAT),
        Column::words(words::COLUMN_BOUND),
        Column::words(words::COLUMN_BASIS),
    ];
    (!rows.is_empty()).then(|| Block::Table(Table { caption: words::TIMES.into(), columns, rows }))
}

/// Which of a verdict's findings lie too near their limits, as a line for page one.
pub fn near_line(view: &View<'_>, kinds: &[&str]) -> Option<Text> {
    let mut text = Text::default().plain(words::NEAR_SHORT).plain(" ");
    let lead = text.0.len();
    for (place, finding) in view.analysis().findings.iter().enumerate() {
        if kinds.contains(&finding.kind) && near_limit(view, finding) {
            if text.0.len() > lead {
                text = text.plain(", ");
            }
            let title = crate::strings::kinds::title(finding.kind).to_lowercase();
            text = text.link(super::finding::anchor(place), format!("{}. {title}", place + 1));
        }
    }
    (text.0.len() > lead).then_some(text)
}
