//! Statistics: whatever the analysis gives, by name, in groups.

use super::{Block, Cell, Column, Panel, Section, Table, Text, View};
use crate::format::count;
use crate::strings::measures::{self, Group, measure};
use crate::strings::sentences;
use crate::times::{Fine, from_ms};
use serde_json::Value;
use std::collections::BTreeMap;

/// Names of the counts that make up the dip table.
const DIP_CELL: &str = "dips_en_50160_";

/// The section.
pub fn section(view: &View<'_>) -> Section {
    let mut groups: BTreeMap<Group, Vec<(usize, String, Text)>> = BTreeMap::new();
    let running = groups.entry(Group::Running).or_default();
    for (title, value) in [
        (sentences::STARTS_PER_DAY, view.analysis().starts_per_day),
        (sentences::STARTS_PER_HOUR, view.analysis().starts_per_hour_max),
    ] {
        running.push((0, title.into(), crate::format::significant(value, 3).into()));
    }
    for (name, value) in &view.analysis().statistics {
        if name.starts_with(DIP_CELL) {
            continue;
        }
        let (group, rank) = measures::place(name);
        let (title, text) = figure(view, name, value);
        groups.entry(group).or_default().push((rank, title, text));
    }
    let mut panels = Vec::new();
    let mut blocks = Vec::new();
    for (group, mut facts) in groups {
        facts.sort_by_key(|(rank, _, _)| *rank);
        let rows = facts
            .into_iter()
            .map(|(_, title, text)| vec![Text::default().quoted(title).into(), text.into()]);
        let table = Block::Table(Table {
            caption: measures::heading(group).into(),
            columns: vec![
                Column::words(sentences::COLUMN_WHAT),
                Column::numbers(sentences::COLUMN_VALUE),
            ],
            rows: rows.collect(),
        });
        panels.push(Panel { title: String::new(), wide: false, blocks: vec![table] });
    }
    blocks.push(Block::Panels(panels));
    blocks.extend(dip_table(view).map(Block::Table));
    Section { id: "statistics".into(), title: sentences::STATISTICS.into(), tone: None, blocks }
}

/// A figure with its title.
fn figure(view: &View<'_>, name: &str, value: &Value) -> (String, Text) {
    let (title, quantity) = measure(name);
    let text: Text = match value {
        Value::Number(number) => {
            let number = number.as_f64().unwrap_or(f64::NAN);
            if name.ends_with("_unix_s") {
                let at = from_ms((number * 1000.0) as i64);
                view.times.moment(at, Fine::Minute).into()
            } else {
                view.reader.value(quantity, number).into()
            }
        }
        Value::Bool(true) => sentences::YES.into(),
        Value::Bool(false) => sentences::NO.into(),
        Value::String(words) => Text::default().quoted(words.clone()),
        Value::Null => "–".into(),
        Value::Object(_) | Value::Array(_) => Text::default().exact(value.to_string()),
    };
    (title, text)
}

/// Dips and interruptions by residual voltage and duration.
fn dip_table(view: &View<'_>) -> Option<Table> {
    let statistics = &view.analysis().statistics;
    let of = |row: char, column: usize| {
        let value = statistics.get(&format!("{DIP_CELL}{row}{}", column + 1));
        value.and_then(Value::as_f64).unwrap_or(0.0) as usize
    };
    statistics.keys().any(|name| name.starts_with(DIP_CELL)).then(|| {
        let mut columns = vec![Column::words(measures::DIP_RESIDUAL)];
        columns.extend(measures::DIP_COLUMNS.iter().map(|title| Column::numbers(*title)));
        let rows = measures::DIP_ROWS
            .iter()
            .map(|(row, title)| {
                let mut cells: Vec<Cell> = vec![(*title).into()];
                cells.extend((0..measures::DIP_COLUMNS.len()).map(|c| count(of(*row, c)).into()));
                cells
            })
            .collect();
        Table { caption: measures::DIP_CAPTION.into(), columns, rows }
    })
}
