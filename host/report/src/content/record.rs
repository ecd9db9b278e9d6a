//! The record itself: where it comes from, how whole it is, what it cannot show.

use super::{Block, Cell, Column, Section, Table, Text, View};
use crate::format::{count, counted, duration};
use crate::strings::sentences;
use crate::times::{Fine, from_ms, offset_text};
use crate::units::Quantity;
use pumpwitness_protocol::record::{Mark, TimedMark};
use pumpwitness_recording::SourceKind;

/// Marks listed.
const LISTED: usize = 400;

/// Share of the record's length that rows cover.
pub fn covered_share(view: &View<'_>) -> f64 {
    let (from, to) = view.extent();
    (view.analysis().recording.covered_s / ((to - from) as f64 / 1000.0)).clamp(0.0, 1.0)
}

/// The zone and its offset, with changes inside the record.
pub fn zone_words(view: &View<'_>) -> String {
    let start = view.analysis().recording.start;
    let mut words = view.times.zone_words(start);
    for change in view.times.changes() {
        words.push_str(&sentences::offset_change(
            &offset_text(change.to),
            &view.times.moment(change.at, Fine::Minute),
        ));
    }
    words
}

/// Supply and motor as declared.
pub fn motor_words(view: &View<'_>) -> String {
    let site = view.input.site;
    sentences::motor(
        &view.reader.value(Quantity::Ampere, site.motor.rated_current_a),
        &crate::format::significant(site.supply.nominal_v, 4),
        &crate::format::significant(site.supply.frequency_hz, 3),
        site.supply.phases,
    )
}

/// How many gaps and how long.
pub fn gap_words(view: &View<'_>) -> String {
    let gaps = &view.analysis().recording.gaps;
    let lengths = gaps
        .iter()
        .map(|gap| (gap.end.as_millisecond() - gap.start.as_millisecond()) as f64 / 1000.0);
    let longest = lengths.clone().fold(0.0, f64::max);
    match gaps.len() {
        0 => sentences::NO_GAPS.to_owned(),
        n => sentences::gaps(n, &duration(lengths.sum()), &duration(longest)),
    }
}

/// What was recorded.
pub fn channel_words(view: &View<'_>) -> String {
    let has = recorded(view);
    let names: Vec<&str> = has.iter().filter(|(_, there)| *there).map(|(name, _)| *name).collect();
    if names.is_empty() { sentences::NO_CHANNEL.to_owned() } else { names.join(", ") }
}

fn recorded(view: &View<'_>) -> [(&'static str, bool); 6] {
    [
        (sentences::CHANNEL_VOLTAGE, view.voltage().is_some()),
        (sentences::CHANNEL_CURRENT, view.current().is_some()),
        (sentences::CHANNEL_POWER, view.power().is_some()),
        (sentences::CHANNEL_PRESSURE, view.pressure().is_some()),
        (sentences::CHANNEL_LOOP, view.loop_current().is_some()),
        (sentences::CHANNEL_FREQUENCY, view.frequency().is_some()),
    ]
}

/// Everything that is known to be lost, one sentence each.
pub fn losses(view: &View<'_>) -> Vec<Text> {
    let recording = view.input.recording;
    let mut losses: Vec<Text> =
        recording.source.losses.iter().map(|loss| Text::default().quoted(loss.clone())).collect();
    let (mut frames, mut records, mut captures, mut pages) = (0_u64, 0_u64, 0_u64, 0_u64);
    for TimedMark { mark, .. } in &recording.marks {
        match mark {
            Mark::FramesLost { frames: lost } => frames += u64::from(*lost),
            Mark::RecordsLost { records: lost } => records += u64::from(*lost),
            Mark::CapturesDropped { captures: lost } => captures += u64::from(*lost),
            Mark::PagesDamaged { pages: lost } => pages += u64::from(*lost),
            _ => {}
        }
    }
    for (lost, words) in [
        (frames, sentences::FRAMES_LOST),
        (records, sentences::RECORDS_LOST),
        (captures, sentences::CAPTURES_DROPPED),
        (pages, sentences::PAGES_DAMAGED),
    ] {
        if lost > 0 {
            losses.push(format!("{} {words}", count(lost as usize)).into());
        }
    }
    losses
}

/// What this record leaves open, one sentence each.
pub fn unknowns(view: &View<'_>) -> Vec<String> {
    let mut unknowns: Vec<String> = Vec::new();
    let missing: Vec<&str> =
        recorded(view).iter().take(4).filter(|(_, there)| !there).map(|(name, _)| *name).collect();
    if !missing.is_empty() {
        unknowns.push(sentences::missing_channels(&missing.join(", ")));
    }
    if !view.analysis().recording.gaps.is_empty() {
        unknowns.push(sentences::UNKNOWN_IN_GAPS.into());
    }
    let (from, to) = view.extent();
    if to - from < 24 * 3_600_000 {
        unknowns.push(sentences::SHORT_RECORD.into());
    }
    unknowns
}

/// What this record cannot show.
pub fn cannot_show(view: &View<'_>) -> Section {
    let recording = view.input.recording;
    let mut items: Vec<Text> = unknowns(view).into_iter().map(Text::from).collect();
    if recording.source.kind == SourceKind::Table {
        items.push(sentences::TABLE_LIMITS.into());
    }
    if let Some(row_s) = view.row_s(i64::MIN, i64::MAX) {
        items.push(sentences::row_limits(&duration(row_s)).into());
    }
    if recording.captures.is_empty() {
        items.push(sentences::NO_CAPTURES.into());
    }
    if view.columns().voltage_v.len() < 3 && view.input.site.supply.phases == 3 {
        items.push(sentences::ONE_PHASE.into());
    }
    items.extend(sentences::ALWAYS_OPEN.iter().map(|words| Text::from(*words)));
    Section {
        id: "cannot-show".into(),
        title: sentences::CANNOT_SHOW_TITLE.into(),
        tone: None,
        blocks: vec![Block::List(items)],
    }
}

