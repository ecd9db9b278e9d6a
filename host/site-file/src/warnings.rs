//! What is possible but odd: values that fit their bounds and yet are worth a second look.

use crate::model::{Control, Site};
use crate::section::readable;

impl Site {
    /// Sentences about values that contradict good practice or each other without making the file
    /// unusable. Empty when there is nothing to say.
    pub fn warnings(&self) -> Vec<String> {
        let mut warnings = Vec::new();
        let (lowest, lowest_name, highest, highest_name) = match self.control {
            Some(Control::PressureSwitch { cut_in_bar, cut_out_bar }) => {
                (cut_in_bar, "cut-in pressure", cut_out_bar, "cut-out pressure")
            }
            Some(Control::ConstantPressure { setpoint_bar }) => {
                (setpoint_bar, "held pressure", setpoint_bar, "held pressure")
            }
            None => return warnings,
        };
        // Common practice: precharge is set a little below the cut-in pressure, never above it,
        // or the tank is empty before the pump starts.
        if let Some(precharge_bar) = self.tank.and_then(|tank| tank.precharge_bar)
            && precharge_bar > lowest
        {
            warnings.push(format!(
                "the precharge of {} bar lies above the {lowest_name} of {} bar: the tank would \
                 be empty before the pump starts; check both",
                readable(precharge_bar),
                readable(lowest)
            ));
        }
        if let Some(transducer) = self.transducer
            && (transducer.high_bar < highest || transducer.low_bar > lowest)
        {
            let (name, value) = if transducer.high_bar < highest {
                (highest_name, highest)
            } else {
                (lowest_name, lowest)
            };
            warnings.push(format!(
                "the transducer covers {} to {} bar and cannot show the {name} of {} bar",
                readable(transducer.low_bar),
                readable(transducer.high_bar),
                readable(value)
            ));
        }
        warnings
    }
}
