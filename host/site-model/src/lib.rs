//! The physical model of a site.
