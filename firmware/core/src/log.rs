//! Logging through `defmt` behind the feature of that name; without it, nothing at all.

/// Logs at level info.
macro_rules! log_info {
    ($text:literal $(, $value:expr)* $(,)?) => {{
        #[cfg(feature = "defmt")]
        defmt::info!($text $(, $value)*);
        #[cfg(not(feature = "defmt"))]
        {
            $( let _ = &$value; )*
        }
    }};
}

/// Logs at level warn.
macro_rules! log_warn {
    ($text:literal $(, $value:expr)* $(,)?) => {{
        #[cfg(feature = "defmt")]
        defmt::warn!($text $(, $value)*);
        #[cfg(not(feature = "defmt"))]
        {
            $( let _ = &$value; )*
        }
    }};
}

pub(crate) use {log_info, log_warn};
