//! Writes elements so that each is closed, in order, once.

use super::escape;

/// Markup in the making.
#[derive(Debug, Default)]
pub struct Writer {
    out: String,
    open: Vec<&'static str>,
}

/// Elements without content.
const VOID: &[&str] = &["meta", "br", "hr", "col"];

impl Writer {
    /// Starts with `head`, which is taken as it is.
    pub fn new(head: &str) -> Self {
        Self { out: head.to_owned(), open: Vec::new() }
    }

    /// Opens an element; attribute values are escaped here.
    pub fn open(&mut self, name: &'static str, attributes: &[(&str, &str)]) -> &mut Self {
        self.out.push('<');
        self.out.push_str(name);
        for (attribute, value) in attributes {
            self.out.push(' ');
            self.out.push_str(attribute);
            self.out.push_str("=\"");
            escape::push(&mut self.out, value);
            self.out.push('"');
        }
        self.out.push('>');
        if !VOID.contains(&name) {
            self.open.push(name);
        }
        self
    }

    /// Closes the element opened last.
    pub fn close(&mut self) -> &mut Self {
        if let Some(name) = self.open.pop() {
            self.out.push_str("</");
            self.out.push_str(name);
            self.out.push('>');
        }
        self
    }

    /// Closes and begins a new line, to keep the file readable.
    pub fn close_line(&mut self) -> &mut Self {
        self.close();
        self.out.push('\n');
        self
    }

    /// Text, escaped.
    pub fn text(&mut self, text: &str) -> &mut Self {
        escape::push(&mut self.out, text);
        self
    }

    /// An element with nothing but text in it.
    pub fn element(
        &mut self,
        name: &'static str,
        attributes: &[(&str, &str)],
        text: &str,
    ) -> &mut Self {
        self.open(name, attributes).text(text).close()
    }

    /// Markup made elsewhere in this crate, taken as it is.
    pub fn markup(&mut self, markup: &str) -> &mut Self {
        self.out.push_str(markup);
        self
    }

    /// Closes whatever is open and gives the whole.
    pub fn finish(mut self) -> String {
        while !self.open.is_empty() {
            self.close();
        }
        self.out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn elements_are_closed_in_order() {
        let mut writer = Writer::new("");
        writer.open("p", &[("title", "a \"b\" <c>")]).text("x & y").open("br", &[]);
        writer.open("em", &[]).text("z");
        assert_eq!(
            writer.finish(),
            "<p title=\"a &quot;b&quot; &lt;c&gt;\">x &amp; y<br><em>z</em></p>"
        );
    }
}
