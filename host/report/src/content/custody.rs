//! Who handled the record, with what, and what was checked: the chain of custody, and how anyone can
//! check the whole again.

use super::{Block, Section, Text, View};
use crate::strings::{custody as words, sentences};
use crate::times::{Fine, from_ms};
use pumpwitness_recording::SourceKind;

/// What a check of the archive said, as the caller found it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Integrity {
    /// The result in one line.
    pub headline: String,
    /// True where damage or a contradiction was found.
    pub broken: bool,
    /// What was checked, and what came of it.
    pub lines: Vec<(String, String)>,
    /// What the check cannot show.
    pub limits: Vec<String>,
}

fn stated(text: Option<&str>) -> Text {
    match text.map(str::trim).filter(|text| !text.is_empty()) {
        Some(text) => Text::default().quoted(text),
        None => sentences::NOT_STATED.into(),
    }
}

/// Who fitted the sensors, and who collected: for page one.
pub fn short(view: &View<'_>) -> Vec<(String, Text)> {
    let fit = &view.input.site.fit;
    let mut facts = vec![(words::FITTED_BY.into(), stated(fit.by.as_deref()))];
    if view.input.recording.source.kind == SourceKind::Archive {
        facts.push((words::COLLECTED_BY.into(), collected(view)));
    }
    facts
}

fn collected(view: &View<'_>) -> Text {
    let Some(custody) = &view.input.recording.source.custody else {
        return sentences::NOT_STATED.into();
    };
    let when = view.times.moment(from_ms(custody.collected_ms), Fine::Minute);
    stated(custody.collected_by.as_deref()).plain(format!(", {when}"))
}

/// The chain of custody.
pub fn section(view: &View<'_>) -> Section {
    let site = view.input.site;
    let fit = &site.fit;
    let source = &view.input.recording.source;
    let mut rows: Vec<(&str, Text)> = Vec::new();
    if let Some(customer) = &site.customer {
        rows.push((words::CUSTOMER, Text::default().quoted(customer.clone())));
    }
    if let Some(address) = &site.address {
        rows.push((words::ADDRESS, Text::default().quoted(address.clone())));
    }
    rows.push((words::FITTED_BY, stated(fit.by.as_deref())));
    rows.push((words::FITTED_ON, stated(fit.on.as_deref())));
    rows.push((words::REASON, stated(fit.reason.as_deref())));
    rows.push((words::FIT_CHECKS, stated(fit.checks.as_deref())));
    rows.push((words::SENSE, stated(fit.sense_serial.as_deref())));
    rows.push((words::CLAMP, stated(fit.clamp_serial.as_deref())));
    rows.push((words::TRANSDUCER, stated(fit.transducer_serial.as_deref())));
    if source.kind == SourceKind::Archive {
        rows.push((words::LOGGER, stated(source.device.as_deref())));
        rows.push((words::FIRMWARE, stated(source.firmware.as_deref())));
        rows.push((words::CALIBRATED, calibrated(view)));
        rows.push((words::COLLECTED_BY, collected(view)));
        let program = source.custody.as_ref().map(|custody| custody.program.as_str());
        rows.push((words::COLLECTED_WITH, stated(program)));
    } else {
        rows.push((words::LOGGER, words::TABLE_LOGGER.into()));
    }
    let when = view.times.moment(view.input.generated, Fine::Minute);
    rows.push((
        words::REPORTED,
        format!("{when}, pumpwitness {}", view.input.program_version).into(),
    ));
    let facts = rows.into_iter().map(|(name, text)| (name.to_owned(), text)).collect();
    Section {
        id: "custody".into(),
        title: words::CUSTODY.into(),
        tone: None,
        blocks: vec![Block::Paragraph(words::CUSTODY_LEAD.into()), Block::Facts(facts)],
    }
}

fn calibrated(view: &View<'_>) -> Text {
    let Some(custody) = &view.input.recording.source.custody else {
        return sentences::NOT_STATED.into();
    };
    if custody.calibrated_ms == 0 {
        return words::NOT_CALIBRATED.into();
    }
    let when = view.times.date(from_ms(custody.calibrated_ms));
    Text::default()
        .plain(format!("{when}, {} ", words::BY))
        .quoted(custody.calibrated_by.as_deref().unwrap_or(sentences::NOT_STATED))
        .plain(format!("; {}: ", words::REFERENCE))
        .quoted(custody.reference.as_deref().unwrap_or(sentences::NOT_STATED))
}

/// How anyone can check the record and this report again.
pub fn verifying(view: &View<'_>) -> Section {
    let mut blocks = Vec::new();
    match view.input.integrity {
        Some(integrity) => {
            let strong = Text::default().strong(integrity.headline.clone());
            blocks.push(Block::Paragraph(strong));
            let lines = integrity.lines.iter();
            let facts = lines.map(|(name, what)| (name.clone(), Text::from(what.clone())));
            blocks.push(Block::Facts(facts.collect()));
            if !integrity.limits.is_empty() {
                blocks
                    .push(Block::List(integrity.limits.iter().cloned().map(Text::from).collect()));
            }
        }
        None => blocks.push(Block::Paragraph(words::NOT_VERIFIED.into())),
    }
    let source = &view.input.recording.source;
    let steps = if source.kind == SourceKind::Archive { words::STEPS } else { words::TABLE_STEPS };
    blocks.push(Block::List(
        steps
            .iter()
            .map(|step| Text::from(step.replace("FILE", &source.name)))
            .chain(std::iter::once(
                Text::default()
                    .plain(words::SAME_HASH)
                    .exact(view.analysis().recording.sha256.clone()),
            ))
            .collect(),
    ));
    Section { id: "verify".into(), title: words::VERIFY.into(), tone: None, blocks }
}
