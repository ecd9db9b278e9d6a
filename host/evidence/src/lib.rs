//! What an archive proves, and the bundle it is sent in. Pure: bytes in, values out.
//!
//! [`mod@verify`] takes a file apart: where each page lies (`layout`), what each page says by its own
//! checks (`reading`), what the hash chain and the seals say of it (`judge`, `seals`), and the
//! logger's clock (`clock`). [`outcome`] is what comes of it, [`text`] says it to people. [`trust`]
//! holds keys known from elsewhere.
//! [`bundle`] packs a record with all that is needed to judge it, [`comtrade`] writes its captures.

pub mod bundle;
pub mod comtrade;
mod hex;
pub mod outcome;
pub mod text;
pub mod trust;
pub mod verify;

pub use outcome::{Verdict, Verification};
pub use trust::{Trust, TrustError};
pub use verify::{Unreadable, verify};