/// The record's own section: source, hashes, losses, gaps, the logger's log, the site file.
pub fn section(view: &View<'_>) -> Section {
    let recording = view.input.recording;
    let source = &recording.source;
    let mut facts: Vec<(String, Text)> = vec![
        (sentences::FILE.into(), Text::default().exact(source.name.clone())),
        (
            sentences::KIND_OF_FILE.into(),
            match source.kind {
                SourceKind::Archive => sentences::ARCHIVE.into(),
                SourceKind::Table => sentences::TABLE.into(),
            },
        ),
        (sentences::HASH.into(), Text::default().exact(view.analysis().recording.sha256.clone())),
    ];
    if let Some(made_from) = &source.made_from {
        facts.push((sentences::MADE_FROM.into(), Text::default().quoted(made_from.clone())));
    }
    if let Some(device) = &source.device {
        facts.push((sentences::LOGGER.into(), Text::default().exact(device.clone())));
    }
    if let Some(firmware) = &source.firmware {
        let words = crate::format::capital(sentences::FIRMWARE);
        facts.push((words, Text::default().quoted(firmware.clone())));
    }
    facts.push((sentences::CHANNELS.into(), channel_words(view).into()));
    facts.push((sentences::MARKS.into(), count(recording.marks.len()).into()));
    facts.push((sentences::CAPTURE_BLOCKS.into(), count(recording.captures.len()).into()));
    let mut blocks = vec![Block::Facts(facts)];
    blocks.push(Block::Aside(sentences::HASH_MEANS.into()));
    let losses = losses(view);
    if losses.is_empty() {
        blocks.push(Block::Paragraph(sentences::NO_LOSSES.into()));
    } else {
        blocks.push(Block::Paragraph(Text::default().strong(sentences::LOSSES)));
        blocks.push(Block::List(losses));
    }
    blocks.extend(gap_table(view));
    blocks.extend(marks(view));
    let text = source.site_text.clone();
    blocks.push(Block::Section(Section {
        id: "site-file".into(),
        title: sentences::SITE_FILE.into(),
        tone: None,
        blocks: vec![
            Block::Paragraph(
                if text.is_some() {
                    sentences::SITE_FILE_CARRIED
                } else {
                    sentences::SITE_FILE_GIVEN
                }
                .into(),
            ),
            Block::Verbatim(view.input.site.to_toml()),
        ],
    }));
    Section { id: "record".into(), title: sentences::RECORD.into(), tone: None, blocks }
}

fn gap_table(view: &View<'_>) -> Option<Block> {
    let gaps = &view.analysis().recording.gaps;
    if gaps.is_empty() {
        return None;
    }
    let rows: Vec<Vec<Cell>> = gaps
        .iter()
        .take(LISTED)
        .map(|gap| {
            let length_s = (gap.end.as_millisecond() - gap.start.as_millisecond()) as f64 / 1000.0;
            vec![
                view.times.moment(gap.start, Fine::Second).into(),
                view.times.moment(gap.end, Fine::Second).into(),
                duration(length_s).into(),
            ]
        })
        .collect();
    let table = Block::Table(Table {
        caption: sentences::listed(sentences::GAPS_CAPTION, rows.len(), gaps.len()),
        columns: vec![
            Column::words(sentences::COLUMN_FROM),
            Column::words(sentences::COLUMN_TO),
            Column::numbers(sentences::COLUMN_LASTING),
        ],
        rows,
    });
    Some(if gaps.len() <= 12 {
        table
    } else {
        Block::Folded { summary: counted(gaps.len(), "gap", "gaps"), blocks: vec![table] }
    })
}

/// The logger's own log; slow readings are left out, they are no event.
fn marks(view: &View<'_>) -> Option<Block> {
    let marks = view.input.recording.marks.iter();
    let told: Vec<&TimedMark> =
        marks.filter(|timed| !matches!(timed.mark, Mark::Health { .. })).collect();
    if told.is_empty() {
        return None;
    }
    let rows: Vec<Vec<Cell>> = told
        .iter()
        .take(LISTED)
        .map(|timed| {
            vec![
                view.times.moment(from_ms(timed.time_ms), Fine::Milli).into(),
                Text::default().quoted(mark_words(view, &timed.mark)).into(),
            ]
        })
        .collect();
    Some(Block::Folded {
        summary: sentences::log_summary(told.len()),
        blocks: vec![Block::Table(Table {
            caption: sentences::listed(sentences::LOG_CAPTION, rows.len(), told.len()),
            columns: vec![
                Column::words(sentences::COLUMN_TIME),
                Column::words(sentences::COLUMN_EVENT),
            ],
            rows,
        })],
    })
}

fn mark_words(view: &View<'_>, mark: &Mark) -> String {
    match mark {
        Mark::ClockSet { before_ms } => {
            sentences::clock_set(&view.times.moment(from_ms(*before_ms), Fine::Milli))
        }
        Mark::Voltage { event, half_cycles, extreme_dv, open, .. } => sentences::voltage_event(
            *event,
            &duration(f64::from(*half_cycles) / 2.0 / view.input.site.supply.frequency_hz),
            &view.reader.value(Quantity::Volt, f64::from(*extreme_dv) / 10.0),
            *open,
        ),
        Mark::Lamp { lamp, state } => {
            let label = view.input.site.lamps.iter().find(|(number, _)| number == lamp);
            sentences::lamp(*lamp, label.map(|(_, label)| label.as_str()), *state)
        }
        _ => sentences::mark(mark),
    }
}
