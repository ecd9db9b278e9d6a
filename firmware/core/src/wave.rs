//! The two forms in which measurements enter the core: raw converter frames, or ready half waves.

/// One simultaneous set of raw converter counts, after oversampling and decimation, offset removed
/// by the front end's mid-scale (a count of 0 is mid-scale for the two alternating channels).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Frame {
    /// Line voltage, counts about mid-scale.
    pub voltage: i16,
    /// Motor current, counts about mid-scale.
    pub current: i16,
    /// Transducer signal, counts from zero.
    pub signal: u16,
    /// Transducer supply, counts from zero.
    pub transducer_supply: u16,
}

/// What one half cycle of the supply amounted to, by itself (not overlapping its neighbours).
/// Squares instead of roots, so that two halves can be joined exactly into U_rms(1/2) and ten or
/// twelve cycles into an interval.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct HalfWave {
    /// Length, µs.
    pub duration_us: u32,
    /// Mean square of the voltage, mV².
    pub voltage_sq_mv2: u64,
    /// Mean square of the current, mA².
    pub current_sq_ma2: u64,
    /// Mean active power, mW; negative when the clamp faces the wrong way.
    pub power_mw: i32,
    /// Mean transducer signal, steps of `record::Interval::signal`.
    pub signal: i32,
    /// `record::flags` that hold for this half cycle.
    pub flags: u8,
}
