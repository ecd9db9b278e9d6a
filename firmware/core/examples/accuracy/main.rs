//! Writes the tables of hardware-notes/accuracy.md.
//!
//! `cargo run --release -p pumpwitness-core --example accuracy` prints them;
//! with the path of the note as argument it puts them between the note's markers.

mod table;

const FROM: &str = "<!-- tables: made by firmware/core/examples/accuracy -->\n";
const TO: &str = "<!-- end of tables -->\n";

fn main() -> std::io::Result<()> {
    let tables = table::tables();
    let Some(path) = std::env::args_os().nth(1) else {
        print!("{tables}");
        return Ok(());
    };
    let note = std::fs::read_to_string(&path)?;
    let parts = note.split_once(FROM).and_then(|(before, rest)| {
        rest.split_once(TO).map(|(_, after)| format!("{before}{FROM}{tables}{TO}{after}"))
    });
    let Some(written) = parts else {
        return Err(std::io::Error::other("the note has no markers for the tables"));
    };
    std::fs::write(path, written)
}
