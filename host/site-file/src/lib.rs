//! The site file: what the owner declares about an installation (TOML). Every value takes its unit
//! from its name, is converted to the unit of the field it lands in, and is checked against its
//! bounds.
//!
//! [`parse()`] is the way in: text → sections (`section`) → [`model`]. `quantities` holds the one
//! table of units and bounds; `SITE-FILE.md` lists them for people. [`Site::warnings`] says what is
//! allowed but odd, [`Site::to_toml`] writes the canonical text. [`questions`] makes a site file of
//! answers.
//!
//! ```
//! let site = pumpwitness_site_file::parse(pumpwitness_site_file::EXAMPLE)?;
//! assert_eq!(site.motor.rated_current_a, 7.2);
//! # Ok::<(), pumpwitness_site_file::SiteFileError>(())
//! ```
#![doc = include_str!("../SITE-FILE.md")]

mod error;
pub mod model;
mod parse;
mod quantities;
pub mod questions;
mod section;
mod text;
mod warnings;

pub use error::SiteFileError;
pub use model::{
    Control, Fit, LampMeaning, Limits, Motor, Site, Start, Supply, Tank, Transducer,
    TransducerKind, Units,
};
pub use parse::{LABEL_BYTES_MAX, NAME_BYTES_MAX, TEXT_BYTES_MAX, parse};
pub use quantities::BAR_PER_PSI;
pub use text::{FitKey, quoted, with_fit};

/// A whole site file of an invented site, every key with its meaning.
pub const EXAMPLE: &str = include_str!("../example-site.toml");

#[cfg(test)]
mod tests;
