//! What really happened: causes, runs and events, in the vocabulary of the analysis.

/// What is wrong with a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)] // the words say it
pub enum Cause {
    Healthy,
    WaterloggedTank,
    PrechargeTooHigh,
    DifferentialTooNarrow,
    CheckValveLeak,
    IdleDraw,
    SourceOverdrawn,
    RestrictedIntake,
    ClosedDischarge,
    MechanicalDrag,
    LockedRotor,
    Overheating,
    SupplyDips,
    SupplyInterruptions,
    SupplyUndervoltage,
    SupplyOvervoltage,
    WeakConnection,
    TransducerWiring,
    TransducerSupply,
    TransducerDrift,
    DeratedByLowSupply,
    OpenMotorCircuit,
    ControlHunting,
}

impl Cause {
    /// Every cause with its word, healthy first.
    pub const WORDS: [(Self, &'static str); 23] = [
        (Self::Healthy, "healthy"),
        (Self::WaterloggedTank, "waterlogged-tank"),
        (Self::PrechargeTooHigh, "precharge-too-high"),
        (Self::DifferentialTooNarrow, "differential-too-narrow"),
        (Self::CheckValveLeak, "check-valve-leak"),
        (Self::IdleDraw, "idle-draw"),
        (Self::SourceOverdrawn, "source-overdrawn"),
        (Self::RestrictedIntake, "restricted-intake"),
        (Self::ClosedDischarge, "closed-discharge"),
        (Self::MechanicalDrag, "mechanical-drag"),
        (Self::LockedRotor, "locked-rotor"),
        (Self::Overheating, "overheating"),
        (Self::SupplyDips, "supply-dips"),
        (Self::SupplyInterruptions, "supply-interruptions"),
        (Self::SupplyUndervoltage, "supply-undervoltage"),
        (Self::SupplyOvervoltage, "supply-overvoltage"),
        (Self::WeakConnection, "weak-connection"),
        (Self::TransducerWiring, "transducer-wiring"),
        (Self::TransducerSupply, "transducer-supply"),
        (Self::TransducerDrift, "transducer-drift"),
        (Self::DeratedByLowSupply, "derated-by-low-supply"),
        (Self::OpenMotorCircuit, "open-motor-circuit"),
        (Self::ControlHunting, "control-hunting"),
    ];

    /// Its word.
    pub fn word(self) -> &'static str {
        // The table lists the variants in their order.
        Self::WORDS[self as usize].1
    }
}

/// Why a run stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)] // the words say it
pub enum StopReason {
    CutOut,
    NoDemand,
    DryRun,
    Overload,
    OverTemperature,
    SupplyLost,
    SupplyOutOfRange,
    SensorFault,
    FailedStart,
    Unexplained,
}

impl StopReason {
    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::CutOut => "cut-out",
            Self::NoDemand => "no-demand",
            Self::DryRun => "dry-run",
            Self::Overload => "overload",
            Self::OverTemperature => "over-temperature",
            Self::SupplyLost => "supply-lost",
            Self::SupplyOutOfRange => "supply-out-of-range",
            Self::SensorFault => "sensor-fault",
            Self::FailedStart => "failed-start",
            Self::Unexplained => "unexplained",
        }
    }
}

/// One start-to-stop of the pump; of a drive, awake to asleep.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Run {
    /// First current, ms since 1970.
    pub start_ms: i64,
    /// Last current.
    pub stop_ms: i64,
    /// Why.
    pub stop_reason: StopReason,
}

/// Something that happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Event {
    /// Finding kind, e.g. `voltage-dip`.
    pub kind: &'static str,
    /// First moment, ms since 1970.
    pub start_ms: i64,
    /// Last moment.
    pub end_ms: i64,
}

/// All that really happened so far.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Truth {
    /// What is wrong; exactly `[Healthy]` when nothing is.
    pub causes: Vec<Cause>,
    /// Finished runs, in time order.
    pub runs: Vec<Run>,
    /// Events in the order of their ends.
    pub events: Vec<Event>,
    /// Start of the run going on, ms since 1970.
    pub running_since_ms: Option<i64>,
}

impl Truth {
    /// Runs that stopped for `reason`.
    pub fn stops(&self, reason: StopReason) -> usize {
        self.runs.iter().filter(|run| run.stop_reason == reason).count()
    }

    /// Events of `kind`.
    pub fn count(&self, kind: &str) -> usize {
        self.events.iter().filter(|event| event.kind == kind).count()
    }

    pub(crate) fn started(&mut self, at_ms: i64) {
        self.running_since_ms.get_or_insert(at_ms);
    }

    pub(crate) fn stopped(&mut self, stop_ms: i64, stop_reason: StopReason) {
        if let Some(start_ms) = self.running_since_ms.take() {
            self.runs.push(Run { start_ms, stop_ms, stop_reason });
        }
    }

    pub(crate) fn event(&mut self, kind: &'static str, start_ms: i64, end_ms: i64) {
        self.events.push(Event { kind, start_ms, end_ms });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_of_words_lists_every_cause_in_order() {
        for (index, (cause, word)) in Cause::WORDS.iter().enumerate() {
            assert_eq!(*cause as usize, index);
            assert_eq!(cause.word(), *word);
        }
    }
}
