//! Columns of a recording out of a table.

use super::cells::numbers;
use super::headings::{self, Heading, Quantity, Reading, Statistic};
use super::order::{self, Order};
use super::times::{Context, moments};
use super::{ImportOptions, ROWS_MAX, RawTable, spans};
use crate::columns::{Channel, Columns};
use crate::error::Problem;
use crate::transducer::Line;
use pumpwitness_site_file::{Site, TransducerKind};
use std::fmt::Write;

/// Most columns named in a sentence.
const NAMED_MAX: usize = 30;

/// Rows of a table and what to tell the reader about them.
#[derive(Debug)]
pub struct Imported {
    /// The rows.
    pub columns: Columns,
    /// Sentences: what was sorted, merged, left out or assumed.
    pub notes: Vec<String>,
}

/// Makes columns of a table. `site` gives the time zone of local times and the range of the
/// transducer, where the table has a loop current and no pressure.
pub fn assemble(
    mut table: RawTable,
    options: &ImportOptions,
    site: Option<&Site>,
) -> Result<Imported, Problem> {
    for column in &mut table.columns {
        // A heading of several lines is read, and told in a message, as one.
        column.name = column.name.replace(char::is_control, " ");
    }
    let rows = table.columns.iter().map(|column| column.cells.len()).max().unwrap_or(0);
    if rows > ROWS_MAX {
        return Err(Problem::TooManyRows { rows, max: ROWS_MAX });
    }
    let mut notes = Vec::new();
    let plan = Plan::new(&table, options, &mut notes)?;

    let time = &table.columns[plan.time.0];
    let context = Context {
        column: &time.name,
        unit: plan.time.1,
        utc: plan.time.2,
        options,
        site_zone: site.and_then(|site| site.time_zone.as_deref()),
    };
    let moments = moments(&time.cells, &context)?;
    notes.extend(moments.notes);
    let order = order::order(moments.ms);
    notes.extend(order.notes.iter().cloned());
    if order.moments_ms.is_empty() {
        return Err(Problem::NoRows);
    }

    let mut channels = Channels { table: &mut table, plan: &plan, order: &order };
    let mut columns = Columns {
        voltage_v: channels.phases(Quantity::Voltage)?,
        current_a: channels.phases(Quantity::Current)?,
        pressure_bar: channels.channel(Quantity::Pressure)?,
        loop_ma: channels.channel(Quantity::Loop)?,
        power_w: channels.values(Quantity::Power)?,
        frequency_hz: channels.values(Quantity::Frequency)?,
        transducer_supply_v: channels.values(Quantity::TransducerSupply)?,
        ..Columns::default()
    };
    let ratio = channels.channel(Quantity::Ratio)?;
    let given_spans = channels.values(Quantity::Span)?;
    columns.span_ms = match given_spans {
        Some(given) => bounded(&given, &order.moments_ms),
        None => spans::spans(&order.moments_ms),
    };
    columns.end_ms = order.moments_ms;
    if columns.pressure_bar.is_none() {
        columns.pressure_bar = pressure(columns.loop_ma.as_ref(), ratio.as_ref(), site, &mut notes);
    }
    Ok(Imported { columns, notes })
}

/// Spans as the file gives them; an estimate where it gives none, and never beyond the row before.
fn bounded(given: &[f32], moments_ms: &[i64]) -> Vec<u32> {
    let estimated =
        if given.iter().any(|span| span.is_nan()) { spans::spans(moments_ms) } else { Vec::new() };
    let mut previous = None;
    given
        .iter()
        .zip(moments_ms)
        .enumerate()
        .map(|(row, (given, moment))| {
            let span = if given.is_nan() { estimated[row] } else { given.round() as u32 };
            let room = previous.map_or(i64::MAX, |previous| moment - previous);
            previous = Some(*moment);
            u32::try_from(i64::from(span).min(room)).unwrap_or(u32::MAX)
        })
        .collect()
}

