//! The folder that keeps the recordings of all sites in order, and its index.
