//! What the page's viewer draws from: the whole record in coarse steps, single rows and captures as
//! far as there is room, the runs, the gaps and the findings. Where the program serves the page, rows
//! and captures are left out, and [`stretch`] answers for those that the viewer then asks for.

use super::escape;
use super::packed::Packer;
use crate::content::{View, told};
use crate::picture::capture;
use crate::picture::decimate::{Bucket, Series, decimate};
use crate::picture::sign::{self, Nature};
use crate::picture::style::look;
use crate::strings::{kinds, page, pictures as words, sentences, stops};
use crate::times::from_ms;
use crate::units::{Clock, Quantity};
use pumpwitness_analysis::outcome::Severity;
use serde_json::{Value, json};
use std::ops::Range;

/// Coarse steps over the whole record: for a first look, and for zooming where no rows are.
const LEVELS: &[usize] = &[1500, 48_000];

/// The same for a page that can ask for more.
const LEVELS_SERVED: &[usize] = &[1500, 12_000];

/// Rows unpacked at a time.
const TILE: usize = 2048;

/// Rows of a stretch that are given one by one; of longer ones the viewer gets steps. (It shows as
/// many at once: `ROWS_SHOWN` in `viewer/served.js`.)
const ROWS_MOST: usize = 60_000;

/// Steps of a stretch that has more rows: three views of 1500 each.
const STEPS: usize = 4500;

/// Captures of a stretch that are given, and the longest stretch that they are given for, ms.
const CAPTURES_MOST: usize = 200;
const CAPTURES_WITHIN_MS: i64 = 10 * 60_000;

/// Share of the room that captures may take.
const CAPTURE_SHARE: usize = 4;

/// Moments of a finding that are marked at most.
const MARKED: usize = 400;

/// One channel as the viewer shows it.
struct Shown<'a> {
    title: &'static str,
    quantity: Quantity,
    class: &'static str,
    series: Series<'a>,
    /// False where smallest and largest are copies of the mean.
    spread: bool,
    /// Step of its values, in the reader's unit.
    step: f64,
    /// Decimals worth showing.
    decimals: usize,
}

/// Where the viewer finds single rows and captures.
#[derive(Clone, Copy, Debug)]
pub enum Rows<'a> {
    /// In the page, which has room for about so many bytes of the record.
    InPage(usize),
    /// At this address.
    Served(&'a str),
}

/// The record as JSON; `None` where there is nothing to look into.
pub fn json(view: &View<'_>, rows: Rows<'_>) -> Option<Value> {
    let (from, to) = view.extent();
    let shown = channels(view);
    if shown.is_empty() || view.columns().is_empty() {
        return None;
    }
    let counts = if matches!(rows, Rows::Served(_)) { LEVELS_SERVED } else { LEVELS };
    let levels: Vec<Value> = counts
        .iter()
        .filter(|count| **count == counts[0] || (to - from) / **count as i64 >= 400)
        .map(|count| level(view, &shown, *count, from, to))
        .collect();
    let (mut captures, mut tiles, mut served) = (Vec::new(), Vec::new(), None);
    match rows {
        Rows::Served(address) => served = Some(address),
        Rows::InPage(room) => {
            let coarse: usize = levels.iter().map(|level| level.to_string().len()).sum();
            let room = room.saturating_sub(coarse);
            captures = self::captures(view, from, room / CAPTURE_SHARE);
            let taken: usize = captures.iter().map(|capture| capture.to_string().len()).sum();
            tiles = self::tiles(view, &shown, from, room.saturating_sub(taken));
        }
    }
    let channels: Vec<Value> = shown.iter().map(|shown| channel(view, shown)).collect();
    let runs: Vec<Value> = view
        .analysis()
        .runs
        .iter()
        .map(|run| {
            let (start, stop) = (run.start.as_millisecond(), run.stop.as_millisecond());
            json!([start - from, stop - start, run.stop_reason.map_or(-1, |reason| reason as i64)])
        })
        .collect();
    let gaps: Vec<Value> = view
        .analysis()
        .recording
        .gaps
        .iter()
        .map(|gap| json!([gap.start.as_millisecond() - from, gap.end.as_millisecond() - from]))
        .collect();
    Some(json!({
        "from": from,
        "length": to - from,
        "clock12": view.reader.0.clock == Clock::Hours12,
        "zone": zone(view, from),
        "channels": channels,
        "levels": levels,
        "tiles": tiles,
        "captures": captures,
        "served": served,
        "runs": runs,
        "reasons": reasons(view),
        "gaps": gaps,
        "lamps": lamps(view, from),
        "findings": findings(view, from),
        "words": words_of_the_viewer(),
    }))
}

