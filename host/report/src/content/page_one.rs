//! Page one: what the record says, what it rests on, and what it leaves open.

use super::finding::{anchor, confidence};
use super::record::{self, covered_share};
use super::{
    Block, Cell, Column, Panel, Section, Statement, Table, Text, Tone, View, custody, uncertainty,
};
use crate::format::{count, counted, duration, percent};
use crate::picture::sign;
use crate::restate::restate;
use crate::strings::{self, causes, kinds, sentences, stops};
use crate::times::Fine;
use pumpwitness_analysis::outcome::{Severity, Verdict};
use pumpwitness_recording::SourceKind;

/// Causes on page one; further ones are in the section on causes.
const VERDICTS: usize = 3;
/// Ruled-out causes whose reason fits on page one.
const REASONS: usize = 4;

/// Page one.
pub fn section(view: &View<'_>) -> Section {
    let mut blocks: Vec<Block> = Vec::new();
    if let Some(integrity) = view.input.integrity.filter(|integrity| integrity.broken) {
        blocks.push(Block::Statement(Statement {
            tone: Tone::Fault,
            over: sentences::INTEGRITY.into(),
            headline: sentences::RECORD_BROKEN.into(),
            blocks: vec![Block::Paragraph(
                Text::default()
                    .plain(crate::format::capital(integrity.headline.trim_end_matches('.')))
                    .plain(". ")
                    .link("verify", crate::strings::custody::VERIFY)
                    .plain("."),
            )],
        }));
    }
    let verdicts = &view.analysis().verdict;
    for (place, verdict) in verdicts.iter().take(VERDICTS).enumerate() {
        blocks.push(Block::Statement(statement(view, verdict, place)));
    }
    if verdicts.is_empty() {
        blocks.push(Block::Statement(Statement {
            tone: Tone::Info,
            over: String::new(),
            headline: sentences::NO_VERDICT.into(),
            blocks: Vec::new(),
        }));
    }
    if verdicts.len() > VERDICTS {
        let more = counted(verdicts.len() - VERDICTS, "further cause", "further causes");
        blocks.push(Block::Aside(
            Text::default().plain(format!("{more}: ")).link("causes", sentences::CAUSES).plain("."),
        ));
    }
    let panels = vec![
        Panel { title: sentences::THE_RECORD.into(), wide: false, blocks: identity(view) },
        Panel { title: sentences::HOW_WHOLE.into(), wide: false, blocks: wholeness(view) },
        Panel { title: sentences::STOP_LEDGER.into(), wide: true, blocks: ledger(view) },
        Panel { title: sentences::RULED_OUT.into(), wide: false, blocks: ruled_out(view) },
        Panel { title: sentences::NOT_KNOWN.into(), wide: false, blocks: not_known(view) },
    ];
    blocks.push(Block::Panels(panels));
    blocks.push(Block::Aside(sentences::CAUTION_SHORT.into()));
    Section { id: "page-one".into(), title: sentences::PAGE_ONE.into(), tone: None, blocks }
}

/// How grave a verdict is: as grave as the gravest finding that speaks for it.
pub fn verdict_tone(view: &View<'_>, verdict: &Verdict) -> Tone {
    if verdict.cause == "healthy" {
        return Tone::Well;
    }
    let findings = view.analysis().findings.iter();
    let gravest = findings
        .filter(|finding| verdict.speaks_for.contains(&finding.kind))
        .map(|finding| finding.severity)
        .max();
    match gravest {
        Some(Severity::Fault) => Tone::Fault,
        Some(Severity::Watch) => Tone::Watch,
        _ => Tone::Info,
    }
}

