//! Captures: the half-cycle values that the logger keeps around a trigger.

use super::Size;
use super::axis::Span;
use super::drawing::{Anchor, Canvas, Drawing, Path};
use super::pane::{self, Drawn};
use super::stack::{Line, Moment, Pane, time_axis};
use crate::content::View;
use crate::strings::pictures as words;
use crate::units::Quantity;
use pumpwitness_protocol::record::{CaptureBlock, Trigger};

/// One capture, put together from its blocks.
#[derive(Clone, Debug, PartialEq)]
pub struct Capture {
    /// What set it off.
    pub trigger: Trigger,
    /// Its points in time order.
    pub points: Vec<Point>,
}

/// Values over one cycle, renewed each half cycle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// End of the cycle, ms since 1970.
    pub ms: f64,
    /// Voltage, V r.m.s.
    pub voltage_v: f64,
    /// Current, A r.m.s.
    pub current_a: f64,
    /// Active power, W.
    pub power_w: f64,
}

impl Capture {
    /// First and last moment, ms since 1970.
    pub fn extent(&self) -> (i64, i64) {
        let first = self.points.first().map_or(0.0, |point| point.ms);
        let last = self.points.last().map_or(0.0, |point| point.ms);
        (first.floor() as i64, last.ceil() as i64)
    }
}

/// Captures that overlap `from_ms` to `to_ms`, put together from blocks.
pub fn overlapping(blocks: &[CaptureBlock], from_ms: i64, to_ms: i64) -> Vec<Capture> {
    let mut captures: Vec<Capture> = Vec::new();
    let mut last: Option<&CaptureBlock> = None;
    for block in blocks {
        let follows = last.is_some_and(|last| {
            last.capture == block.capture
                && last.trigger == block.trigger
                && usize::from(last.first_index) + last.points.len()
                    == usize::from(block.first_index)
        });
        last = Some(block);
        let points = block.points.iter().enumerate().map(|(n, point)| Point {
            ms: block.start_ms as f64 + n as f64 * f64::from(block.step_us) / 1000.0,
            voltage_v: f64::from(point.voltage_dv) / 10.0,
            current_a: f64::from(point.current_ca) / 100.0,
            power_w: f64::from(point.power_w),
        });
        match captures.last_mut() {
            Some(capture) if follows => capture.points.extend(points),
            _ => captures.push(Capture { trigger: block.trigger, points: points.collect() }),
        }
    }
    captures.retain(|capture| {
        let (first, last) = capture.extent();
        capture.points.len() > 1 && first <= to_ms && last >= from_ms
    });
    captures
}

/// Quantity, title, class and value of one pane.
type PaneOf = (Quantity, &'static str, &'static str, fn(&Point) -> f64);

/// Draws a capture; `voltage_lines` are the levels of the voltage pane.
pub fn draw(
    view: &View<'_>,
    capture: &Capture,
    voltage_lines: &[Line],
    moment: Option<Moment>,
    size: Size,
) -> Drawing {
    let (from_ms, to_ms) = capture.extent();
    let span = Span { from_ms, to_ms, left: size.left(), right: size.right_beside_labels() };
    let mut canvas = Canvas::default();
    let panes: [PaneOf; 3] = [
        (Quantity::Volt, words::VOLTAGE, "voltage", |point| point.voltage_v),
        (Quantity::Ampere, words::CURRENT, "current", |point| point.current_a),
        (Quantity::Watt, words::POWER, "power", |point| point.power_w),
    ];
    let mut top = 22.0;
    let bottom_of_all = top + 3.0 * 100.0 - 22.0;
    if let Some(moment) = moment {
        let (left, right) = (span.x(moment.from_ms), span.x(moment.to_ms));
        canvas.rect("moment", left, 6.0, (right - left).max(1.5), bottom_of_all - 6.0);
    }
    for (quantity, title, class, value) in panes {
        let bottom = top + 78.0;
        let drawn = Drawn { traces: vec![(columns(capture, &span, value), class)] };
        let lines = if quantity == Quantity::Volt { voltage_lines.to_vec() } else { Vec::new() };
        let pane = Pane {
            title,
            quantity,
            traces: Vec::new(),
            lines,
            peaks_may_leave: false,
            tall: false,
        };
        let scale = pane::scale(view, &pane, &drawn, top, bottom);
        let heading = format!("{title}, {}", view.reader.symbol(quantity));
        canvas.text("name", span.left, top - 5.0, Anchor::Start, &heading);
        pane::frame(&mut canvas, &scale, &span);
        pane::lines(&mut canvas, view, &pane, &scale, &span, size);
        let at = |point: &Point| (x(&span, point.ms), scale.y(value(point)));
        let mut line = Path::default();
        line.polyline(capture.points.iter().map(at), true);
        canvas.path(format!("mean {class}"), line);
        let room = (span.right - span.left) / capture.points.len() as f64;
        if room > 1.0 {
            for point in &capture.points {
                let (x, y) = at(point);
                canvas.circle(format!("dot {class}"), x, y, (room * 0.6).clamp(0.9, 2.2));
            }
        }
        top = bottom + 22.0;
    }
    time_axis(&mut canvas, view, &span, bottom_of_all);
    canvas.finish(size.width(), (bottom_of_all + 36.0) as u32)
}

fn x(span: &Span, ms: f64) -> f64 {
    let width = (span.to_ms - span.from_ms).max(1) as f64;
    span.left + (ms - span.from_ms as f64) / width * (span.right - span.left)
}

/// Extremes for the value scale.
fn columns(
    capture: &Capture,
    span: &Span,
    value: fn(&Point) -> f64,
) -> Vec<Option<super::decimate::Bucket>> {
    let inside = |point: &&Point| point.ms >= span.from_ms as f64;
    let bucket = |point: &Point| {
        let value = value(point) as f32;
        Some(super::decimate::Bucket { min: value, max: value, mean: value })
    };
    capture.points.iter().filter(inside).map(bucket).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pumpwitness_protocol::record::CapturePoint;

    fn block(capture: u16, first_index: u16, start_ms: i64) -> CaptureBlock {
        let mut points = heapless::Vec::new();
        for n in 0..4 {
            points.push(CapturePoint { voltage_dv: 2300 - n, ..CapturePoint::default() }).unwrap();
        }
        CaptureBlock {
            capture,
            first_index,
            start_ms,
            step_us: 10_000,
            trigger: Trigger::Dip,
            points,
        }
    }

    #[test]
    fn blocks_of_one_capture_are_joined() {
        let blocks = [block(7, 0, 1000), block(7, 4, 1040), block(8, 0, 9000)];
        let captures = overlapping(&blocks, 0, 2000);
        assert_eq!(captures.len(), 1);
        assert_eq!(captures[0].points.len(), 8);
        assert_eq!(captures[0].extent(), (1000, 1070));
        assert_eq!(captures[0].points[4].voltage_v, 230.0);
        assert_eq!(overlapping(&blocks, 0, 20_000).len(), 2);
    }
}
