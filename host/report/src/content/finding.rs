//! One section a finding.

use super::{Block, Cell, Column, Section, Table, Text, Tone, View, evidence, uncertainty};
use crate::format::{count, duration};
use crate::restate::restate;
use crate::strings::measures::measure;
use crate::strings::{self, causes, kinds, sentences};
use crate::times::Fine;
use crate::units::Quantity;
use pumpwitness_analysis::outcome::{Finding, Limit, PointsTo, Severity};

/// Most occurrences listed.
const LISTED: usize = 300;

/// Rows this near to an occurrence say how finely it is told, ms.
const AROUND_MS: i64 = 2000;

/// The anchor of the finding at `place`.
pub fn anchor(place: usize) -> String {
    format!("finding-{}", place + 1)
}

/// How grave a finding is.
pub fn tone(severity: Severity) -> Tone {
    match severity {
        Severity::Fault => Tone::Fault,
        Severity::Watch => Tone::Watch,
        Severity::Info => Tone::Info,
    }
}

/// All findings as one section.
pub fn section(view: &View<'_>) -> Section {
    let findings = &view.analysis().findings;
    let mut blocks = Vec::new();
    if findings.is_empty() {
        blocks.push(Block::Paragraph(sentences::NO_FINDINGS.into()));
    } else {
        blocks.push(Block::Paragraph(sentences::FINDINGS_LEAD.into()));
        let lamps = !view.lamps().is_empty();
        let lamps = if lamps { strings::pictures::LEGEND_LAMPS } else { "" };
        blocks.push(Block::Aside(format!("{}{lamps}", strings::pictures::LEGEND).into()));
    }
    blocks.extend(findings.iter().enumerate().map(|(n, f)| Block::Section(one(view, f, n))));
    Section { id: "findings".into(), title: sentences::FINDINGS.into(), tone: None, blocks }
}

fn one(view: &View<'_>, finding: &Finding, place: usize) -> Section {
    let id = anchor(place);
    let mut blocks =
        vec![Block::Paragraph(Text::default().quoted(restate(&finding.text, view.reader)))];
    if let Some(kind) = kinds::of(finding.kind) {
        blocks.push(Block::Aside(Text::default().plain(kind.meaning)));
    }
    blocks.push(Block::Facts(facts(view, finding)));
    match evidence::figures(view, finding, &id) {
        Ok(figures) => blocks.extend(figures.into_iter().map(Block::Figure)),
        Err(why) => blocks.push(Block::Aside(
            Text::default().strong(sentences::NO_PICTURE).plain(format!(" {why}")),
        )),
    }
    if let Some(list) = occurrences(view, finding) {
        blocks.push(list);
    }
    let title = format!("{}. {}", place + 1, kinds::title(finding.kind));
    Section { id, title, tone: Some(tone(finding.severity)), blocks }
}

fn facts(view: &View<'_>, finding: &Finding) -> Vec<(String, Text)> {
    let mut facts: Vec<(String, Text)> = vec![(
        sentences::SEEN.into(),
        sentences::seen(
            (!finding.occurrences.is_empty()).then_some(finding.count as usize),
            &view.times.stretch(finding.start, finding.end, Fine::Second),
        )
        .into(),
    )];
    for (name, value) in &finding.measured {
        let (title, quantity) = measure(name);
        facts.push((title, uncertainty::figure(view, finding, name, quantity, *value).into()));
    }
    if let Some(limit) = &finding.limit {
        facts.push((
            sentences::JUDGED_AGAINST.into(),
            Text::default()
                .strong(limit_value(view, limit))
                .plain(", ")
                .quoted(restate(&limit.source, view.reader)),
        ));
        if uncertainty::near_limit(view, finding) {
            let near = strings::uncertainty::CANNOT_BE_TOLD;
            facts.push((strings::uncertainty::NEAR.into(), Text::default().strong(near)));
        }
    }
    facts.push((sentences::CONFIDENCE.into(), confidence(finding.confidence).into()));
    if finding.points_to != PointsTo::None {
        facts.push((sentences::POINTS_TO.into(), strings::points_to(finding.points_to).into()));
    }
    let serves: Vec<String> = view
        .analysis()
        .verdict
        .iter()
        .filter(|verdict| verdict.speaks_for.contains(&finding.kind))
        .map(|verdict| causes::name(verdict.cause))
        .collect();
    if !serves.is_empty() {
        facts.push((sentences::SPEAKS_FOR.into(), serves.join(", ").into()));
    }
    let (from_ms, to_ms) = evidence::told(finding);
    if let Some(row_s) = view.row_s(from_ms - AROUND_MS, to_ms + AROUND_MS) {
        let row = duration(crate::format::rounded(row_s, 2));
        facts.push((sentences::RESOLUTION.into(), sentences::resolution(&row).into()));
    }
    facts
}

