//! Which records are looked for.

use crate::summary::{Record, Summary};
use jiff::civil::Date;

/// What a record must match; an empty query matches all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Query {
    /// Part of the site's name.
    pub site: Option<String>,
    /// The record goes on to this day or beyond, as the site counts days.
    pub from: Option<Date>,
    /// The record begins on this day or before.
    pub to: Option<Date>,
    /// A cause of the catalogue, among those that the record gives.
    pub cause: Option<String>,
    /// A kind of finding that the record has.
    pub finding: Option<String>,
    /// Words that all stand somewhere in what is known of the record, each at least as a part.
    pub words: Option<String>,
}

impl Query {
    /// True where the record is looked for. Capitals and small letters are the same.
    pub fn matches(&self, record: &Record) -> bool {
        let summary = &record.summary;
        let in_site = |site: &String| lower(&summary.site).contains(&lower(site.trim()));
        let is = |name: &str, asked: &str| lower(name) == lower(asked.trim());
        let (first, last) = summary.days();
        self.site.as_ref().is_none_or(in_site)
            && self.from.is_none_or(|day| last >= day)
            && self.to.is_none_or(|day| first <= day)
            && self
                .cause
                .as_ref()
                .is_none_or(|cause| summary.causes.iter().any(|known| is(&known.cause, cause)))
            && self
                .finding
                .as_ref()
                .is_none_or(|kind| summary.findings.iter().any(|found| is(&found.kind, kind)))
            && self.words.as_ref().is_none_or(|words| {
                let text = text(&record.id, summary);
                lower(words).split_whitespace().all(|word| text.contains(word))
            })
    }
}

fn lower(text: &str) -> String {
    text.to_lowercase()
}

/// Everything that words are looked for in.
fn text(id: &str, summary: &Summary) -> String {
    let (first, last) = summary.days();
    let mut text = format!(
        "{id}\n{}\n{}\n{first}\n{last}\n{}\n{}\n{}",
        summary.site,
        summary.device,
        summary.integrity.verdict,
        summary.integrity.says,
        summary.collected_by.as_deref().unwrap_or_default(),
    );
    let causes = summary.causes.iter().flat_map(|known| [&known.cause, &known.says]);
    let findings = summary.findings.iter().flat_map(|found| [&found.kind, &found.says]);
    for part in causes.chain(findings).chain(summary.stops.keys()) {
        text.push('\n');
        text.push_str(part);
    }
    text.to_lowercase()
}
