//! The whole, in order.

use super::{
    Document, View, custody, days, finding, limits, method, page_one, record, runs, statistics,
    uncertainty,
};
use crate::strings::{page, sentences};
use crate::times::Fine;

/// The report of a view.
pub fn document(view: &View<'_>) -> Document {
    let recording = &view.analysis().recording;
    let name = view.input.site.name.as_deref().map(str::trim).filter(|name| !name.is_empty());
    Document {
        kind: page::KIND.to_owned(),
        title: name.map_or_else(|| sentences::UNNAMED_SITE.to_owned(), str::to_owned),
        subtitle: sentences::subtitle(
            &view.times.stretch(recording.start, recording.end, Fine::Minute),
            &crate::format::duration((recording.end.duration_since(recording.start)).as_secs_f64()),
        ),
        foot: sentences::foot(
            view.input.program_version,
            &view.times.moment(view.input.generated, Fine::Second),
            &view.times.offset(view.input.generated),
        ),
        sections: vec![
            page_one::section(view),
            method::causes_section(view),
            finding::section(view),
            days::section(view),
            runs::section(view),
            statistics::section(view),
            method::section(),
            limits::section(view),
            uncertainty::section(view),
            custody::section(view),
            record::section(view),
            custody::verifying(view),
            record::cannot_show(view),
            method::cautions(),
        ],
        hashes: vec![sentences::hash_line(&recording.sha256)],
        made: view.input.generated,
        program: format!("pumpwitness {}", view.input.program_version),
        paper: view.reader.0.paper(),
    }
}