/// Pressure from the transducer's signal, where the table has no pressure of its own.
fn pressure(
    loop_ma: Option<&Channel>,
    ratio: Option<&Channel>,
    site: Option<&Site>,
    notes: &mut Vec<String>,
) -> Option<Channel> {
    let (signal, kind) = match (loop_ma, ratio) {
        (Some(signal), _) => (signal, TransducerKind::Loop),
        (None, Some(signal)) => (signal, TransducerKind::Ratiometric),
        (None, None) => return None,
    };
    let fitted = site.and_then(|site| site.transducer).filter(|fitted| fitted.kind == kind);
    if fitted.is_none() {
        notes.push(
            "there is a transducer signal but no pressure: it takes [transducer] in the site file \
             to compute it"
                .to_owned(),
        );
    }
    fitted.map(|fitted| Line::of(kind, fitted.low_bar, fitted.high_bar).channel(signal))
}

/// Which column is what.
struct Plan {
    time: (usize, headings::TimeUnit, bool),
    channels: Vec<(usize, Heading)>,
}

impl Plan {
    fn new(
        table: &RawTable,
        options: &ImportOptions,
        notes: &mut Vec<String>,
    ) -> Result<Self, Problem> {
        let names: Vec<&str> = table.columns.iter().map(|column| column.name.as_str()).collect();
        let found = || list(&names);
        for (at, name) in names.iter().enumerate() {
            if names[..at].contains(name) {
                return Err(Problem::DuplicateHeading { name: (*name).to_owned() });
            }
        }
        let mut mapped: Vec<Option<Heading>> = vec![None; names.len()];
        for (column, target) in &options.mapping {
            let at = names.iter().position(|name| name == column).ok_or_else(|| {
                Problem::MappedColumnMissing { column: column.clone(), found: found() }
            })?;
            let Reading::Known(heading) = headings::read(target) else {
                return Err(Problem::MappingTarget { target: target.clone() });
            };
            mapped[at] = Some(heading);
        }
        let is_mapped = |quantity: Quantity| {
            mapped.iter().flatten().any(|heading| same_channel(heading.quantity, quantity))
        };

        let mut time = None;
        let mut channels: Vec<(usize, Heading)> = Vec::new();
        let mut unused: Vec<String> = Vec::new();
        for (at, name) in names.iter().enumerate() {
            let heading = match (mapped[at], headings::read(name)) {
                (Some(heading), _) => heading,
                // A mapped channel takes the place of one recognised by its name.
                (None, Reading::Known(heading)) if !is_mapped(heading.quantity) => heading,
                (None, Reading::NoUnit(unit)) => {
                    unused.push(format!("{name} (no unit in its name, such as _{unit})"));
                    continue;
                }
                _ => {
                    unused.push((*name).to_owned());
                    continue;
                }
            };
            if let Quantity::Time(unit) = heading.quantity {
                // Of several, the one called `time` or the first.
                if time.is_none() || name.eq_ignore_ascii_case("time") {
                    time = Some((at, unit, heading.utc));
                }
                continue;
            }
            for (other, before) in &channels {
                let pair = || (names[*other].to_owned(), (*name).to_owned());
                if !same_channel(before.quantity, heading.quantity) {
                    continue;
                }
                if before.unit != heading.unit {
                    let (first, second) = pair();
                    return Err(Problem::MixedUnits { first, second });
                }
                if before.statistic == heading.statistic {
                    let (first, second) = pair();
                    let what = headings::heading(heading.quantity, heading.statistic, 1);
                    return Err(Problem::SameChannel { first, second, what });
                }
            }
            channels.push((at, heading));
        }
        channels.retain(|(at, heading)| {
            let kept = heading.statistic == Statistic::Mean
                || names.iter().enumerate().any(|(other, _)| {
                    other != *at && mean_of(other, heading.quantity, &mapped, &names)
                });
            if !kept {
                unused.push(format!("{} (an extreme without its mean)", names[*at]));
            }
            kept
        });
        let time = time.ok_or_else(|| Problem::NoTime { found: found() })?;
        if !channels.iter().any(|(_, heading)| heading.quantity != Quantity::Span) {
            return Err(Problem::NoChannel { found: found() });
        }
        if !unused.is_empty() {
            notes.push(format!("columns not used: {}", list(&unused)));
        }
        Ok(Self { time, channels })
    }
}

