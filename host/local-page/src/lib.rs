//! The page for the time at the panel, served on the loopback address only.
