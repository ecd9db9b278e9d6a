//! What the report says, as text a person can review.

mod fixture;

use fixture::made;
use pumpwitness_report::content::{
    Block, Cell, Document, Section, Span, Table, Text, View, document,
};
use pumpwitness_report::units::Style;
use std::fmt::Write;

fn plain(text: &Text) -> String {
    let words = text.0.iter().map(|span| match span {
        Span::Plain(words) | Span::Quoted(words) | Span::Exact(words) => words.clone(),
        Span::Strong(words) => format!("*{words}*"),
        Span::Link { to, words } => format!("[{words}](#{to})"),
    });
    words.collect::<String>().replace(['\u{a0}', '\u{202f}'], " ")
}

fn section(out: &mut String, section: &Section, depth: usize) {
    let tone = section.tone.map_or_else(String::new, |tone| format!(" ({tone:?})"));
    let _ = writeln!(out, "\n{} {}{tone}", "#".repeat(depth), section.title);
    blocks(out, &section.blocks, depth);
}

fn blocks(out: &mut String, all: &[Block], depth: usize) {
    for block in all {
        let _ = match block {
            Block::Paragraph(text) => writeln!(out, "{}", plain(text)),
            Block::Aside(text) => writeln!(out, "({})", plain(text)),
            Block::List(items) => {
                items.iter().try_for_each(|item| writeln!(out, "- {}", plain(item)))
            }
            Block::Facts(facts) => {
                facts.iter().try_for_each(|(name, what)| writeln!(out, "{name}: {}", plain(what)))
            }
            Block::Table(of) => {
                table(out, of);
                Ok(())
            }
            Block::Figure(figure) => {
                let title = figure.title.replace('\u{a0}', " ");
                let description = figure.description.replace('\u{a0}', " ");
                writeln!(out, "<{title} | {description} | {}>", plain(&figure.caption))
            }
            Block::Statement(statement) => {
                let _ = writeln!(
                    out,
                    "== {:?}: {}: {}",
                    statement.tone, statement.over, statement.headline
                );
                blocks(out, &statement.blocks, depth);
                Ok(())
            }
            Block::Panels(panels) => {
                for panel in panels {
                    let _ = writeln!(out, "\n-- {}", panel.title);
                    blocks(out, &panel.blocks, depth);
                }
                Ok(())
            }
            Block::Folded { summary, .. } => {
                writeln!(out, "[+] {}", summary.replace('\u{202f}', " "))
            }
            Block::Section(inner) => {
                section(out, inner, depth + 1);
                Ok(())
            }
            Block::Blanks(names) => writeln!(out, "{} ____", names.join(" ____ ")),
            Block::Verbatim(text) => writeln!(out, "{} lines as they are", text.lines().count()),
        };
    }
}

fn table(out: &mut String, table: &Table) {
    let heads: Vec<&str> = table.columns.iter().map(|column| column.title.as_str()).collect();
    let _ = writeln!(out, "| {} |", table.caption.replace(['\u{a0}', '\u{202f}'], " "));
    let _ = writeln!(out, "| {} |", heads.join(" | "));
    for row in table.rows.iter().take(6) {
        let cells: Vec<String> = row
            .iter()
            .map(|cell| match cell {
                Cell::Text(text) => plain(text),
                Cell::Sign(reason) => format!("{reason:?}"),
                Cell::Share(share) => format!("{share:.3}"),
            })
            .collect();
        let _ = writeln!(out, "| {} |", cells.join(" | "));
    }
}

fn words(document: &Document, from: usize, to: usize) -> String {
    let mut out = String::new();
    for part in &document.sections[from..to] {
        section(&mut out, part, 1);
    }
    out
}

#[test]
fn page_one() {
    let made = made(2, 2000);
    let input = made.input();
    let document = document(&View::new(&input, Style::of(&made.site)));
    insta::assert_snapshot!(format!(
        "{}\n{}\n{}\n{}",
        document.title,
        document.subtitle.replace('\u{a0}', " "),
        document.foot.replace('\u{a0}', " "),
        words(&document, 0, 1)
    ));
}

#[test]
fn a_broken_record_is_said_first() {
    let made = made(1, 5000);
    let integrity = pumpwitness_report::Integrity {
        headline: "damage found: page 3 of sector 7 fails its check".into(),
        broken: true,
        lines: vec![("Pages".into(), "4095 proven, 1 damaged".into())],
        limits: vec!["It does not show that the sensors were fitted right.".into()],
    };
    let mut input = made.input();
    input.integrity = Some(&integrity);
    let document = document(&View::new(&input, Style::of(&made.site)));
    let all = words(&document, 0, document.sections.len());
    assert!(all.starts_with(
        "\n# Result\n== Fault: Integrity: The record is not as the logger wrote it, or not whole\n\
         Damage found: page 3 of sector 7 fails its check."
    ));
    assert!(all.contains("Pages: 4095 proven, 1 damaged"));
}

#[test]
fn causes_and_findings() {
    let made = made(2, 2000);
    let input = made.input();
    let document = document(&View::new(&input, Style::of(&made.site)));
    insta::assert_snapshot!(words(&document, 1, 3));
}

#[test]
fn days_runs_statistics_and_record() {
    let made = made(2, 2000);
    let input = made.input();
    let document = document(&View::new(&input, Style::of(&made.site)));
    let all = words(&document, 3, document.sections.len());
    insta::assert_snapshot!(all);
}
