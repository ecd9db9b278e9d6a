//! The outcome as text for people: a technician, and whoever must judge without having been there.

use crate::outcome::{
    Clock, KeyStanding, PageCounts, Papers, SealResult, Trouble, Verdict, Verification,
};
use pumpwitness_recording::clock::utc_text;
use std::fmt::Write;

/// Longest line of texts for a terminal, letters.
pub const WIDTH: usize = 96;
/// Troubles told one by one; the rest is counted (JSON has them all).
const TOLD_MAX: usize = 40;

/// What a verification cannot show, whatever it finds.
pub const LIMITS: [&str; 4] = [
    "It shows whether the file was changed after the logger wrote it. It does not show that the \
     sensors were fitted right and left alone, or that what they measured is what it seems.",
    "A seal is worth as much as the secrecy of the key inside the logger: somebody who had the \
     logger in hand, opened it and read out its memory could seal anything.",
    "Whose key it is, the file cannot say: the key must be had from elsewhere, best from the logger \
     itself before it was fitted.",
    "Times are those of the logger's clock. Who collected the file, with which program, and the \
     time of the collecting computer are statements of that program; no seal covers them.",
];

/// One line for the end of a demo, a report, a log.
pub fn line(verification: &Verification) -> String {
    let pages = verification.pages.total();
    match verification.verdict {
        Verdict::Proven => {
            format!("proven: all {pages} pages are sealed by the known key of the logger")
        }
        Verdict::PartlyProven => format!(
            "partly proven: {} of {pages} pages are sealed by the known key of the logger, nothing \
             contradicts the others",
            verification.pages.proven
        ),
        Verdict::SealedByUnknownKey => format!(
            "{} of {pages} pages are sealed and unchanged since, if the key in the file is that of \
             the logger",
            verification.pages.sealed
        ),
        Verdict::Unproven => {
            format!("unproven: {pages} pages are consistent, no seal vouches for them")
        }
        Verdict::DamageFound => match verification.troubles.as_slice() {
            [one] => format!("damage found: {}", one.text),
            [first, rest @ ..] => {
                format!("damage found in {} places: {}", rest.len() + 1, first.text)
            }
            [] => "damage found".to_owned(),
        },
    }
}

fn papers(papers: Papers) -> &'static str {
    match papers {
        Papers::Sealed => "Settings, site text and calibration are those that were sealed.",
        Papers::Changed => "Settings, site text or calibration are NOT those that were sealed.",
        Papers::Unproven => "No seal speaks of settings, site text and calibration in the head.",
    }
}

/// What the verdict means, in a few sentences.
pub fn verdict(verification: &Verification) -> String {
    let pages = &verification.pages;
    match verification.verdict {
        Verdict::Proven => "PROVEN. Every page of this file is as the logger sealed it, by a key \
                            that you know to be that of this logger. Nothing was changed, taken \
                            out or put in since."
            .to_owned(),
        Verdict::PartlyProven => format!(
            "PARTLY PROVEN. {} of {} pages are as the logger sealed them, by a key that you know to \
             be that of this logger. The others are consistent, but no seal reaches them: a change \
             by somebody with the skill to make the checks fit would not be seen there.",
            pages.proven,
            pages.total()
        ),
        Verdict::SealedByUnknownKey => format!(
            "SEALED, BY A KEY NOT KNOWN TO YOU. {} of {} pages are as the holder of the key in this \
             file sealed them. If that key is the logger's, nothing in them was changed since; \
             somebody who changed the record and sealed it anew with a key of their own would have \
             made such a file too. Compare the key below with one had from the logger itself.",
            pages.sealed,
            pages.total()
        ),
        Verdict::Unproven => "UNPROVEN. The file agrees with itself, but no seal vouches for it: \
                              accidental damage would be seen, a change by somebody with the skill \
                              to make the checks fit would not."
            .to_owned(),
        Verdict::DamageFound => format!(
            "DAMAGE FOUND. This file is not as the logger wrote it, or not whole: {} below. {}",
            match verification.troubles.len() {
                1 => "see the one point".to_owned(),
                n => format!("see the {n} points"),
            },
            reach(pages)
        ),
    }
}

/// What damage leaves standing.
fn reach(pages: &PageCounts) -> String {
    let good = pages.proven + pages.sealed;
    if good > 0 {
        format!("{good} of {} pages are nevertheless as they were sealed.", pages.total())
    } else if pages.consistent > 0 {
        format!("{} of {} pages pass their own checks.", pages.consistent, pages.total())
    } else {
        "Nothing in it can be relied on.".to_owned()
    }
}

