//! The report on paper: one result page, the same bytes each time, no input that breaks it. What a
//! reader program sees in it is checked by tests/reference/pdf_structure.py.

mod fixture;

use fixture::{finding, made};
use pumpwitness_recording::Columns;
use pumpwitness_report::pdf;
use pumpwitness_report::strings::kinds::KINDS;

fn pages(pdf: &[u8]) -> usize {
    let page = b"/Type/Page/";
    let spaced = b"/Type /Page\n";
    pdf.windows(page.len()).filter(|window| *window == page).count()
        + pdf.windows(spaced.len()).filter(|window| *window == spaced).count()
}

fn holds(pdf: &[u8], words: &str) -> bool {
    pdf.windows(words.len()).any(|window| window == words.as_bytes())
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let made = made(2, 2000);
    let first = pdf(&made.input()).unwrap();
    assert_eq!(first, pdf(&made.input()).unwrap());
    assert!(first.starts_with(b"%PDF-1.7"));
    // Part 2, level A of ISO 19005, part 1 of ISO 14289, as their metadata schemas name them.
    assert!(holds(&first, "<pdfaid:part>2</pdfaid:part>"));
    assert!(holds(&first, "<pdfaid:conformance>A</pdfaid:conformance>"));
    assert!(holds(&first, "<pdfuaid:part>1</pdfuaid:part>"));
    assert!(pages(&first) > 4, "{}", pages(&first));
}

#[test]
fn thirty_days_stay_below_three_megabytes() {
    let made = made(30, 10_000);
    let bytes = pdf(&made.input()).unwrap();
    assert!(bytes.len() < 3_000_000, "{} bytes", bytes.len());
}

#[test]
fn names_from_files_cannot_break_it() {
    const HOSTILE: &str = "\u{202e}\u{0}\u{ffff}水 שלום (\\)>>endobj <script> \u{1f4a7}\r\n\t%%EOF";
    let mut made = made(1, 5000);
    made.site.name = Some(HOSTILE.repeat(8));
    made.site.lamps = vec![(1, HOSTILE.into())];
    made.site.time_zone = Some(HOSTILE.into());
    made.recording.source.name = HOSTILE.into();
    made.recording.source.device = Some(HOSTILE.into());
    made.recording.source.losses = vec![HOSTILE.repeat(40); 5];
    made.analysis.recording.sha256 = HOSTILE.into();
    for finding in &mut made.analysis.findings {
        finding.text = HOSTILE.repeat(100);
    }
    for verdict in &mut made.analysis.verdict {
        verdict.text = HOSTILE.repeat(100);
        verdict.next_checks = vec![HOSTILE.repeat(20)];
    }
    assert!(pages(&pdf(&made.input()).unwrap()) > 3);
}

#[test]
fn every_finding_and_none_go_on_paper() {
    let mut made = made(1, 5000);
    let from = made.analysis.recording.start.as_millisecond() + 3_600_000;
    made.analysis.findings = KINDS.iter().map(|k| finding(k.kind, from, from + 600_000)).collect();
    let with = pages(&pdf(&made.input()).unwrap());
    made.recording.columns = Columns::default();
    let without = pages(&pdf(&made.input()).unwrap());
    assert!(with > without, "{with} pages with pictures, {without} without");
    made.recording = pumpwitness_recording::Recording::default();
    made.analysis.findings.clear();
    made.analysis.runs.clear();
    made.analysis.stops.clear();
    made.analysis.verdict.clear();
    made.analysis.ruled_out.clear();
    made.analysis.recording.end = made.analysis.recording.start;
    assert!(pages(&pdf(&made.input()).unwrap()) > 2);
}

#[test]
fn readers_in_us_units_get_letter_paper() {
    let mut made = made(1, 10_000);
    assert!(holds(&pdf(&made.input()).unwrap(), "595.276"));
    made.site.units = pumpwitness_site_file::Units::Us;
    assert!(holds(&pdf(&made.input()).unwrap(), "[0 0 612 792]"));
}
