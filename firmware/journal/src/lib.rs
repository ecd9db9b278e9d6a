//! The ring of records in NOR flash.