/// True when column `at` gives the mean of `quantity`.
fn mean_of(at: usize, quantity: Quantity, mapped: &[Option<Heading>], names: &[&str]) -> bool {
    let heading = mapped[at].or(match headings::read(names[at]) {
        Reading::Known(heading) => Some(heading),
        _ => None,
    });
    heading.is_some_and(|heading| {
        heading.statistic == Statistic::Mean && same_channel(heading.quantity, quantity)
    })
}

/// Names for a sentence.
fn list<T: AsRef<str>>(names: &[T]) -> String {
    let mut text = names.iter().take(NAMED_MAX).map(AsRef::as_ref).collect::<Vec<_>>().join(", ");
    if names.is_empty() {
        text.push_str("none");
    } else if names.len() > NAMED_MAX {
        let _ = write!(text, " and {} more", names.len() - NAMED_MAX);
    }
    text
}

fn same_channel(a: Quantity, b: Quantity) -> bool {
    matches!((a, b), (Quantity::Time(_), Quantity::Time(_))) || a == b
}

/// Takes channels out of a table.
struct Channels<'a> {
    table: &'a mut RawTable,
    plan: &'a Plan,
    order: &'a Order,
}

impl Channels<'_> {
    /// One statistic in the file's order; its cells are freed.
    fn take(
        &mut self,
        quantity: Quantity,
        statistic: Statistic,
    ) -> Result<Option<Vec<f32>>, Problem> {
        let planned =
            self.plan.channels.iter().find(|(_, heading)| {
                heading.quantity == quantity && heading.statistic == statistic
            });
        let Some((at, heading)) = planned else { return Ok(None) };
        let column = &mut self.table.columns[*at];
        let cells = std::mem::replace(&mut column.cells, super::Cells::Numbers(Vec::new()));
        numbers(&column.name, cells, heading.factor).map(Some)
    }

    /// A quantity without extremes.
    fn values(&mut self, quantity: Quantity) -> Result<Option<Vec<f32>>, Problem> {
        let values = self.take(quantity, Statistic::Mean)?;
        Ok(values.map(|values| self.order.apply(values, order::first_value)))
    }

    /// A quantity with extremes where the table has them.
    fn channel(&mut self, quantity: Quantity) -> Result<Option<Channel>, Problem> {
        let Some(mean) = self.take(quantity, Statistic::Mean)? else { return Ok(None) };
        let min = self.take(quantity, Statistic::Min)?;
        let max = self.take(quantity, Statistic::Max)?;
        let spread = min.is_some() || max.is_some();
        let filled = |extreme: Option<Vec<f32>>| match extreme {
            // A cell without an extreme has its mean for one.
            Some(values) => {
                values.iter().zip(&mean).map(|(v, mean)| order::first_value(*v, *mean)).collect()
            }
            None => mean.clone(),
        };
        let (min, max) = (filled(min), filled(max));
        Ok(Some(self.order.apply_channel(Channel { mean, min, max, spread })))
    }

    /// A quantity by phases: those from the first on that the table has.
    fn phases(&mut self, quantity: fn(u8) -> Quantity) -> Result<Vec<Channel>, Problem> {
        let mut channels = Vec::new();
        for phase in 0..3 {
            match self.channel(quantity(phase))? {
                Some(channel) => channels.push(channel),
                None => break,
            }
        }
        Ok(channels)
    }
}
