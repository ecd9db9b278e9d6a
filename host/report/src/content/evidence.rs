//! Pictures of a finding: when it happened, the most telling occurrence, and its capture.

use super::telling::{self, Channel, Shape};
use super::{Cell, Column, Figure, Table, Text, View};
use crate::picture::capture::{self, Capture};
use crate::picture::stack::{self, Line, Moment, Pane, Stack};
use crate::picture::{Size, strip};
use crate::strings::{kinds, pictures as words, sentences};
use crate::times::{Fine, from_ms};
use crate::units::Quantity;
use pumpwitness_analysis::outcome::Finding;

/// Values in the table behind a picture.
const TABLE_ROWS: usize = 40;

/// The pictures of a finding; or why there is none.
pub fn figures(view: &View<'_>, finding: &Finding, id: &str) -> Result<Vec<Figure>, String> {
    let shape = telling::shape(finding.kind);
    let record = view.extent();
    let (from_ms, to_ms) = told(finding);
    let starts: Vec<i64> =
        view.analysis().runs.iter().map(|run| run.start.as_millisecond()).collect();
    let stretch = telling::stretch(from_ms, to_ms, &shape, record, &starts);
    let panes = panes(view, finding, &shape);
    if panes.is_empty() {
        return Err(sentences::no_channel_to_draw().to_owned());
    }
    let mut figures = Vec::new();
    let brief = stretch.1 - stretch.0 < (record.1 - record.0) * 3 / 4;
    if brief && finding.occurrences.len() > 1 {
        figures.push(overview(view, finding, id, stretch));
    }
    let judged = panes.iter().flat_map(|pane| &pane.lines).any(|line| line.judged);
    let stack = Stack {
        from_ms: stretch.0,
        to_ms: stretch.1,
        panes,
        moments: moments(finding, from_ms, to_ms, &shape),
    };
    figures.push(moment(view, finding, id, &stack, judged, &shape));
    if shape.half_cycles {
        let voltage_lines: Vec<Line> = stack
            .panes
            .iter()
            .filter(|pane| pane.quantity == Quantity::Volt)
            .flat_map(|pane| pane.lines.clone())
            .collect();
        let captures = capture::overlapping(&view.input.recording.captures, from_ms, to_ms);
        if let Some(capture) = captures.first() {
            figures.push(captured(view, finding, id, capture, &voltage_lines, (from_ms, to_ms)));
        }
    }
    Ok(figures)
}

/// The most telling occurrence, or the whole of the finding; ms since 1970.
pub fn told(finding: &Finding) -> (i64, i64) {
    match telling::most_telling(finding, &telling::shape(finding.kind)) {
        Some(told) => (told.start.as_millisecond(), told.end.as_millisecond()),
        None => (finding.start.as_millisecond(), finding.end.as_millisecond()),
    }
}

/// Every occurrence, the most telling flagged.
fn moments(finding: &Finding, from_ms: i64, to_ms: i64, shape: &Shape) -> Vec<Moment> {
    let mut moments: Vec<Moment> = finding
        .occurrences
        .iter()
        .map(|o| (o.start.as_millisecond(), o.end.as_millisecond()))
        .map(|(from, to)| Moment {
            from_ms: from,
            to_ms: to,
            flagged: !shape.whole && (from, to) == (from_ms, to_ms),
        })
        .collect();
    if !shape.whole && !moments.iter().any(|moment| moment.flagged) {
        moments.push(Moment { from_ms, to_ms, flagged: true });
    }
    moments
}

fn panes<'a>(view: &View<'a>, finding: &Finding, shape: &Shape) -> Vec<Pane<'a>> {
    let has_power = view.power().is_some();
    shape
        .panes
        .iter()
        .filter_map(|channel| pane(view, finding, shape, *channel, has_power))
        .collect()
}

