//! Strings from outside made safe for the medium they are shown in: file names, headers and folders hold whatever somebody put
//! there, escape sequences of terminals and formulas of spreadsheets among it.

use std::borrow::Cow;
use std::fmt;
use std::path::Path;

/// Longest text taken from a header, in characters.
const MAX_HEADER_TEXT: usize = 128;

/// A text of a file's header without padding and control characters; `None` when blank.
pub(crate) fn header_text(bytes: &[u8]) -> Option<String> {
    let text: String = String::from_utf8_lossy(bytes)
        .chars()
        .filter(|c| !c.is_control())
        .take(MAX_HEADER_TEXT)
        .collect();
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

/// For a line on a terminal: control characters, line breaks and marks that turn the direction of text are shown as escapes.
pub fn in_line(text: &str) -> Cow<'_, str> {
    held(text, |c| !misleads(c))
}

/// For text of several lines that this program laid out: line breaks and tabs stay.
pub fn in_lines(text: &str) -> Cow<'_, str> {
    held(text, |c| matches!(c, '\n' | '\t') || !misleads(c))
}

/// For a cell of a spreadsheet: one that would be taken for a formula gets an apostrophe in front (common practice: OWASP, CSV
/// injection).
pub fn in_cell(text: &str) -> Cow<'_, str> {
    match text.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r') => Cow::Owned(format!("'{text}")),
        _ => Cow::Borrowed(text),
    }
}

/// For text and attributes of XML and HTML: marks of the language as entities, characters they forbid as a blank, marks that
/// turn the direction of text replaced (XML 1.0, 2.2).
pub fn in_markup(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{FDD0}'..='\u{FDEF}' | '\u{FFFE}' | '\u{FFFF}' => out.push(' '),
            c if c.is_control() => out.push(' '),
            c if misleads(c) => out.push('\u{FFFD}'),
            c => out.push(c),
        }
    }
    out
}

/// A path on a line of a terminal.
#[derive(Clone, Copy, Debug)]
pub struct Shown<'a>(pub &'a Path);

impl fmt::Display for Shown<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&in_line(&self.0.to_string_lossy()))
    }
}

/// Characters that move the cursor, colour the screen, break the line, or make one name look like another.
fn misleads(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{2028}' | '\u{2029}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}'
        )
}

fn held(text: &str, stays: impl Fn(char) -> bool) -> Cow<'_, str> {
    if text.chars().all(&stays) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        if stays(c) {
            out.push(c);
        } else {
            out.extend(c.escape_default());
        }
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NASTY: &str = "a\u{1b}[31mb\nc\u{202e}d\u{9b}é";

    #[test]
    fn nothing_moves_the_cursor() {
        assert_eq!(in_line(NASTY), r"a\u{1b}[31mb\nc\u{202e}d\u{9b}é");
        assert_eq!(in_lines(NASTY), "a\\u{1b}[31mb\nc\\u{202e}d\\u{9b}é");
        assert!(matches!(in_line("DSC_0001 é.JPG"), Cow::Borrowed(_)));
        assert_eq!(Shown(Path::new("x\ny")).to_string(), r"x\ny");
    }

    #[test]
    fn nothing_is_a_formula() {
        assert_eq!(in_cell("=HYPERLINK(\"x\")"), "'=HYPERLINK(\"x\")");
        for text in ["+1", "-1", "@a", "\t=1"] {
            assert!(in_cell(text).starts_with('\''), "{text}");
        }
        assert_eq!(in_cell("IMG_1=2.JPG"), "IMG_1=2.JPG");
        assert_eq!(in_cell(""), "");
    }

    #[test]
    fn nothing_is_markup() {
        let safe = in_markup(&format!("<b a='1'>&\"{NASTY}\u{0}"));
        assert_eq!(
            safe,
            "&lt;b a=&#39;1&#39;&gt;&amp;&quot;a [31mb c\u{FFFD}d é "
        );
    }
}
