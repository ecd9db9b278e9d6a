//! The pressure transducer and its wires: pressure in, signal in steps of the record out.

use crate::clock::{Instant, us};
use crate::noise::Noise;
use pumpwitness_site_file::TransducerKind;

/// Intermittent wiring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WiringFault {
    /// Losses in a day with the pump at rest.
    pub per_day: f64,
    /// How many times as often while the pump shakes the pipe.
    pub running_factor: f64,
    /// Length, s: shortest and longest, on a logarithmic scale.
    pub length_s: (f64, f64),
    /// Share of losses that are shorts; the rest are open.
    pub short_share: f64,
}

/// The transducer as it really is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TransducerParameters {
    /// How it reports.
    pub kind: TransducerKind,
    /// Pressure at its low end, bar.
    pub low_bar: f64,
    /// Pressure at its high end, bar.
    pub high_bar: f64,
    /// Noise of single half waves, steps, standard deviation.
    pub noise_steps: f64,
    /// What it reads too much, bar.
    pub offset_bar: f64,
    /// By how much that grows, bar per day.
    pub drift_bar_per_day: f64,
    /// Highest signal its supply lets it give, steps.
    pub ceiling_steps: Option<f64>,
    /// Wiring fault.
    pub wiring: Option<WiringFault>,
    /// A loss at a set moment.
    pub planned: Option<Loss>,
}

/// Steps from the low to the high end: 4 to 20 mA in 2 µA, 0.5 to 4.5 V of 5 V in 0.0001.
const SPAN_STEPS: f64 = 8000.0;

impl TransducerParameters {
    pub(crate) fn zero_steps(&self) -> f64 {
        match self.kind {
            TransducerKind::Loop => 2000.0,
            TransducerKind::Ratiometric => 1000.0,
        }
    }

    /// Where the output saturates: NAMUR NE 43, 3.8 and 20.5 mA; 0.4 and 4.6 V by common practice.
    fn ends_steps(&self) -> (f64, f64) {
        match self.kind {
            TransducerKind::Loop => (1900.0, 10_250.0),
            TransducerKind::Ratiometric => (800.0, 9200.0),
        }
    }

    /// Signal with the wire open and shorted, steps.
    fn lost_steps(&self, short: bool) -> f64 {
        match (self.kind, short) {
            (_, false) => 0.0,
            // A shorted loop is held by the logger's own current limit, about 24 mA.
            (TransducerKind::Loop, true) => 12_000.0,
            (TransducerKind::Ratiometric, true) => 10_000.0,
        }
    }

    /// Live band, steps: NAMUR NE 43 (≤ 3.6 mA, ≥ 21 mA are faults); 0.25 and 4.75 V of 5 V.
    pub fn live_steps(&self) -> (i32, i32) {
        match self.kind {
            TransducerKind::Loop => (1801, 10_499),
            TransducerKind::Ratiometric => (500, 9500),
        }
    }

    /// Pressure that `steps` stand for, bar.
    pub fn pressure_bar(&self, steps: f64) -> f64 {
        self.low_bar + (steps - self.zero_steps()) / SPAN_STEPS * (self.high_bar - self.low_bar)
    }
}

/// The transducer in time.
#[derive(Clone, Debug)]
pub struct Transducer {
    start_us: i64,
    lost: Option<Loss>,
    noise: Noise,
}

/// A loss of signal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loss {
    /// First moment, µs since 1970.
    pub start_us: i64,
    /// Last moment.
    pub end_us: i64,
    /// Short rather than open.
    pub short: bool,
}

impl Transducer {
    /// Sound at `start`.
    pub fn new(start: Instant, noise: Noise) -> Self {
        Self { start_us: start.unix_us, lost: None, noise }
    }

    /// The loss going on.
    pub fn lost(&self) -> Option<Loss> {
        self.lost
    }