/// Rows and captures between two moments (ms since 1970), in the form of those in a page; where there
/// are more rows than the viewer shows, steps in their place.
pub fn stretch(view: &View<'_>, from_ms: i64, to_ms: i64) -> Value {
    let (begin, end) = view.extent();
    let (from, to) = (from_ms.clamp(begin, end), to_ms.clamp(begin, end));
    let (columns, shown) = (view.columns(), channels(view));
    let first = columns.end_ms.partition_point(|row_end| *row_end <= from);
    // A row begins where the one before it ends, or later.
    let last = columns.end_ms.partition_point(|row_end| *row_end < to).saturating_add(1);
    let last = last.min(columns.len());
    if from >= to || first >= last || shown.is_empty() {
        return json!({ "tiles": [], "captures": [], "steps": null });
    }
    if last - first > ROWS_MOST {
        let mut steps = level(view, &shown, STEPS, from, to);
        steps["from"] = (from - begin).into();
        steps["to"] = (to - begin).into();
        return json!({ "tiles": [], "captures": [], "steps": steps });
    }
    let tiles: Vec<Value> = (first / TILE..last.div_ceil(TILE))
        .map(|n| n * TILE..((n + 1) * TILE).min(columns.len()))
        .map(|rows| tile(view, &shown, rows, begin))
        .collect();
    let captures: Vec<Value> = if to - from <= CAPTURES_WITHIN_MS {
        let found = capture::overlapping(&view.input.recording.captures, from, to);
        found.iter().take(CAPTURES_MOST).map(|capture| packed(capture, begin)).collect()
    } else {
        Vec::new()
    };
    json!({ "tiles": tiles, "captures": captures, "steps": null })
}

fn channels<'a>(view: &View<'a>) -> Vec<Shown<'a>> {
    let bar = match view.reader.symbol(Quantity::Bar) {
        "bar" => (0.005, 2),
        _ => (0.1, 1),
    };
    let columns = view.columns();
    let spread =
        |channel: Option<&pumpwitness_recording::Channel>| channel.is_some_and(|c| c.spread);
    let all = [
        (
            words::VOLTAGE,
            Quantity::Volt,
            "voltage",
            view.voltage(),
            spread(columns.voltage_v.first()),
            (0.1, 1),
        ),
        (
            words::CURRENT,
            Quantity::Ampere,
            "current",
            view.current(),
            spread(columns.current_a.first()),
            (0.01, 2),
        ),
        (words::POWER, Quantity::Watt, "power", view.power(), false, (1.0, 0)),
        (
            words::PRESSURE,
            Quantity::Bar,
            "pressure",
            view.pressure(),
            spread(columns.pressure_bar.as_ref()),
            bar,
        ),
    ];
    all.into_iter()
        .filter_map(|(title, quantity, class, series, spread, (step, decimals))| {
            let series = series?;
            Some(Shown { title, quantity, class, series, spread, step, decimals })
        })
        .collect()
}

fn channel(view: &View<'_>, shown: &Shown<'_>) -> Value {
    let lines: Vec<Value> = view
        .declared(shown.quantity)
        .into_iter()
        .map(|line| json!([view.reader.convert(shown.quantity, line.value), line.label]))
        .collect();
    json!({
        "title": shown.title,
        "unit": view.reader.symbol(shown.quantity),
        "colour": format!("#{:06x}", look(shown.class).fill.unwrap_or(0)),
        "step": shown.step,
        "decimals": shown.decimals,
        "spread": shown.spread,
        // A voltage has its scale about its values; all else stands on nought.
        "floats": shown.quantity == Quantity::Volt,
        "lines": lines,
    })
}

/// A value in the reader's unit, in steps of the channel.
fn steps(view: &View<'_>, shown: &Shown<'_>, value: f32) -> Option<i64> {
    // Far beyond what any sensor gives, and yet a number that differences cannot overflow.
    const MOST: f64 = 1e12;
    let value = view.reader.convert(shown.quantity, f64::from(value)) / shown.step;
    value.is_finite().then(|| value.round().clamp(-MOST, MOST) as i64)
}

