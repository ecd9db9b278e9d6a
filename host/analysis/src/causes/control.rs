//! Causes in the control.

use super::{Cause, Need, Weight};
use crate::outcome::PointsTo;

/// A control loop that swings.
pub const CONTROL_HUNTING: Cause = Cause {
    name: "control-hunting",
    points_to: PointsTo::Control,
    needs: &[Need::Pressure, Need::Fine],
    shown_by: Some("pressure-hunting"),
    weigh: |view| {
        if let Some(because) = view.no_drive() {
            return Weight::silent(because);
        }
        if view.figure("pressure-hunting", "let_go") > 0.0 {
            return Weight {
                speaks_for: view.found(&["pressure-hunting"]),
                against: vec![
                    "the pressure rose evenly and fell at once: the drive stopped the pump and started \
                     it again, it did not swing"
                        .to_owned(),
                ],
                ..Weight::default()
            };
        }
        Weight {
            confidence: view.strength("pressure-hunting"),
            speaks_for: view.found(&["pressure-hunting"]),
            text: format!(
                "The pressure swings instead of being held: {:.2} bar from low to high, once in \
                 {:.1} s, for {:.0} % of the running time, at intervals too even for taps.",
                view.figure("pressure-hunting", "swing_bar"),
                view.figure("pressure-hunting", "period_s"),
                view.figure("pressure-hunting", "share_of_running") * 100.0
            ),
            otherwise: "While the pump ran the pressure did not swing at even intervals."
                .to_owned(),
            ..Weight::default()
        }
    },
    next_checks: &[
        "Lower the gain or lengthen the integral time of the pressure control; check the air in its \
         small tank.",
    ],
};
