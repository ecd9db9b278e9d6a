//! Every limit that was used, with its source.

use super::finding::limit_value;
use super::{Block, Cell, Column, Section, Table, Text, View};
use crate::strings::{kinds, sentences};
use pumpwitness_analysis::limits::ALL;
use pumpwitness_analysis::outcome::Limit;

/// The section.
pub fn section(view: &View<'_>) -> Section {
    let mut blocks = vec![Block::Paragraph(sentences::LIMITS_LEAD.into())];
    let used: Vec<Vec<Cell>> = view
        .analysis()
        .findings
        .iter()
        .filter_map(|finding| {
            let limit = finding.limit.as_ref()?;
            Some(vec![
                kinds::title(finding.kind).into(),
                limit_value(view, limit).into(),
                Text::default().quoted(limit.source.clone()).into(),
            ])
        })
        .collect();
    if !used.is_empty() {
        blocks.push(Block::Table(Table {
            caption: sentences::LIMITS_USED.into(),
            columns: columns(),
            rows: used,
        }));
    }
    let general = ALL
        .iter()
        .map(|(name, bound)| {
            let limit =
                Limit { value: bound.value, unit: bound.unit, source: bound.source.to_owned() };
            let words = crate::strings::limit_name(name);
            vec![words.into(), limit_value(view, &limit).into(), limit.source.into()]
        })
        .collect();
    blocks.push(Block::Folded {
        summary: sentences::LIMITS_GENERAL.into(),
        blocks: vec![Block::Table(Table {
            caption: sentences::LIMITS_GENERAL.into(),
            columns: columns(),
            rows: general,
        })],
    });
    Section { id: "limits".into(), title: sentences::LIMITS.into(), tone: None, blocks }
}

fn columns() -> Vec<Column> {
    vec![
        Column::words(sentences::COLUMN_JUDGED),
        Column::words(sentences::COLUMN_LIMIT),
        Column::words(sentences::COLUMN_SOURCE),
    ]
}