fn pane<'a>(
    view: &View<'a>,
    finding: &Finding,
    shape: &Shape,
    channel: Channel,
    has_power: bool,
) -> Option<Pane<'a>> {
    const PHASES: [[&str; 3]; 2] = [
        ["voltage", "voltage second", "voltage third"],
        ["current", "current second", "current third"],
    ];
    let columns = view.columns();
    let several = |channels: &'a [pumpwitness_recording::Channel], classes: [&'static str; 3]| {
        let filled = channels.iter().zip(classes);
        filled.filter_map(|(channel, class)| Some((view.filled(channel)?, class))).collect()
    };
    let one = |series: Option<_>, class| series.map(|series| (series, class)).into_iter().collect();
    let (title, quantity, traces): (_, _, Vec<_>) = match channel {
        Channel::Voltage => {
            (words::VOLTAGE, Quantity::Volt, several(&columns.voltage_v, PHASES[0]))
        }
        Channel::Current => {
            (words::CURRENT, Quantity::Ampere, several(&columns.current_a, PHASES[1]))
        }
        Channel::Power => (words::POWER, Quantity::Watt, one(view.power(), "power")),
        Channel::Pressure => (words::PRESSURE, Quantity::Bar, one(view.pressure(), "pressure")),
        Channel::Loop => (words::LOOP, Quantity::Milliampere, one(view.loop_current(), "other")),
        Channel::Frequency => (words::FREQUENCY, Quantity::Hertz, one(view.frequency(), "other")),
        Channel::TransducerSupply => {
            (words::TRANSDUCER_SUPPLY, Quantity::Volt, one(view.transducer_supply(), "other"))
        }
    };
    if traces.is_empty() {
        return None;
    }
    let mut lines = match channel {
        Channel::TransducerSupply => Vec::new(),
        _ => view.declared(quantity),
    };
    lines.extend(judged(view, finding, channel).map(|value| Line {
        value,
        label: words::LIMIT.to_owned(),
        judged: true,
    }));
    let about = channel == shape.about
        || (shape.about == Channel::Power && !has_power && channel == Channel::Current);
    Some(Pane {
        title,
        quantity,
        traces,
        lines,
        peaks_may_leave: shape.peaks_may_leave,
        tall: about,
    })
}

/// The level of the finding's limit in a pane. Only kinds whose limit is a level of that channel
/// are listed: a limit on a difference, a rate or a length is no line in the picture.
fn judged(view: &View<'_>, finding: &Finding, channel: Channel) -> Option<f64> {
    let limit = finding.limit.as_ref()?;
    let site = view.input.site;
    match (finding.kind, channel, limit.unit) {
        (
            "voltage-dip" | "voltage-swell" | "undervoltage" | "overvoltage" | "interruption",
            Channel::Voltage,
            "V",
        )
        | ("cut-out-not-reached" | "high-tank-air" | "pressure-spike", Channel::Pressure, "bar")
        | (
            "transducer-open" | "transducer-short" | "transducer-out-of-range",
            Channel::Loop,
            "mA",
        )
        | ("overload" | "clamp-fit", Channel::Current, "A")
        | ("clamp-fit", Channel::Power, "W") => Some(limit.value),
        (
            "voltage-dip" | "voltage-swell" | "undervoltage" | "overvoltage" | "interruption",
            Channel::Voltage,
            "of nominal",
        ) => Some(limit.value * site.supply.nominal_v),
        (
            "overload" | "over-temperature-pattern" | "failed-start" | "locked-rotor",
            Channel::Current,
            "times rated",
        ) => Some(limit.value * site.motor.rated_current_a),
        // Either the transducer's own supply, or the line voltage that lets it fail.
        ("transducer-supply", Channel::TransducerSupply, "V") => {
            (limit.value < site.supply.nominal_v / 2.0).then_some(limit.value)
        }
        ("transducer-supply", Channel::Voltage, "V") => {
            (limit.value >= site.supply.nominal_v / 2.0).then_some(limit.value)
        }
        _ => None,
    }
}

fn overview(view: &View<'_>, finding: &Finding, id: &str, stretch: (i64, i64)) -> Figure {
    let occurrences: Vec<(i64, i64)> = finding
        .occurrences
        .iter()
        .map(|o| (o.start.as_millisecond(), o.end.as_millisecond()))
        .collect();
    let title = sentences::overview_title(&kinds::title(finding.kind));
    let draw = |size| strip::draw(view, &occurrences, Some(stretch), size);
    Figure {
        id: format!("{id}-when"),
        description: sentences::overview_description(
            occurrences.len(),
            &view.times.stretch(finding.start, finding.end, Fine::Minute),
        ),
        caption: Text::from(title.clone() + "."),
        title,
        wide: draw(Size::Wide),
        narrow: Some(draw(Size::Narrow)),
        table: None,
        span: None,
    }
}