/// Confidence as word and figure.
pub fn confidence(value: f64) -> String {
    format!("{} ({})", strings::confidence(value), crate::format::fixed(value, 2))
}

/// A limit's value with its unit, and what that comes to at this site.
pub fn limit_value(view: &View<'_>, limit: &Limit) -> String {
    let site = view.input.site;
    let reader = view.reader;
    let plain = |quantity| reader.value(quantity, limit.value);
    match limit.unit {
        "V" => plain(Quantity::Volt),
        "A" => plain(Quantity::Ampere),
        "mA" => plain(Quantity::Milliampere),
        "W" => plain(Quantity::Watt),
        "Hz" => plain(Quantity::Hertz),
        "bar" => plain(Quantity::Bar),
        "bar/min" => plain(Quantity::BarPerMinute),
        "L" => plain(Quantity::Litre),
        "s" => plain(Quantity::Seconds),
        "1/h" => plain(Quantity::PerHour),
        "%" => plain(Quantity::Percent),
        "share" => plain(Quantity::Share),
        "times rated" | "× rated" => sentences::times_rated(
            &crate::format::significant(limit.value, 3),
            &reader.value(Quantity::Ampere, limit.value * site.motor.rated_current_a),
        ),
        "of nominal" | "× nominal" => {
            format!("{} of nominal", crate::format::percent(limit.value))
        }
        unit if unit.starts_with("of ") => {
            format!("{} {unit}", crate::format::percent(limit.value))
        }
        unit => format!("{}\u{a0}{unit}", crate::format::significant(limit.value, 4)),
    }
}

/// What the figure of an occurrence is: as listed for the kind, or else the measure that one of
/// them equals.
fn main_measure(finding: &Finding) -> Option<(String, Quantity)> {
    if let Some((title, quantity)) = kinds::figure(finding.kind) {
        return Some((title.to_owned(), quantity));
    }
    let same = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs().max(b.abs());
    finding.measured.iter().find_map(|(name, value)| {
        let (title, quantity) = measure(name);
        let bare = quantity == Quantity::Number;
        (!bare && finding.occurrences.iter().any(|o| same(o.value, *value)))
            .then_some((title, quantity))
    })
}

fn occurrences(view: &View<'_>, finding: &Finding) -> Option<Block> {
    if finding.occurrences.is_empty() {
        return None;
    }
    let measure = main_measure(finding);
    let mut columns = vec![
        Column::numbers(sentences::COLUMN_NUMBER),
        Column::words(sentences::COLUMN_START),
        Column::numbers(sentences::COLUMN_LASTING),
    ];
    if let Some((name, quantity)) = &measure {
        columns.push(Column::numbers(match view.reader.symbol(*quantity) {
            "" => name.clone(),
            symbol => format!("{name}, {symbol}"),
        }));
    }
    let rows = finding
        .occurrences
        .iter()
        .take(LISTED)
        .enumerate()
        .map(|(n, o)| {
            let length_s = (o.end.as_millisecond() - o.start.as_millisecond()) as f64 / 1000.0;
            let mut cells: Vec<Cell> = vec![
                count(n + 1).into(),
                view.times.moment(o.start, Fine::Milli).into(),
                duration(length_s).into(),
            ];
            if let Some((_, quantity)) = &measure {
                cells.push(view.reader.number(*quantity, o.value).into());
            }
            cells
        })
        .collect();
    let caption = sentences::occurrences_caption(
        finding.occurrences.len().min(LISTED),
        finding.occurrences.len(),
        finding.count as usize,
    );
    Some(Block::Folded {
        summary: sentences::occurrences_summary(finding.occurrences.len()),
        blocks: vec![Block::Table(Table { caption, columns, rows })],
    })
}