/// Everything, for people. `name` is the file's.
pub fn full(verification: &Verification, name: &str) -> String {
    let mut text = String::new();
    origin(&mut text, verification, name);
    heading(&mut text, "Verdict");
    wrapped(&mut text, "  ", &verdict(verification));
    if !verification.troubles.is_empty() {
        troubles(&mut text, &verification.troubles);
    }
    if !verification.remarks.is_empty() {
        heading(&mut text, "To be known");
        for remark in &verification.remarks {
            wrapped(&mut text, "  - ", remark);
        }
    }
    pages(&mut text, &verification.pages);
    key(&mut text, verification);
    seals(&mut text, verification);
    clock(&mut text, &verification.clock);
    heading(&mut text, "What this does not show");
    for limit in LIMITS {
        wrapped(&mut text, "  - ", limit);
    }
    text
}

fn origin(text: &mut String, verification: &Verification, name: &str) {
    let file = &verification.file;
    let known = |value: &Option<String>| match value.as_deref() {
        None => "cannot be read".to_owned(),
        Some("") => "not stated".to_owned(),
        Some(value) => value.to_owned(),
    };
    wrapped(text, "File      ", &format!("{name}, {} bytes", file.bytes));
    wrapped(text, "SHA-256   ", &file.sha256);
    wrapped(text, "Logger    ", &format!("{}, firmware {}", file.device, known(&file.firmware)));
    wrapped(text, "Site      ", &known(&file.site));
    let at = verification.clock.collected_ms.map_or_else(
        || "at a time that cannot be read".to_owned(),
        |ms| format!("{} by the logger's clock", utc_text(ms)),
    );
    wrapped(text, "Collected ", &format!("{at}; by whom: {}", known(&file.collected_by)));
    let last = file.first_sector.wrapping_add(file.sectors.wrapping_sub(1));
    if file.sectors > 0 {
        wrapped(
            text,
            "Record    ",
            &format!(
                "sectors {} to {last}, {} pages",
                file.first_sector,
                verification.pages.total()
            ),
        );
    }
}

fn troubles(text: &mut String, troubles: &[Trouble]) {
    heading(text, "What was found");
    for (n, trouble) in troubles.iter().take(TOLD_MAX).enumerate() {
        wrapped(text, &format!("  {}. ", n + 1), &trouble.text);
    }
    if troubles.len() > TOLD_MAX {
        wrapped(
            text,
            "  ",
            &format!("… and {} more; --json lists them all.", troubles.len() - TOLD_MAX),
        );
    }
}

fn pages(text: &mut String, pages: &PageCounts) {
    heading(text, "Pages");
    let lines = [
        (pages.proven, "proven", "sealed by the known key, every bit"),
        (
            pages.sealed,
            "sealed",
            "sealed by the key in the file, which is not known from elsewhere",
        ),
        (
            pages.consistent,
            "consistent",
            "own checks pass, nothing contradicts them, no seal reaches them",
        ),
        (pages.doubtful, "doubtful", "where power failed: nobody can tell"),
        (pages.altered, "altered", "checks pass, but it is not what the logger closed"),
        (pages.damaged, "damaged", "checks fail"),
        (pages.misplaced, "misplaced", "something else stands in its place"),
        (pages.missing, "missing", "not in the file"),
    ];
    for (count, word, meaning) in lines {
        if count > 0 {
            wrapped(text, &format!("  {count:>7} {word:<11} "), meaning);
        }
    }
    for (count, meaning) in [
        (pages.blank, "of these were never written"),
        (pages.torn, "of these end in a write that a loss of power cut short, as sealed or closed"),
    ] {
        if count > 0 {
            wrapped(text, &format!("  {count:>7} "), meaning);
        }
    }
}

fn key(text: &mut String, verification: &Verification) {
    heading(text, "Key of the logger");
    let key = &verification.key;
    if let Some(found) = &key.in_file {
        wrapped(text, "  in the file  ", found);
    }
    if let Some(trusted) = &key.trusted {
        let note = key.trusted_note.as_deref().unwrap_or("");
        wrapped(text, "  known        ", &format!("{trusted} ({note})"));
    }
    wrapped(
        text,
        "  ",
        match key.standing {
            KeyStanding::Trusted => "The two are the same.",
            KeyStanding::Unknown => {
                "Your trust file does not know this logger. When you have compared the key with one \
                 had from the logger itself, note it with --remember."
            }
            KeyStanding::Differs => "THE TWO DIFFER.",
            KeyStanding::Absent => "There is none in the file.",
        },
    );
}

