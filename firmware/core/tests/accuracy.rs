//! The tables of hardware-notes/accuracy.md are what the code gives.

#[path = "../examples/accuracy/table.rs"]
mod table;

/// The figures are rounded to what is stable from machine to machine. When the metering changes:
/// `cargo run --release -p pumpwitness-core --example accuracy hardware-notes/accuracy.md`.
#[test]
fn the_note_says_what_the_code_does() {
    let note = include_str!("../../../hardware-notes/accuracy.md");
    let tables = table::tables();
    assert!(note.contains(&tables), "hardware-notes/accuracy.md should say:\n{tables}");
}
