//! The folder that keeps the recordings of all sites in order, and its index.
//!
//! ```text
//! <root>/<site>/<start>_<logger>.pwa    an archive, byte for byte as it was downloaded
//!              /<start>_<logger>.json   its sidecar: what the list says of it
//!              /<start>_<logger>.html   its page, kept so that it opens at once; may be deleted
//!              /site.toml               the site file last used there
//!       /incoming/<logger>.pwa          a download on its way here
//! ```
//!
//! # Why plain files, and no database
//!
//! The archives are the evidence; everything else here can be made from them again. An index in a
//! database file would be a second truth: it can go out of step with the files, it is lost as a
//! whole when it is damaged, and it needs its own program to be read, moved or mended. A folder of
//! plain files can be copied to a stick, backed up, merged with another and put in order with the
//! tools that every computer has; what is damaged is one record, not the index; and in ten years a
//! sidecar can still be read by eye. What a database is good at is not needed: a workshop has
//! hundreds of records, a few thousand at most, and reading all sidecars takes some milliseconds per
//! hundred (example `list`). Nor does it need transactions: a file appears whole or not at all, an
//! archive is never changed or replaced, and a sidecar that is missing, broken, or does not fit its
//! archive is made anew.
//!
//! # Layers
//!
//! [`slug`] site names → names of folders · [`summary`] what is known of a record, as the caller gives it
//! · `sidecar` its file · `write` files whole or not at all · [`folder`] adding and reading · [`list`]
//! what is there, whatever lies around · [`query`] which of them.
//!
//! No analysis happens here: a summary comes in as a value, or from a callback that is given the
//! bytes of an archive.

mod error;
pub mod folder;
pub mod list;
pub mod query;
mod sidecar;
pub mod slug;
pub mod summary;
#[cfg(test)]
mod tests;
mod write;

pub use error::FolderError;
pub use folder::{Added, Folder};
pub use list::{Listing, Remake, Trouble};
pub use query::Query;
pub use summary::{Cause, Found, Integrity, Record, RuledOut, Summary};