fn level(view: &View<'_>, shown: &[Shown<'_>], count: usize, from: i64, to: i64) -> Value {
    let mut packer = Packer::default();
    for shown in shown {
        let buckets = decimate(view.columns(), shown.series, from, to, count);
        let of = |pick: fn(&Bucket) -> f32| {
            buckets.iter().map(move |bucket| steps(view, shown, pick(bucket.as_ref()?)))
        };
        let means: Vec<_> = of(|bucket| bucket.mean).collect();
        packer.means(means.iter().copied());
        // Even a channel without extremes of its own has them over several rows.
        let below = means.iter().zip(of(|bucket| bucket.min));
        packer.distances(below.map(|(mean, min)| distance(min, *mean)));
        let above = means.iter().zip(of(|bucket| bucket.max));
        packer.distances(above.map(|(mean, max)| distance(*mean, max)));
    }
    json!({ "count": count, "data": packer.finish() })
}

fn distance(low: Option<i64>, high: Option<i64>) -> i64 {
    low.zip(high).map_or(0, |(low, high)| high - low)
}

/// Tiles of rows, those near findings first, as far as there is room; in time order.
fn tiles(view: &View<'_>, shown: &[Shown<'_>], from: i64, room: usize) -> Vec<Value> {
    let columns = view.columns();
    let ranges: Vec<Range<usize>> =
        (0..columns.len()).step_by(TILE).map(|at| at..(at + TILE).min(columns.len())).collect();
    let mut order: Vec<(u8, usize)> = ranges
        .iter()
        .enumerate()
        .map(|(n, range)| {
            let span = (columns.start_ms(range.start), columns.end_ms[range.end - 1]);
            (rank(view, span), n)
        })
        .collect();
    order.sort_unstable();
    let mut left = room;
    let mut tiles: Vec<(usize, Value)> = Vec::new();
    for (_, n) in order {
        let value = tile(view, shown, ranges[n].clone(), from);
        let size = value["data"].as_str().map_or(0, str::len) + 60;
        if size > left {
            break;
        }
        left -= size;
        tiles.push((n, value));
    }
    tiles.sort_by_key(|(n, _)| *n);
    tiles.into_iter().map(|(_, tile)| tile).collect()
}

/// How much a reader will want to look into a stretch: 0 most.
fn rank(view: &View<'_>, (from, to): (i64, i64)) -> u8 {
    let analysis = view.analysis();
    let meets = |a: i64, b: i64| a <= to && b >= from;
    if analysis.findings.iter().map(told).any(|(a, b)| meets(a, b.min(a + 600_000))) {
        return 0;
    }
    let seen = analysis.findings.iter().flat_map(|finding| &finding.occurrences);
    if seen.clone().any(|o| meets(o.start.as_millisecond(), o.start.as_millisecond())) {
        return 1;
    }
    let first = analysis.runs.partition_point(|run| run.stop.as_millisecond() < from);
    if analysis.runs[first..].first().is_some_and(|run| run.start.as_millisecond() <= to) {
        return 2;
    }
    3
}

fn tile(view: &View<'_>, shown: &[Shown<'_>], rows: Range<usize>, from: i64) -> Value {
    let columns = view.columns();
    let start = columns.start_ms(rows.start);
    let mut packer = Packer::default();
    let mut last = start;
    for row in rows.clone() {
        packer.count(columns.start_ms(row).saturating_sub(last).max(0) as u64);
        last = columns.end_ms[row];
    }
    packer.distances(columns.span_ms[rows.clone()].iter().map(|span| i64::from(*span)));
    for shown in shown {
        let of = |values: &'_ [f32]| -> Vec<Option<i64>> {
            values[rows.clone()].iter().map(|value| steps(view, shown, *value)).collect()
        };
        let means = of(shown.series.mean);
        packer.means(means.iter().copied());
        if shown.spread {
            let (least, most) = (of(shown.series.min), of(shown.series.max));
            packer.distances(means.iter().zip(least).map(|(mean, min)| distance(min, *mean)));
            packer.distances(means.iter().zip(most).map(|(mean, max)| distance(*mean, max)));
        }
    }
    json!({
        "from": start - from,
        "to": columns.end_ms[rows.end - 1] - from,
        "rows": rows.len(),
        "data": packer.finish(),
    })
}

