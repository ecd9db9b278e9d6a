//! Two records compared, in the form of a report.

use super::{
    Block, Cell, Column, Document, Figure, Panel, Section, Statement, Table, Text, Tone, View,
};
use crate::format::{capital, significant};
use crate::picture::Size;
use crate::picture::pairs::{self, Pair};
use crate::restate::restate;
use crate::strings::compared::{self as words, columns};
use crate::strings::{causes, kinds, sentences};
use crate::times::Fine;
use crate::units::Quantity;
use pumpwitness_comparison::outcome::{
    Caveat, Change, Comparison, FindingChange, Judged, Measure, MeasureChange, Overall, RateChange,
    Seen, Spread,
};

/// Two records, as the reader sees them, and what came of comparing them.
struct Both<'a> {
    one_site: bool,
    views: [&'a View<'a>; 2],
    comparison: &'a Comparison,
    sides: [&'static str; 2],
}

/// The comparison as a document.
pub fn document(first: &View<'_>, second: &View<'_>, comparison: &Comparison) -> Document {
    let names = [first, second].map(|view| view.input.site.name.clone());
    let one_site = names[0] == names[1];
    let both = Both { one_site, views: [first, second], comparison, sides: words::sides(one_site) };
    let title = match &names {
        [Some(a), Some(b)] if a != b => format!("{a} · {b}"),
        [Some(name), _] | [None, Some(name)] => name.clone(),
        [None, None] => sentences::UNNAMED_SITE.to_owned(),
    };
    let stretch = |place: usize| {
        let recording = &both.views[place].analysis().recording;
        let when = both.views[place].times.stretch(recording.start, recording.end, Fine::Minute);
        format!("{}: {when}", both.sides[place])
    };
    let hash = |place: usize| {
        let hash = &both.views[place].analysis().recording.sha256;
        format!("{}: {}", both.sides[place], sentences::hash_line(hash))
    };
    Document {
        kind: words::KIND.to_owned(),
        title,
        subtitle: format!("{}; {}", stretch(0), stretch(1)),
        foot: sentences::foot(
            second.input.program_version,
            &second.times.moment(second.input.generated, Fine::Second),
            &second.times.offset(second.input.generated),
        ),
        sections: vec![
            page_one(&both),
            cause_section(&both),
            finding_section(&both),
            rate_section(&both),
            measure_section(&both),
            method(),
            super::method::cautions(),
        ],
        hashes: vec![hash(0), hash(1)],
        made: second.input.generated,
        program: format!("pumpwitness {}", second.input.program_version),
        paper: second.reader.0.paper(),
    }
}

fn tone(overall: Overall, one_site: bool) -> Tone {
    match overall {
        _ if !one_site => Tone::Info,
        Overall::NothingWrong | Overall::Gone => Tone::Well,
        Overall::NotSeenAgain | Overall::TooLittle => Tone::Info,
        Overall::Mixed => Tone::Watch,
        Overall::Remains | Overall::New => Tone::Fault,
    }
}

fn page_one(both: &Both<'_>) -> Section {
    let overall = both.comparison.overall;
    let mut said: Vec<Block> = Vec::new();
    for change in [Change::Gone, Change::NotSeenAgain, Change::Remains, Change::New] {
        let names: Vec<String> = both
            .comparison
            .causes
            .iter()
            .filter(|cause| cause.change == change)
            .map(|cause| causes::name(cause.cause))
            .collect();
        if !names.is_empty() {
            let text = Text::default()
                .strong(format!("{}: ", capital(words::change(change, both.one_site))))
                .plain(format!("{}.", names.join(", ")));
            said.push(Block::Paragraph(text));
        }
    }
    said.push(Block::Aside(words::NOT_WHY.into()));
    let statement = Statement {
        tone: tone(overall, both.one_site),
        over: String::new(),
        headline: words::overall(overall, both.one_site).into(),
        blocks: said,
    };
    let mut panels: Vec<Panel> = (0..2)
        .map(|place| Panel {
            title: both.sides[place].to_owned(),
            wide: false,
            blocks: vec![Block::Facts(record_facts(both.views[place]))],
        })
        .collect();
    panels.push(Panel { title: words::CHANGED.into(), wide: true, blocks: changed(both) });
    panels.push(Panel { title: words::GONE_NEW.into(), wide: false, blocks: finding_list(both) });
    panels.push(Panel { title: words::CAVEATS.into(), wide: false, blocks: caveats(both) });
    Section {
        id: "page-one".into(),
        title: words::PAGE_ONE.into(),
        tone: None,
        blocks: vec![
            Block::Statement(statement),
            Block::Panels(panels),
            Block::Aside(sentences::CAUTION_SHORT.into()),
        ],
    }
}

