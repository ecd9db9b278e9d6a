//! Every string that reaches the page goes through here.

use std::fmt::Write;

/// Appends `text` to `out` so that it is read as text, in content and in quoted attributes alike.
/// Control characters become a replacement mark, and characters that turn the writing direction,
/// which could make a name read differently from what it is, are shown by their code.
pub fn push(out: &mut String, text: &str) {
    for character in text.chars() {
        match character {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            _ => show(out, character),
        }
    }
}

/// `text` with what would be hidden or turn other letters shown, for where markup is no matter.
pub fn shown(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        show(&mut out, character);
    }
    out
}

fn show(out: &mut String, character: char) {
    match character {
        '\n' | '\t' => out.push(character),
        '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{200e}' | '\u{200f}' => {
            // Writing to a string does not fail.
            let _ = write!(out, "[U+{:04X}]", u32::from(character));
        }
        _ if character.is_control() || matches!(character, '\u{fffe}' | '\u{ffff}') => {
            out.push('\u{fffd}');
        }
        _ => out.push(character),
    }
}

#[cfg(test)]
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + text.len() / 8);
    push(&mut out, text);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_becomes_text() {
        assert_eq!(
            escaped(r#"</title><script>alert('x')</script> & "quoted""#),
            "&lt;/title&gt;&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt; &amp; &quot;quoted&quot;"
        );
    }

    #[test]
    fn hidden_characters_are_shown() {
        assert_eq!(escaped("a\u{0}b\u{7f}"), "a\u{fffd}b\u{fffd}");
        assert_eq!(escaped("x\u{202e}y"), "x[U+202E]y");
        assert_eq!(escaped("Çeşme – 水"), "Çeşme – 水");
    }
}
