//! Rows of a record as plain numbers: single rows, and the cycles of captures, by rising time.

use pumpwitness_analysis::outcome::Analysis;
use pumpwitness_local_page::office::{Row, Rows};
use pumpwitness_protocol::record::{LampState, Mark, TimedMark};
use pumpwitness_recording::{Channel, Recording};

/// Rows that hold at any time between two moments (ms since 1970), and cycles; the first `most`.
pub fn between(
    recording: &Recording,
    analysis: &Analysis,
    from_ms: i64,
    to_ms: i64,
    most: usize,
) -> Rows {
    let mut found = rows(recording, from_ms, to_ms, most);
    let mut beyond = found.left_out;
    let mut cycles = cycles(recording, from_ms, to_ms, most);
    beyond += cycles.left_out;
    found.rows.append(&mut cycles.rows);
    found.rows.sort_by_key(|row| row.ms);
    beyond += found.rows.len().saturating_sub(most) as u64;
    found.rows.truncate(most);
    for row in &mut found.rows {
        row.running = Some(runs_at(analysis, row.ms));
        row.lamps = lit(&recording.marks, row.ms);
    }
    Rows { rows: found.rows, left_out: beyond }
}

fn rows(recording: &Recording, from_ms: i64, to_ms: i64, most: usize) -> Rows {
    let columns = &recording.columns;
    let first = columns.end_ms.partition_point(|end| *end <= from_ms);
    let mut last = columns.end_ms.partition_point(|end| *end <= to_ms).max(first);
    if last < columns.len() && columns.start_ms(last) < to_ms {
        last += 1;
    }
    let given = (last - first).min(most);
    let of = |channel: Option<&Channel>, row: usize| number(channel?.mean.get(row).copied()?);
    let rows = (first..first + given).map(|row| Row {
        from_ms: columns.start_ms(row),
        ms: columns.end_ms[row],
        voltage_v: of(columns.voltage_v.first(), row),
        current_a: of(columns.current_a.first(), row),
        power_w: columns.power_w.as_ref().and_then(|power| number(*power.get(row)?)),
        pressure_bar: of(columns.pressure_bar.as_ref(), row),
        detail: "row",
        ..Row::default()
    });
    Rows { rows: rows.collect(), left_out: (last - first - given) as u64 }
}

fn cycles(recording: &Recording, from_ms: i64, to_ms: i64, most: usize) -> Rows {
    let mut found = Rows::default();
    for block in &recording.captures {
        for (n, point) in block.points.iter().enumerate() {
            let ms = block.start_ms + (n as i64 * i64::from(block.step_us)) / 1000;
            if ms <= from_ms || ms > to_ms {
                continue;
            }
            if found.rows.len() == most {
                found.left_out += 1;
                continue;
            }
            found.rows.push(Row {
                from_ms: ms,
                ms,
                voltage_v: Some(f64::from(point.voltage_dv) / 10.0),
                current_a: Some(f64::from(point.current_ca) / 100.0),
                power_w: Some(f64::from(point.power_w)),
                detail: "cycle",
                ..Row::default()
            });
        }
    }
    found
}

/// As it was recorded: not more digits than a 32-bit number has.
fn number(value: f32) -> Option<f64> {
    value.is_finite().then(|| (f64::from(value) * 1e4).round() / 1e4)
}

fn runs_at(analysis: &Analysis, ms: i64) -> bool {
    let next = analysis.runs.partition_point(|run| run.stop.as_millisecond() < ms);
    analysis.runs.get(next).is_some_and(|run| run.start.as_millisecond() < ms)
}

/// Lamps that shine or flash at a moment.
fn lit(marks: &[TimedMark], ms: i64) -> Vec<u8> {
    let mut lit = Vec::new();
    for timed in marks.iter().take_while(|timed| timed.time_ms <= ms) {
        if let Mark::Lamp { lamp, state } = timed.mark {
            lit.retain(|known| *known != lamp);
            if state != LampState::Off {
                lit.push(lamp);
            }
        }
    }
    lit.sort_unstable();
    lit
}