fn record_facts(view: &View<'_>) -> Vec<(String, Text)> {
    let recording = &view.analysis().recording;
    let mut facts: Vec<(String, Text)> = Vec::new();
    if let Some(name) = &view.input.site.name {
        facts.push((sentences::SITE.into(), Text::default().quoted(name.clone())));
    }
    facts.push((sentences::FROM.into(), view.times.moment(recording.start, Fine::Minute).into()));
    facts.push((sentences::TO.into(), view.times.moment(recording.end, Fine::Minute).into()));
    facts.push((sentences::COVERED.into(), crate::format::duration(recording.covered_s).into()));
    let verdict = view.analysis().verdict.first();
    let found =
        verdict.map_or(sentences::NO_VERDICT.to_owned(), |v| capital(&causes::name(v.cause)));
    facts.push((sentences::BEST_EXPLANATION_SHORT.into(), Text::default().strong(found)));
    if let Some(device) = &view.input.recording.source.device {
        facts.push((sentences::LOGGER.into(), Text::default().exact(device.clone())));
    }
    let source = &view.input.recording.source;
    facts.push((sentences::FILE.into(), Text::default().exact(source.name.clone())));
    facts.push((sentences::HASH.into(), Text::default().exact(recording.sha256.clone())));
    facts
}

/// Rows of all that changed enough to matter.
fn changed(both: &Both<'_>) -> Vec<Block> {
    let rates = both.comparison.rates.iter().filter(|rate| rate.judged == Judged::Changed);
    let mut rows: Vec<Vec<Cell>> = rates.map(|rate| rate_row(rate, false)).collect();
    let measures = both.comparison.measures.iter().filter(|m| m.judged == Judged::Changed);
    rows.extend(measures.map(|measure| measure_row(both, measure, false)));
    if rows.is_empty() {
        return vec![Block::Paragraph(words::NOTHING_CHANGED.into())];
    }
    vec![Block::Table(Table {
        caption: words::CHANGED_CAPTION.into(),
        columns: vec![
            Column::words(columns::WHAT),
            Column::numbers(both.sides[0]),
            Column::numbers(both.sides[1]),
            Column::numbers(columns::DIFFERENCE),
        ],
        rows,
    })]
}

fn finding_list(both: &Both<'_>) -> Vec<Block> {
    let findings = &both.comparison.findings;
    if findings.is_empty() {
        return vec![Block::Paragraph(words::NO_FINDINGS.into())];
    }
    let of = |change: Change| {
        let names: Vec<String> = findings
            .iter()
            .filter(|finding| finding.change == change)
            .map(|finding| kinds::title(finding.kind).to_lowercase())
            .collect();
        (!names.is_empty()).then(|| {
            Text::default()
                .strong(format!("{}: ", capital(words::change(change, both.one_site))))
                .plain(names.join(", "))
        })
    };
    let order = [Change::Gone, Change::NotSeenAgain, Change::New, Change::Remains];
    vec![Block::List(order.into_iter().filter_map(of).collect())]
}

fn caveats(both: &Both<'_>) -> Vec<Block> {
    // Two sites may well be recorded at the same time.
    let of_time = |caveat: &&Caveat| matches!(caveat, Caveat::Order | Caveat::Apart { .. });
    let caveats: Vec<&Caveat> =
        both.comparison.caveats.iter().filter(|caveat| both.one_site || !of_time(caveat)).collect();
    if caveats.is_empty() {
        return vec![Block::Paragraph(words::NO_CAVEATS.into())];
    }
    let items = caveats.into_iter().map(|caveat| words::caveat(caveat, both.sides).into());
    vec![Block::List(items.collect())]
}

