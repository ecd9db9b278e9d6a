//! Signs of stop reasons: a letter in a shape. The shape tells normal control (ring), protection
//! (filled square), supply (filled diamond) and unexplained (dashed ring) apart, in grey as well.

use super::drawing::{Anchor, Canvas, Drawing, Path};
use pumpwitness_analysis::outcome::StopReason;

/// What kind of stop it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Nature {
    /// Ordinary control.
    Normal,
    /// A protection acted, or the pump did not come up.
    Protective,
    /// The supply.
    Supply,
    /// The record does not say.
    Unexplained,
}

/// What kind of stop `reason` is.
pub fn nature(reason: StopReason) -> Nature {
    match reason {
        StopReason::CutOut | StopReason::NoDemand => Nature::Normal,
        StopReason::DryRun
        | StopReason::Overload
        | StopReason::OverTemperature
        | StopReason::SensorFault
        | StopReason::FailedStart => Nature::Protective,
        StopReason::SupplyLost | StopReason::SupplyOutOfRange => Nature::Supply,
        StopReason::Unexplained => Nature::Unexplained,
    }
}

/// Draws the sign with its middle at `x`, `y`; `half` is half its width.
pub fn draw(canvas: &mut Canvas, reason: StopReason, x: f64, y: f64, half: f64) {
    let letter = crate::strings::stops::letter(reason);
    let class = match nature(reason) {
        Nature::Normal => {
            canvas.circle("sign-open", x, y, half);
            "sign-dark"
        }
        Nature::Unexplained => {
            canvas.circle("sign-dashed", x, y, half);
            "sign-dark"
        }
        Nature::Protective => {
            canvas.rect("sign-full", x - half, y - half, 2.0 * half, 2.0 * half);
            "sign-light"
        }
        Nature::Supply => {
            let reach = half * 1.3;
            let mut path = Path::default();
            path.go(x, y - reach);
            path.to(x + reach, y);
            path.to(x, y + reach);
            path.to(x - reach, y);
            path.close();
            canvas.path("sign-full", path);
            "sign-light"
        }
    };
    canvas.text(class, x, y + 3.4, Anchor::Middle, letter);
}

/// The sign within a line of text.
pub fn inline(reason: StopReason) -> Drawing {
    let mut canvas = Canvas::default();
    draw(&mut canvas, reason, 9.0, 9.0, 6.5);
    canvas.finish(18, 18)
}

/// A share as a bar within a table; its number stands beside it.
pub fn bar(share: f64) -> Drawing {
    let mut canvas = Canvas::default();
    canvas.rect("bar-frame", 0.5, 2.5, 79.0, 9.0);
    canvas.rect("bar", 0.5, 2.5, 79.0 * share.clamp(0.0, 1.0), 9.0);
    canvas.finish(80, 14)
}