fn seals(text: &mut String, verification: &Verification) {
    heading(text, "Seals");
    if verification.seals.is_empty() {
        wrapped(text, "  ", "There is none.");
        return;
    }
    let lines = [
        (SealResult::Holds, "hold"),
        (SealResult::OutOfReach, "are signed right, for sectors that are not whole in this file"),
        (SealResult::Contradicted, "are signed right and contradict the file"),
        (SealResult::OtherKey, "are signed by a key that is not the known one"),
        (SealResult::Forged, "carry a wrong signature"),
        (SealResult::OtherDevice, "were made by another logger"),
        (SealResult::Unchecked, "cannot be checked without a key"),
    ];
    for (result, meaning) in lines {
        let count = verification.seals.iter().filter(|seal| seal.result == result).count();
        if count > 0 {
            wrapped(text, &format!("  {count:>7} "), meaning);
        }
    }
    wrapped(text, "  ", papers(verification.papers));
}

fn clock(text: &mut String, clock: &Clock) {
    heading(text, "Clock of the logger");
    for set in &clock.sets {
        let step_ms = set.after_ms.saturating_sub(set.before_ms);
        let way = match step_ms {
            0 => "without a step".to_owned(),
            ..0 => format!("back by {}", span(step_ms)),
            _ => format!("forward by {}", span(step_ms)),
        };
        wrapped(
            text,
            "  ",
            &format!("set {way}: from {} to {}", utc_text(set.before_ms), utc_text(set.after_ms)),
        );
    }
    if clock.sets.is_empty() {
        wrapped(text, "  ", "It was not set during this record.");
    }
    for restart in &clock.restarts_behind {
        wrapped(
            text,
            "  ",
            &format!(
                "at start {} it was behind: {} came after {}; its battery may have failed",
                restart.boot,
                utc_text(restart.after_ms),
                utc_text(restart.before_ms)
            ),
        );
    }
    if let Some(armed_ms) = clock.armed_ms {
        wrapped(text, "  ", &format!("recording was armed at {}", utc_text(armed_ms)));
    }
    if clock.good == Some(false) {
        wrapped(
            text,
            "  ",
            "When collected it had not been set since its battery failed: its times are not to be relied on.",
        );
    }
    if let Some(words) = collected(clock) {
        wrapped(text, "  ", &words);
    }
}

/// How the clock stood at collection, and what follows for the times before.
fn collected(clock: &Clock) -> Option<String> {
    let difference_ms = clock.computer_less_logger_ms?;
    let stand = match difference_ms {
        0 => "agreed with".to_owned(),
        1.. => format!("was {} behind", span(difference_ms)),
        _ => format!("was {} ahead of", span(difference_ms)),
    };
    let drift = match (clock.drift_ppm, clock.uncertainty_ms) {
        (Some(ppm), Some(ms)) => format!(
            " Since it was set last that is {} parts in a million; times in between are within {} of \
             that computer's clock, if the logger's ran evenly.",
            ppm.abs(),
            span(ms)
        ),
        _ => " How far off it was before cannot be told from this file.".to_owned(),
    };
    Some(format!(
        "When collected it {stand} the clock of the collecting computer.{drift} How right that \
         clock was, the file does not say."
    ))
}

/// A length of time as people say it; the sign is left to the sentence.
pub fn span(ms: i64) -> String {
    let ms = ms.unsigned_abs();
    let seconds = ms / 1000;
    match ms {
        0..1000 => format!("{ms} ms"),
        1000..120_000 => format!("{:.1} s", ms as f64 / 1000.0),
        120_000..7_200_000 => format!("{} min {} s", seconds / 60, seconds % 60),
        7_200_000..172_800_000 => format!("{} h {} min", seconds / 3600, seconds / 60 % 60),
        _ => format!("{} days {} h", seconds / 86_400, seconds / 3600 % 24),
    }
}

fn heading(text: &mut String, title: &str) {
    let _ = writeln!(text, "\n{title}");
}

/// Appends `words` in lines of at most [`WIDTH`], the first led by `lead`, the others indented.
pub fn wrapped(text: &mut String, lead: &str, words: &str) {
    let indent = " ".repeat(lead.chars().count());
    let mut line = lead.to_owned();
    let mut empty = true;
    for word in words.split_whitespace() {
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            text.push_str(line.trim_end());
            text.push('\n');
            line.clone_from(&indent);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    text.push_str(line.trim_end());
    text.push('\n');
}