fn cause_section(both: &Both<'_>) -> Section {
    let confidence = |value: Option<f64>| -> Cell {
        value.map_or_else(|| "–".into(), |value| super::finding::confidence(value).into())
    };
    let causes = &both.comparison.causes;
    let mut blocks = Vec::new();
    if causes.is_empty() {
        blocks.push(Block::Paragraph(words::NO_CAUSES.into()));
    } else {
        let rows = causes.iter().map(|cause| {
            vec![
                capital(&causes::name(cause.cause)).into(),
                confidence(cause.first),
                confidence(cause.second),
                words::change(cause.change, both.one_site).into(),
            ]
        });
        blocks.push(Block::Table(Table {
            caption: words::CAUSES_CAPTION.into(),
            columns: vec![
                Column::words(columns::CAUSE),
                Column::words(both.sides[0]),
                Column::words(both.sides[1]),
                Column::words(columns::STANDS),
            ],
            rows: rows.collect(),
        }));
        let reader = both.views[1].reader;
        let facts: Vec<(String, Text)> = causes
            .iter()
            .filter_map(|cause| {
                let because = restate(cause.contradicted.as_ref()?, reader);
                Some((capital(&causes::name(cause.cause)), Text::default().quoted(because)))
            })
            .collect();
        if !facts.is_empty() {
            blocks.push(Block::Paragraph(Text::default().strong(format!(
                "{}: {}",
                both.sides[1],
                sentences::RULED_OUT
            ))));
            blocks.push(Block::Facts(facts));
        }
    }
    Section { id: "causes".into(), title: words::CAUSES.into(), tone: None, blocks }
}

fn finding_section(both: &Both<'_>) -> Section {
    let seen = |seen: Option<Seen>| -> Cell {
        seen.map_or_else(
            || "–".into(),
            |seen| {
                let severity = crate::strings::severity(seen.severity);
                sentences::times_a_day(severity, seen.count, &significant(seen.per_day, 2)).into()
            },
        )
    };
    let stands = |finding: &FindingChange| match finding.chance_unseen {
        Some(chance) => sentences::chance_unseen(
            words::change(finding.change, both.one_site),
            &words::chance(chance),
        ),
        None => words::change(finding.change, both.one_site).to_owned(),
    };
    let findings = &both.comparison.findings;
    let block = if findings.is_empty() {
        Block::Paragraph(words::NO_FINDINGS.into())
    } else {
        let rows = findings.iter().map(|finding| {
            vec![
                kinds::title(finding.kind).into(),
                seen(finding.first),
                seen(finding.second),
                stands(finding).into(),
            ]
        });
        Block::Table(Table {
            caption: words::FINDINGS_CAPTION.into(),
            columns: vec![
                Column::words(columns::FINDING),
                Column::words(both.sides[0]),
                Column::words(both.sides[1]),
                Column::words(columns::STANDS),
            ],
            rows: rows.collect(),
        })
    };
    Section {
        id: "findings".into(),
        title: words::FINDINGS.into(),
        tone: None,
        blocks: vec![block, Block::Aside(words::REPORTS.into())],
    }
}

fn rate_row(rate: &RateChange, whole: bool) -> Vec<Cell> {
    let times = |value: f64| format!("{}×", significant(value, 2));
    let high = rate.interval.1.map_or_else(|| sentences::NO_BOUND.to_owned(), times);
    let ratio = rate.ratio.map_or_else(|| "–".to_owned(), times);
    let mut cells: Vec<Cell> = vec![
        words::counting(rate.what).into(),
        significant(rate.first_per_day, 3).into(),
        significant(rate.second_per_day, 3).into(),
        format!("{ratio} ({} to {high})", times(rate.interval.0)).into(),
    ];
    if whole {
        cells.push(words::p(rate.p_adjusted).into());
        cells.push(words::judged(rate.judged).into());
    }
    cells
}

fn rate_section(both: &Both<'_>) -> Section {
    let rates = &both.comparison.rates;
    let block = if rates.is_empty() {
        Block::Paragraph(words::NO_WHOLE_DAYS.into())
    } else {
        Block::Table(Table {
            caption: sentences::COUNTED_IN_DAYS.into(),
            columns: vec![
                Column::words(columns::WHAT),
                Column::numbers(both.sides[0]),
                Column::numbers(both.sides[1]),
                Column::numbers(columns::RATIO),
                Column::numbers(columns::P),
                Column::words(columns::JUDGED),
            ],
            rows: rates.iter().map(|rate| rate_row(rate, true)).collect(),
        })
    };
    Section { id: "rates".into(), title: words::RATES.into(), tone: None, blocks: vec![block] }
}