fn statement(view: &View<'_>, verdict: &Verdict, place: usize) -> Statement {
    let mut blocks =
        vec![Block::Paragraph(Text::default().quoted(restate(&verdict.text, view.reader)))];
    let mut line =
        Text::default().plain(sentences::capital_confidence(&confidence(verdict.confidence)));
    if verdict.cause != "healthy" {
        line = line.plain(format!(
            " · {} {}",
            sentences::POINTS_TO_SHORT,
            strings::points_to(verdict.points_to)
        ));
    }
    let evidence = evidence_links(view, verdict);
    if let Some(evidence) = evidence {
        line = line.plain(format!(" · {} ", sentences::EVIDENCE));
        line.0.extend(evidence.0);
    }
    blocks.push(Block::Aside(line));
    if let Some(near) = uncertainty::near_line(view, &verdict.speaks_for) {
        blocks.push(Block::Aside(near));
    }
    if let Some(check) = verdict.next_checks.first().filter(|_| place == 0) {
        let check = restate(check, view.reader);
        let text = Text::default().strong(sentences::NEXT_CHECK).plain(" ").quoted(check);
        blocks.push(Block::Paragraph(text));
    }
    let over = if verdict.cause == "healthy" {
        String::new()
    } else if place == 0 {
        sentences::BEST_EXPLANATION.into()
    } else {
        sentences::ALSO.into()
    };
    Statement {
        tone: verdict_tone(view, verdict),
        over,
        headline: causes::headline(verdict.cause),
        blocks,
    }
}

/// Links to the findings that speak for a verdict.
pub fn evidence_links(view: &View<'_>, verdict: &Verdict) -> Option<Text> {
    let mut text = Text::default();
    for (place, finding) in view.analysis().findings.iter().enumerate() {
        if verdict.speaks_for.contains(&finding.kind) {
            if !text.0.is_empty() {
                text = text.plain(", ");
            }
            let words = format!("{}. {}", place + 1, kinds::title(finding.kind).to_lowercase());
            text = text.link(anchor(place), words);
        }
    }
    (!text.0.is_empty()).then_some(text)
}

fn identity(view: &View<'_>) -> Vec<Block> {
    let recording = &view.analysis().recording;
    let source = &view.input.recording.source;
    let site = view.input.site;
    let mut facts: Vec<(String, Text)> = Vec::new();
    if let Some(name) = &site.name {
        facts.push((sentences::SITE.into(), Text::default().quoted(name.clone())));
    }
    facts.push((sentences::FROM.into(), view.times.moment(recording.start, Fine::Second).into()));
    facts.push((sentences::TO.into(), view.times.moment(recording.end, Fine::Second).into()));
    facts.push((sentences::CLOCK.into(), record::zone_words(view).into()));
    facts.push((sentences::PUMP.into(), record::motor_words(view).into()));
    match source.kind {
        SourceKind::Archive => {
            let mut text = Text::default();
            match &source.device {
                Some(device) => text = text.exact(device.clone()),
                None => text = text.plain(sentences::NOT_STATED),
            }
            if let Some(firmware) = &source.firmware {
                text = text.plain(format!(", {} ", sentences::FIRMWARE)).quoted(firmware.clone());
            }
            facts.push((sentences::LOGGER.into(), text));
        }
        SourceKind::Table => facts.push((sentences::SOURCE.into(), sentences::TABLE.into())),
    }
    facts.extend(custody::short(view));
    facts.push((sentences::FILE.into(), Text::default().exact(source.name.clone())));
    facts.push((sentences::HASH.into(), Text::default().exact(recording.sha256.clone())));
    vec![Block::Facts(facts)]
}

fn wholeness(view: &View<'_>) -> Vec<Block> {
    let recording = &view.analysis().recording;
    let source = &view.input.recording.source;
    let mut facts: Vec<(String, Text)> = vec![
        (
            sentences::COVERED.into(),
            format!(
                "{}, {} of the time",
                duration(recording.covered_s),
                percent(covered_share(view))
            )
            .into(),
        ),
        (sentences::ROWS.into(), count(recording.rows).into()),
        (sentences::GAPS.into(), record::gap_words(view).into()),
    ];
    if source.kind == SourceKind::Archive {
        facts.push((
            sentences::PAGES.into(),
            sentences::pages(source.pages_good, source.pages_damaged).into(),
        ));
    }
    if let Some(offset) = source.clock_offset_ms {
        facts.push((sentences::CLOCK_OFFSET.into(), sentences::clock_offset(offset).into()));
    }
    facts.push((sentences::CHANNELS.into(), record::channel_words(view).into()));
    if let Some(integrity) = view.input.integrity {
        let words = Text::default().strong(integrity.headline.clone()).plain(" (");
        let words = words.link("verify", crate::strings::custody::VERIFY.to_lowercase());
        facts.push((sentences::INTEGRITY.into(), words.plain(")")));
    }
    let mut blocks = vec![Block::Facts(facts)];
    let losses = record::losses(view);
    if losses.is_empty() {
        blocks.push(Block::Aside(sentences::NO_LOSSES.into()));
    } else {
        let more = losses.len().saturating_sub(3);
        let mut items: Vec<Text> = losses.into_iter().take(3).collect();
        if more > 0 {
            items.push(
                Text::default()
                    .plain(format!("{more} more: "))
                    .link("record", sentences::RECORD)
                    .plain("."),
            );
        }
        blocks.push(Block::List(items));
    }
    blocks
}