fn moment(
    view: &View<'_>,
    finding: &Finding,
    id: &str,
    stack: &Stack<'_>,
    judged: bool,
    shape: &Shape,
) -> Figure {
    let flagged = stack.moments.iter().find(|moment| moment.flagged);
    let mut caption = Text::default();
    if let Some(moment) = flagged {
        let length_s = (moment.to_ms - moment.from_ms) as f64 / 1000.0;
        let fine = match length_s {
            s if s < 10.0 => Fine::Milli,
            s if s < 600.0 => Fine::Tenth,
            _ => Fine::Second,
        };
        let when = view.times.stretch(from_ms(moment.from_ms), from_ms(moment.to_ms), fine);
        caption = caption
            .strong(format!("A: {}. ", kinds::title(finding.kind)))
            .plain(sentences::moment_caption(&when, length_s));
        if moment.from_ms < stack.from_ms || moment.to_ms > stack.to_ms {
            caption = caption.plain(sentences::PART_SHOWN);
        }
    } else {
        caption = caption.strong(format!("{}. ", kinds::title(finding.kind)));
    }
    let mut legend = Vec::new();
    if view.analysis().recording.gaps.iter().any(|gap| {
        gap.start.as_millisecond() < stack.to_ms && gap.end.as_millisecond() > stack.from_ms
    }) {
        legend.push(words::LEGEND_GAP);
    }
    if stack.panes.iter().any(|pane| pane.traces.len() > 1) {
        legend.push(words::LEGEND_PHASES);
    }
    if finding.limit.is_some() && !judged {
        legend.push(words::LIMIT_NOT_DRAWN);
    }
    if !legend.is_empty() {
        caption = caption.plain(format!(" {}", legend.join(" ")));
    }
    let names: Vec<&str> = stack.panes.iter().map(|pane| pane.title).collect();
    let when = view.times.stretch(from_ms(stack.from_ms), from_ms(stack.to_ms), Fine::Second);
    let draw = |size| stack::draw(view, stack, size);
    Figure {
        id: format!("{id}-moment"),
        title: sentences::moment_title(&kinds::title(finding.kind), &names, &when),
        description: description(view, stack, shape),
        wide: draw(Size::Wide),
        narrow: Some(draw(Size::Narrow)),
        caption,
        table: Some(table(view, stack, &when)),
        span: Some((stack.from_ms, stack.to_ms)),
    }
}

/// What there is to see, in words: the range of every pane, and the runs.
fn description(view: &View<'_>, stack: &Stack<'_>, shape: &Shape) -> String {
    let mut parts = Vec::new();
    for pane in &stack.panes {
        let Some((series, _)) = pane.traces.first() else { continue };
        let all = stack::buckets(view, *series, pane.quantity, stack.from_ms, stack.to_ms, 1);
        if let Some(Some(bucket)) = all.first() {
            let symbol = view.reader.symbol(pane.quantity);
            parts.push(format!(
                "{} {} to {} {symbol}",
                pane.title,
                crate::format::significant(f64::from(bucket.min), 4),
                crate::format::significant(f64::from(bucket.max), 4),
            ));
        }
    }
    let span = |run: &&pumpwitness_analysis::outcome::Run| {
        run.start.as_millisecond() < stack.to_ms && run.stop.as_millisecond() > stack.from_ms
    };
    let runs = view.analysis().runs.iter().filter(span).count();
    sentences::moment_description(&parts.join("; "), runs, shape.whole)
}