fn quantity(what: Measure) -> Quantity {
    match what {
        Measure::RunLength | Measure::Rest => Quantity::Seconds,
        Measure::RunningCurrent | Measure::PeakCurrent => Quantity::Ampere,
        Measure::StartPressure | Measure::StopPressure => Quantity::Bar,
        Measure::VoltageLow | Measure::VoltageMedian | Measure::VoltageHigh => Quantity::Volt,
        Measure::SupplyImpedance => Quantity::Ohm,
    }
}

fn measure_row(both: &Both<'_>, measure: &MeasureChange, whole: bool) -> Vec<Cell> {
    let reader = both.views[1].reader;
    let quantity = quantity(measure.what);
    // None of these quantities has an offset between units, so differences convert as values do.
    let told = |value: f64| reader.value(quantity, value);
    let mut cells: Vec<Cell> = vec![
        words::measure(measure.what).into(),
        told(measure.first_value).into(),
        told(measure.second_value).into(),
        format!(
            "{} ({} to {})",
            told(measure.difference),
            told(measure.interval.0),
            told(measure.interval.1)
        )
        .into(),
    ];
    if whole {
        cells.push(measure.p_adjusted.map_or_else(|| "–".into(), |p| words::p(p).into()));
        cells.push(words::judged(measure.judged).into());
        cells.push(words::method(measure.method).into());
    }
    cells
}

fn measure_section(both: &Both<'_>) -> Section {
    let measures = &both.comparison.measures;
    let table = Table {
        caption: sentences::MEDIANS.into(),
        columns: vec![
            Column::words(columns::WHAT),
            Column::numbers(both.sides[0]),
            Column::numbers(both.sides[1]),
            Column::numbers(columns::DIFFERENCE),
            Column::numbers(columns::P),
            Column::words(columns::JUDGED),
            Column::words(columns::METHOD),
        ],
        rows: measures.iter().map(|measure| measure_row(both, measure, true)).collect(),
    };
    let mut blocks = vec![Block::Table(table)];
    blocks.extend(picture(both).map(Block::Figure));
    Section { id: "measures".into(), title: words::MEASURES.into(), tone: None, blocks }
}

fn picture(both: &Both<'_>) -> Option<Figure> {
    let reader = both.views[1].reader;
    let shown = both
        .comparison
        .measures
        .iter()
        .filter(|measure| !matches!(measure.what, Measure::VoltageLow | Measure::VoltageHigh));
    let mut rows = Vec::new();
    let pairs: Vec<Pair> = shown
        .map(|measure| {
            let quantity = quantity(measure.what);
            let name = words::measure(measure.what).replace(", median", "");
            let symbol = match quantity {
                Quantity::Seconds => "s",
                quantity => reader.symbol(quantity),
            };
            let of = |spread: &Spread| {
                [spread.tenth, spread.median, spread.nine_tenths]
                    .map(|value| reader.convert(quantity, value))
            };
            let told = |spread: &Spread| -> Cell {
                let [tenth, median, nine_tenths] = of(spread).map(|value| significant(value, 3));
                let count = words::of_values(spread.count);
                format!("{tenth} · {median} · {nine_tenths} ({count})").into()
            };
            let name = format!("{name}, {symbol}");
            rows.push(vec![name.clone().into(), told(&measure.first), told(&measure.second)]);
            Pair {
                name,
                first: of(&measure.first),
                second: of(&measure.second),
                from_nought: quantity != Quantity::Volt,
            }
        })
        .collect();
    (!pairs.is_empty()).then(|| Figure {
        id: "spread".into(),
        title: words::PICTURE_TITLE.into(),
        description: words::PICTURE.into(),
        wide: pairs::draw(&pairs, Size::Wide),
        narrow: Some(pairs::draw(&pairs, Size::Narrow)),
        caption: words::PICTURE.into(),
        table: Some(Table {
            caption: sentences::TENTHS.into(),
            columns: vec![
                Column::words(columns::WHAT),
                Column::numbers(both.sides[0]),
                Column::numbers(both.sides[1]),
            ],
            rows,
        }),
        span: None,
    })
}

fn method() -> Section {
    let blocks = words::METHODS.iter().map(|words| Block::Paragraph((*words).into())).collect();
    Section { id: "method".into(), title: words::METHOD.into(), tone: None, blocks }
}