/// Captures, those of findings first, as far as there is room; in time order.
fn captures(view: &View<'_>, from: i64, room: usize) -> Vec<Value> {
    let (first, last) = (i64::MIN, i64::MAX);
    let all = capture::overlapping(&view.input.recording.captures, first, last);
    let mut order: Vec<(u8, usize)> =
        all.iter().enumerate().map(|(n, capture)| (rank(view, capture.extent()), n)).collect();
    order.sort_unstable();
    let mut left = room;
    let mut kept: Vec<(usize, Value)> = Vec::new();
    for (_, n) in order {
        let value = packed(&all[n], from);
        let size = value["data"].as_str().map_or(0, str::len) + 90;
        if size > left {
            break;
        }
        left -= size;
        kept.push((n, value));
    }
    kept.sort_by_key(|(n, _)| *n);
    kept.into_iter().map(|(_, capture)| capture).collect()
}

fn packed(capture: &capture::Capture, from: i64) -> Value {
    let begin = capture.points[0].ms;
    let mut packer = Packer::default();
    let times = capture.points.iter().map(|point| ((point.ms - begin) * 10.0).round() as i64);
    packer.means(times.map(Some));
    for value in [
        |point: &capture::Point| point.voltage_v * 10.0,
        |point: &capture::Point| point.current_a * 100.0,
        |point: &capture::Point| point.power_w,
    ] {
        packer.means(capture.points.iter().map(|point| Some(value(point).round() as i64)));
    }
    json!({
        "from": begin - from as f64,
        "points": capture.points.len(),
        "why": sentences::trigger(capture.trigger),
        "data": packer.finish(),
    })
}

/// Offsets from UTC in force, each from a moment on.
fn zone(view: &View<'_>, from: i64) -> Vec<Value> {
    let mut zone = vec![(0, from_ms(from))];
    zone.extend(view.times.changes().iter().map(|c| (c.at.as_millisecond() - from, c.at)));
    zone.into_iter()
        .map(|(at, time)| json!([at, view.times.offset_seconds(time), view.times.zone_words(time)]))
        .collect()
}

/// Stop reasons by number.
fn reasons(view: &View<'_>) -> Value {
    let mut reasons = serde_json::Map::new();
    for reason in view.analysis().stops.keys() {
        let shape = match sign::nature(*reason) {
            Nature::Normal => "ring",
            Nature::Protective => "square",
            Nature::Supply => "diamond",
            Nature::Unexplained => "dashed",
        };
        reasons.insert(
            (*reason as i64).to_string(),
            json!([stops::letter(*reason), stops::name(*reason), shape]),
        );
    }
    Value::Object(reasons)
}

/// Watched lamps that shone: label, and when each was lit (1) or flashing (2).
fn lamps(view: &View<'_>, from: i64) -> Vec<Value> {
    let lamps = view.lamps().into_iter().map(|lamp| {
        let lit = lamp.lit.iter().map(|lit| {
            json!([lit.from_ms - from, lit.to_ms - from, if lit.flashing { 2 } else { 1 }])
        });
        json!({ "label": escape::shown(lamp.label), "lit": lit.collect::<Vec<_>>() })
    });
    lamps.collect()
}

fn findings(view: &View<'_>, from: i64) -> Vec<Value> {
    view.analysis()
        .findings
        .iter()
        .enumerate()
        .map(|(n, finding)| {
            let seen = finding.occurrences.iter().take(MARKED);
            let seen: Vec<Value> = seen
                .map(|o| json!([o.start.as_millisecond() - from, o.end.as_millisecond() - from]))
                .collect();
            let (start, end) = told(finding);
            json!({
                "title": format!("{}. {}", n + 1, kinds::title(finding.kind)),
                "grave": finding.severity != Severity::Info,
                "told": [start - from, end - from],
                "seen": seen,
            })
        })
        .collect()
}

fn words_of_the_viewer() -> Value {
    Value::Object(
        page::VIEWER.iter().map(|(key, words)| ((*key).into(), (*words).into())).collect(),
    )
}