/// The values behind a picture, summed up in equal stretches.
fn table(view: &View<'_>, stack: &Stack<'_>, when: &str) -> Table {
    let mut columns = vec![Column::words(sentences::COLUMN_FROM)];
    let mut buckets = Vec::new();
    for pane in &stack.panes {
        let symbol = view.reader.symbol(pane.quantity);
        for (n, (series, _)) in pane.traces.iter().enumerate() {
            let phase = if pane.traces.len() > 1 { format!(" {}", n + 1) } else { String::new() };
            for what in [sentences::MEAN, sentences::LEAST, sentences::MOST] {
                columns.push(Column::numbers(format!("{}{phase}, {what}, {symbol}", pane.title)));
            }
            buckets.push((
                pane.quantity,
                stack::buckets(
                    view,
                    *series,
                    pane.quantity,
                    stack.from_ms,
                    stack.to_ms,
                    TABLE_ROWS,
                ),
            ));
        }
    }
    let step_ms = (stack.to_ms - stack.from_ms) as f64 / TABLE_ROWS as f64;
    let fine = match step_ms {
        s if s < 1000.0 => Fine::Milli,
        s if s < 60_000.0 => Fine::Second,
        _ => Fine::Minute,
    };
    let days = view.times.date(from_ms(stack.from_ms)) != view.times.date(from_ms(stack.to_ms));
    let rows = (0..TABLE_ROWS)
        .filter(|row| {
            buckets.iter().any(|(_, buckets)| buckets.get(*row).is_some_and(Option::is_some))
        })
        .map(|row| {
            let at = from_ms(stack.from_ms + (row as f64 * step_ms) as i64);
            let time = view.times.time_of_day(at, fine);
            let time = if days { format!("{}, {time}", view.times.day_month(at)) } else { time };
            let mut cells: Vec<Cell> = vec![time.into()];
            for (quantity, buckets) in &buckets {
                let digits = digits(view, *quantity);
                let bucket = buckets.get(row).copied().flatten();
                let shown = |value: Option<f32>| -> Cell {
                    value.map_or_else(
                        || "–".into(),
                        |value| crate::format::fixed(f64::from(value), digits).into(),
                    )
                };
                cells.push(shown(bucket.map(|b| b.mean)));
                cells.push(shown(bucket.map(|b| b.min)));
                cells.push(shown(bucket.map(|b| b.max)));
            }
            cells
        })
        .collect();
    Table { caption: sentences::values_caption(when, step_ms / 1000.0), columns, rows }
}

/// Decimals of a quantity in tables, where the numbers are in the reader's unit already.
fn digits(view: &View<'_>, quantity: Quantity) -> usize {
    match quantity {
        Quantity::Watt => 0,
        Quantity::Ampere | Quantity::Milliampere | Quantity::Hertz => 2,
        Quantity::Bar if view.reader.symbol(quantity) == "bar" => 2,
        _ => 1,
    }
}

fn captured(
    view: &View<'_>,
    finding: &Finding,
    id: &str,
    capture: &Capture,
    voltage_lines: &[Line],
    occurrence: (i64, i64),
) -> Figure {
    let (from, to) = capture.extent();
    let when = view.times.stretch(from_ms(from), from_ms(to), Fine::Milli);
    let moment = Moment {
        from_ms: occurrence.0.clamp(from, to),
        to_ms: occurrence.1.clamp(from, to),
        flagged: true,
    };
    let draw = |size| capture::draw(view, capture, voltage_lines, Some(moment), size);
    let extremes = |value: fn(&capture::Point) -> f64| {
        capture
            .points
            .iter()
            .map(value)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
    };
    let columns = [
        (words::VOLTAGE, Quantity::Volt),
        (words::CURRENT, Quantity::Ampere),
        (words::POWER, Quantity::Watt),
    ];
    let mut heads = vec![Column::words(sentences::COLUMN_END)];
    heads.extend(
        columns
            .iter()
            .map(|(name, q)| Column::numbers(format!("{name}, {}", view.reader.symbol(*q)))),
    );
    let rows = capture
        .points
        .iter()
        .map(|point| {
            vec![
                view.times.time_of_day(from_ms(point.ms.round() as i64), Fine::Milli).into(),
                view.reader.number(Quantity::Volt, point.voltage_v).into(),
                view.reader.number(Quantity::Ampere, point.current_a).into(),
                view.reader.number(Quantity::Watt, point.power_w).into(),
            ]
        })
        .collect();
    Figure {
        id: format!("{id}-capture"),
        title: sentences::capture_title(&kinds::title(finding.kind), &when),
        description: sentences::capture_description(
            &range(view, Quantity::Volt, extremes(|point| point.voltage_v)),
            &range(view, Quantity::Ampere, extremes(|point| point.current_a)),
        ),
        wide: draw(Size::Wide),
        narrow: Some(draw(Size::Narrow)),
        caption: Text::default()
            .strong(sentences::CAPTURE)
            .plain(sentences::capture_caption(sentences::trigger(capture.trigger), &when)),
        table: Some(Table { caption: sentences::capture_values(&when), columns: heads, rows }),
        span: Some((from, to)),
    }
}

fn range(view: &View<'_>, quantity: Quantity, (low, high): (f64, f64)) -> String {
    format!("{} to {}", view.reader.value(quantity, low), view.reader.value(quantity, high))
}