fn ledger(view: &View<'_>) -> Vec<Block> {
    let analysis = view.analysis();
    let total: u32 = analysis.stops.values().sum();
    let rows: Vec<Vec<Cell>> = analysis
        .stops
        .iter()
        .filter(|(_, count)| **count > 0)
        .map(|(reason, of)| {
            vec![
                Cell::Sign(*reason),
                stops::nature(sign::nature(*reason)).into(),
                count(*of as usize).into(),
                Cell::Share(f64::from(*of) / f64::from(total.max(1))),
            ]
        })
        .collect();
    let automatic = analysis.runs.iter().filter(|run| run.automatic_restart).count();
    let unseen = analysis.runs.iter().filter(|run| run.stop_reason.is_none()).count();
    let mut blocks = Vec::new();
    if rows.is_empty() {
        blocks.push(Block::Paragraph(sentences::NO_STOPS.into()));
    } else {
        blocks.push(Block::Table(Table {
            caption: sentences::ledger_caption(
                total as usize,
                analysis.runs.len(),
                &crate::format::significant(analysis.starts_per_day, 3),
                &crate::format::significant(analysis.starts_per_hour_max, 3),
            ),
            columns: vec![
                Column::words(sentences::COLUMN_REASON),
                Column::words(sentences::COLUMN_NATURE),
                Column::numbers(sentences::COLUMN_STOPS),
                Column::words(sentences::COLUMN_SHARE),
            ],
            rows,
        }));
    }
    let mut notes = Vec::new();
    if automatic > 0 {
        let wait = analysis.statistics.get("restart_wait_s").and_then(serde_json::Value::as_f64);
        notes.push(sentences::even_restarts(automatic, wait));
    }
    if unseen > 0 {
        notes.push(sentences::unseen_stops(unseen));
    }
    if !notes.is_empty() {
        blocks.push(Block::Aside(notes.join(" ").into()));
    }
    blocks
}

fn ruled_out(view: &View<'_>) -> Vec<Block> {
    let contradicted: Vec<_> =
        view.analysis().ruled_out.iter().filter(|cause| cause.contradicted).collect();
    if contradicted.is_empty() {
        return vec![Block::Paragraph(sentences::NOTHING_RULED_OUT.into())];
    }
    let mut items: Vec<Text> = contradicted
        .iter()
        .take(REASONS)
        .map(|cause| {
            Text::default()
                .strong(crate::format::capital(&causes::name(cause.cause)))
                .plain(": ")
                .quoted(restate(&cause.because, view.reader))
        })
        .collect();
    let rest: Vec<String> =
        contradicted.iter().skip(REASONS).map(|cause| causes::name(cause.cause)).collect();
    if !rest.is_empty() {
        items.push(
            Text::default()
                .plain(format!("{}: {} (", sentences::ALSO_RULED_OUT, rest.join(", ")))
                .link("causes", sentences::REASONS)
                .plain(")."),
        );
    }
    vec![Block::List(items)]
}

fn not_known(view: &View<'_>) -> Vec<Block> {
    let open: Vec<String> = view
        .analysis()
        .ruled_out
        .iter()
        .filter(|cause| !cause.contradicted)
        .map(|cause| causes::name(cause.cause))
        .collect();
    let mut items: Vec<Text> = record::unknowns(view).into_iter().map(Text::from).collect();
    if !open.is_empty() {
        items.push(
            Text::default()
                .plain(format!("{}: {} (", sentences::CANNOT_SPEAK_ABOUT, open.join(", ")))
                .link("causes", sentences::REASONS)
                .plain(")."),
        );
    }
    items.extend(sentences::ALWAYS_OPEN.iter().take(3).map(|words| Text::from(*words)));
    items.push(
        Text::default()
            .plain(sentences::FURTHER_LIMITS)
            .plain(" ")
            .link("cannot-show", sentences::CANNOT_SHOW)
            .plain("."),
    );
    vec![Block::List(items)]
}
