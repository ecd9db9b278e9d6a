//! The files of the page, compiled in: nothing is read from the disk, nothing is built by the user.

/// A file of the page.
pub struct PageFile {
    /// Its name in the address; empty for the page itself.
    pub name: &'static str,
    /// Its media type.
    pub media_type: &'static str,
    /// Its text.
    pub text: &'static str,
}

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";

macro_rules! files {
    ($($name:literal, $media_type:expr, $path:literal;)*) => {
        &[$(PageFile {
            name: $name,
            media_type: $media_type,
            text: include_str!(concat!("../page/", $path)),
        }),*]
    };
}

/// All of them.
pub static FILES: &[PageFile] = files! {
    "", HTML, "page.html";
    "page.css", CSS, "page.css";
    "closer.js", SCRIPT, "closer.js";
    "dom.js", SCRIPT, "dom.js";
    "facts.js", SCRIPT, "facts.js";
    "fetch.js", SCRIPT, "fetch.js";
    "fit.js", SCRIPT, "fit.js";
    "leave.js", SCRIPT, "leave.js";
    "loggers.js", SCRIPT, "loggers.js";
    "page.js", SCRIPT, "page.js";
    "practice.js", SCRIPT, "practice.js";
    "questions.js", SCRIPT, "questions.js";
    "readings.js", SCRIPT, "readings.js";
    "record.js", SCRIPT, "record.js";
    "records.js", SCRIPT, "records.js";
    "server.js", SCRIPT, "server.js";
    "signs.js", SCRIPT, "signs.js";
    "site.js", SCRIPT, "site.js";
    "traces.js", SCRIPT, "traces.js";
    "words.js", SCRIPT, "words.js";
};

/// The file of that name.
pub fn file(name: &str) -> Option<&'static PageFile> {
    FILES.iter().find(|file| file.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The page asks for nothing that is not here.
    #[test]
    fn every_script_that_is_imported_is_there() {
        for file in FILES {
            for name in
                file.text.split(['"', '\'']).filter_map(|part| part.strip_prefix("./")).filter(
                    |part| part.split('.').nth(1).is_some_and(|end| ["js", "css"].contains(&end)),
                )
            {
                assert!(super::file(name).is_some(), "{} wants {name}", file.name);
            }
        }
    }
}