    /// Signal at `at`, steps; `ended` receives a loss that ends here.
    pub fn step(
        &mut self,
        at: Instant,
        dt_s: f64,
        gauge_bar: f64,
        running: bool,
        parameters: &TransducerParameters,
    ) -> (f64, Option<Loss>) {
        let mut ended = None;
        if self.lost.is_some_and(|loss| loss.end_us <= at.unix_us) {
            ended = self.lost.take();
        }
        if let Some(loss) = parameters.planned
            && self.lost.is_none()
            && (loss.start_us..loss.end_us).contains(&at.unix_us)
        {
            self.lost = Some(loss);
        }
        if let Some(wiring) = parameters.wiring {
            let factor = if running { wiring.running_factor } else { 1.0 };
            if self.lost.is_none() && self.noise.chance(wiring.per_day * factor * dt_s / 86_400.0) {
                let length_s = self.noise.between_log(wiring.length_s.0, wiring.length_s.1);
                self.lost = Some(Loss {
                    start_us: at.unix_us,
                    end_us: at.unix_us + us(length_s),
                    short: self.noise.chance(wiring.short_share),
                });
            }
        }
        if let Some(loss) = self.lost {
            return (parameters.lost_steps(loss.short), ended);
        }
        let days = (at.unix_us - self.start_us) as f64 / 8.64e10;
        let shown = gauge_bar + parameters.offset_bar + parameters.drift_bar_per_day * days;
        let share = (shown - parameters.low_bar) / (parameters.high_bar - parameters.low_bar);
        let (low, high) = parameters.ends_steps();
        let ceiling = parameters.ceiling_steps.unwrap_or(high).min(high);
        let steps = parameters.zero_steps() + SPAN_STEPS * share;
        (steps.min(ceiling).max(low), ended)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOOP: TransducerParameters = TransducerParameters {
        kind: TransducerKind::Loop,
        low_bar: 0.0,
        high_bar: 10.0,
        noise_steps: 0.0,
        offset_bar: 0.0,
        drift_bar_per_day: 0.0,
        ceiling_steps: None,
        wiring: None,
        planned: None,
    };

    fn steps(parameters: &TransducerParameters, bar: f64) -> f64 {
        let at = Instant::new(0, 0.0);
        Transducer::new(at, Noise::new(1, 1)).step(at, 0.1, bar, false, parameters).0
    }

    /// 0 bar 4 mA, 5 bar 12 mA, 10 bar 20 mA; saturates at 3.8 and 20.5 mA (NAMUR NE 43).
    /// Ratiometric 2.5 V of 5 V is half of the span.
    #[test]
    fn a_planned_loss_comes_at_its_moment() {
        let loss = Loss { start_us: 5_000_000, end_us: 7_000_000, short: false };
        let parameters = TransducerParameters { planned: Some(loss), ..LOOP };
        let mut transducer = Transducer::new(Instant::new(0, 0.0), Noise::new(1, 7));
        let mut lost_s = Vec::new();
        for second in 0..20 {
            let at = Instant::new(second * 1_000_000, 0.0);
            let (steps, ended) = transducer.step(at, 1.0, 2.0, false, &parameters);
            if steps < 1000.0 {
                lost_s.push(second);
            }
            assert_eq!(ended.is_some(), second == 7);
        }
        assert_eq!(lost_s, [5, 6]);
    }

    #[test]
    fn scaling_is_that_of_the_loop() {
        for (bar, milliamps) in [(0.0, 4.0), (5.0, 12.0), (10.0, 20.0), (11.0, 20.5), (-1.0, 3.8)] {
            assert!((steps(&LOOP, bar) * 0.002 - milliamps).abs() < 1e-9);
        }
        let ratio = TransducerParameters { kind: TransducerKind::Ratiometric, ..LOOP };
        assert!((steps(&ratio, 5.0) * 0.0001 - 0.5).abs() < 1e-9);
        assert!((LOOP.pressure_bar(6000.0) - 5.0).abs() < 1e-9);
    }

    #[test]
    fn a_loose_wire_comes_and_goes() {
        let wiring = WiringFault {
            per_day: 100.0,
            running_factor: 1.0,
            length_s: (1.0, 10.0),
            short_share: 0.0,
        };
        let parameters = TransducerParameters { wiring: Some(wiring), ..LOOP };
        let mut transducer = Transducer::new(Instant::new(0, 0.0), Noise::new(2, 2));
        let mut losses = 0;
        for tick in 0..10 * 864_000i64 {
            let at = Instant::new(tick * 100_000, 0.0);
            losses += i32::from(transducer.step(at, 0.1, 3.0, false, &parameters).1.is_some());
        }
        assert!((850..1150).contains(&losses), "{losses}");
    }
}
