//! Statistics: whatever the analysis gives, by name.

use super::{Block, Cell, Column, Section, Table, Text, View};
use crate::format::capital;
use crate::strings::{sentences, words_of};
use crate::units::split_name;
use serde_json::Value;

/// Rows of a list that are shown.
const LISTED: usize = 200;

/// The section.
pub fn section(view: &View<'_>) -> Section {
    let statistics = &view.analysis().statistics;
    let mut plain: Vec<(String, Text)> = vec![
        (
            sentences::STARTS_PER_DAY.into(),
            crate::format::significant(view.analysis().starts_per_day, 3).into(),
        ),
        (
            sentences::STARTS_PER_HOUR.into(),
            crate::format::significant(view.analysis().starts_per_hour_max, 3).into(),
        ),
    ];
    let mut tables = Vec::new();
    for (name, value) in statistics {
        match value {
            Value::Object(_) | Value::Array(_) => {
                tables.extend(table(view, name, value).map(Block::Table));
            }
            _ => plain.push((title(name), scalar(view, name, value).into())),
        }
    }
    let mut blocks = vec![Block::Facts(plain)];
    blocks.extend(tables);
    Section { id: "statistics".into(), title: sentences::STATISTICS.into(), tone: None, blocks }
}

fn title(name: &str) -> String {
    capital(&words_of(split_name(name).0))
}

fn scalar(view: &View<'_>, name: &str, value: &Value) -> String {
    let (_, quantity) = split_name(name);
    match value {
        Value::Number(number) => {
            number.as_f64().map_or_else(|| "–".into(), |number| view.reader.value(quantity, number))
        }
        Value::String(words) => words.clone(),
        Value::Bool(true) => sentences::YES.into(),
        Value::Bool(false) => sentences::NO.into(),
        _ => "–".into(),
    }
}

/// A nested figure as a table: an object by its names, a list of objects by its columns, a list
/// of lists or plain values by its places.
fn table(view: &View<'_>, name: &str, value: &Value) -> Option<Table> {
    let (columns, rows): (Vec<Column>, Vec<Vec<Cell>>) = match value {
        Value::Object(map) if !map.is_empty() => (
            vec![Column::words(sentences::COLUMN_WHAT), Column::numbers(sentences::COLUMN_VALUE)],
            map.iter()
                .map(|(inner, value)| {
                    // `p95` of `voltage_v` is a voltage: the outer name lends its unit.
                    let own = split_name(inner).1 != crate::units::Quantity::Number;
                    let unit_of = if own { inner } else { name };
                    vec![
                        Text::default().quoted(title(inner)).into(),
                        Text::default().quoted(scalar(view, unit_of, value)).into(),
                    ]
                })
                .collect(),
        ),
        Value::Array(items) => match items.first()? {
            Value::Object(first) => {
                let names: Vec<&String> = first.keys().collect();
                let columns = names
                    .iter()
                    .map(|name| {
                        let numeric = first.get(*name).is_some_and(Value::is_number);
                        Column { title: title(name), numeric }
                    })
                    .collect();
                let rows = items.iter().take(LISTED).map(|item| {
                    let cell = |name: &&String| -> Cell {
                        let value = item.get(name.as_str()).unwrap_or(&Value::Null);
                        Text::default().quoted(scalar(view, name, value)).into()
                    };
                    names.iter().map(cell).collect()
                });
                (columns, rows.collect())
            }
            _ => (
                vec![
                    Column::numbers(sentences::COLUMN_NUMBER),
                    Column::numbers(sentences::COLUMN_VALUE),
                ],
                items
                    .iter()
                    .take(LISTED)
                    .enumerate()
                    .map(|(n, value)| {
                        let text = match value {
                            Value::Array(pair) => {
                                let parts: Vec<String> =
                                    pair.iter().map(|part| scalar(view, "", part)).collect();
                                parts.join(", ")
                            }
                            _ => scalar(view, name, value),
                        };
                        vec![crate::format::count(n + 1).into(), text.into()]
                    })
                    .collect(),
            ),
        },
        _ => return None,
    };
    Some(Table { caption: title(name), columns, rows })
}
