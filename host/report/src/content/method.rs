//! How the result was come by, the causes in detail, and the cautions.

use super::finding::confidence;
use super::page_one::{evidence_links, verdict_tone};
use super::{Block, Section, Text, View};
use crate::format::capital;
use crate::restate::restate;
use crate::strings::{self, causes, sentences};

/// Causes: evidence for and against, what would settle them, and what is ruled out.
pub fn causes_section(view: &View<'_>) -> Section {
    let mut blocks = vec![Block::Paragraph(sentences::CAUSES_LEAD.into())];
    for (place, verdict) in view.analysis().verdict.iter().enumerate() {
        let mut inner =
            vec![Block::Paragraph(Text::default().quoted(restate(&verdict.text, view.reader)))];
        let mut facts: Vec<(String, Text)> =
            vec![(sentences::CONFIDENCE.into(), confidence(verdict.confidence).into())];
        if verdict.cause != "healthy" {
            let to = strings::points_to(verdict.points_to);
            facts.push((sentences::POINTS_TO.into(), to.into()));
        }
        if let Some(links) = evidence_links(view, verdict) {
            facts.push((sentences::FOR.into(), links));
        }
        inner.push(Block::Facts(facts));
        inner.extend(listed(view, sentences::AGAINST, &verdict.against));
        inner.extend(listed(view, sentences::NEXT_CHECKS, &verdict.next_checks));
        blocks.push(Block::Section(Section {
            id: format!("cause-{}", place + 1),
            title: causes::headline(verdict.cause),
            tone: Some(verdict_tone(view, verdict)),
            blocks: inner,
        }));
    }
    for (id, title, contradicted) in [
        ("ruled-out", sentences::RULED_OUT, true),
        ("not-spoken-of", sentences::CANNOT_SPEAK_ABOUT, false),
    ] {
        let items: Vec<(String, Text)> = view
            .analysis()
            .ruled_out
            .iter()
            .filter(|cause| cause.contradicted == contradicted)
            .map(|cause| {
                let because = restate(&cause.because, view.reader);
                (capital(&causes::name(cause.cause)), Text::default().quoted(because))
            })
            .collect();
        if !items.is_empty() {
            blocks.push(Block::Section(Section {
                id: id.into(),
                title: title.into(),
                tone: None,
                blocks: vec![Block::Facts(items)],
            }));
        }
    }
    Section { id: "causes".into(), title: sentences::CAUSES_TITLE.into(), tone: None, blocks }
}

fn listed(view: &View<'_>, title: &str, sentences: &[String]) -> Vec<Block> {
    if sentences.is_empty() {
        return Vec::new();
    }
    let items = sentences.iter().map(|s| Text::default().quoted(restate(s, view.reader))).collect();
    vec![Block::Paragraph(Text::default().strong(title)), Block::List(items)]
}

/// Method.
pub fn section() -> Section {
    let items = sentences::METHOD.iter().map(|words| Block::Paragraph((*words).into())).collect();
    Section {
        id: "method".into(),
        title: sentences::METHOD_TITLE.into(),
        tone: None,
        blocks: items,
    }
}

/// Cautions.
pub fn cautions() -> Section {
    let items = sentences::CAUTIONS.iter().map(|words| Text::from(*words)).collect();
    Section {
        id: "cautions".into(),
        title: sentences::CAUTIONS_TITLE.into(),
        tone: None,
        blocks: vec![Block::List(items)],
    }
}
