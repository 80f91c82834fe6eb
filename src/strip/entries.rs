//! A list in a recipe's text, entry by entry, each with the comments that are about it.

use toml_edit::{Array, RawString, Value};

/// One entry.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    value: Value,
    /// What stands before it from the end of the line above: lines of comments, and its indent.
    lead: String,
    /// What stands behind its comma on its line.
    tail: String,
}

impl Entry {
    /// A frame with the comment beside it.
    pub(super) fn new(name: &str, beside: &str) -> Self {
        Self {
            value: Value::from(name),
            lead: "\n  ".to_owned(),
            tail: beside.to_owned(),
        }
    }

    /// Takes off what stands between the entry and the next comma or bracket, where that goes on to another line.
    fn cut_suffix(&mut self) -> String {
        let suffix = raw(self.value.decor().suffix()).to_owned();
        if !suffix.contains('\n') {
            return String::new();
        }
        self.value.decor_mut().set_suffix("");
        suffix
    }

    fn is(&self, name: &str) -> bool {
        self.value.as_str() == Some(name)
    }
}

/// A list taken apart.
pub(super) struct Entries {
    /// What stands on the line of the opening bracket.
    open: String,
    entries: Vec<Entry>,
    /// What stands before the closing bracket, from the line after the last entry.
    close: String,
}

/// What is on a line, and what is on those after it.
fn at_line_end(text: &str) -> (&str, &str) {
    text.find('\n').map_or(("", text), |at| text.split_at(at))
}

fn raw(text: Option<&RawString>) -> &str {
    text.and_then(RawString::as_str).unwrap_or_default()
}

impl Entries {
    /// Takes a list apart: a comment behind a comma is about the entry before it.
    pub(super) fn of(array: &Array) -> Self {
        let mut parts = Self {
            open: String::new(),
            entries: Vec::new(),
            close: String::new(),
        };
        for value in array.iter() {
            let prefix = raw(value.decor().prefix()).to_owned();
            let (line, lead) = at_line_end(&prefix);
            parts.end_line(line);
            parts.entries.push(Entry {
                value: value.clone(),
                lead: lead.to_owned(),
                tail: String::new(),
            });
        }
        // Without a comma after the last entry what follows it counts as the entry's.
        let followed = parts.entries.last_mut().map(Entry::cut_suffix);
        let trailing = followed.unwrap_or_default() + raw(Some(array.trailing()));
        let (line, close) = at_line_end(&trailing);
        parts.end_line(line);
        parts.close = close.to_owned();
        parts
    }

    /// The rest of the line of what was read last.
    fn end_line(&mut self, line: &str) {
        match self.entries.last_mut() {
            Some(last) => last.tail = line.to_owned(),
            None => self.open = line.to_owned(),
        }
    }

    /// Takes an entry out, with the comment on its line; lines of comments above it stay.
    pub(super) fn lift(&mut self, name: &str) -> Option<Entry> {
        let at = self.entries.iter().position(|entry| entry.is(name))?;
        let mut entry = self.entries.remove(at);
        if entry.lead.contains('#') {
            let above = entry.lead.trim_end_matches([' ', '\t', '\n']).to_owned();
            let next = match self.entries.get_mut(at) {
                Some(next) => &mut next.lead,
                None => &mut self.close,
            };
            *next = joined(&above, next);
            entry.lead = "\n  ".to_owned();
        }
        Some(entry)
    }

    /// Puts an entry in a place, in the manner of its neighbours: a line each, or all on one.
    pub(super) fn put(&mut self, mut entry: Entry, at: usize) {
        let at = at.min(self.entries.len());
        let neighbour = self
            .entries
            .get(at.saturating_sub(1))
            .or(self.entries.last());
        let in_line = neighbour.is_some_and(|n| !n.lead.contains('\n'));
        entry.lead = match neighbour {
            Some(_) if in_line => " ".to_owned(),
            Some(n) => format!("\n{}", n.lead.rsplit('\n').next().unwrap_or("  ")),
            None => "\n  ".to_owned(),
        };
        if in_line {
            entry.tail.clear();
            if at == 0
                && let Some(first) = self.entries.first_mut()
                && first.lead.is_empty()
            {
                first.lead.push(' ');
                entry.lead.clear();
            }
        }
        self.entries.insert(at, entry);
        let last_in_lines = self.entries.last().is_some_and(|e| e.lead.contains('\n'));
        if last_in_lines && !self.close.contains('\n') {
            self.close.push('\n');
        }
    }

    /// The list as it is now, in the place of another.
    pub(super) fn array(self, before: &Array) -> Array {
        let mut array = Array::new();
        let mut line = self.open;
        let in_lines = self.close.contains('\n');
        for entry in self.entries {
            let mut value = entry.value;
            let prefix = joined(&line, &entry.lead);
            let suffix = raw(value.decor().suffix()).to_owned();
            *value.decor_mut() = toml_edit::Decor::new(prefix, suffix);
            array.push_formatted(value);
            line = entry.tail;
        }
        array.set_trailing_comma(in_lines && !array.is_empty());
        array.set_trailing(joined(&line, &self.close));
        *array.decor_mut() = before.decor().clone();
        array
    }
}

/// A line's end and what follows; a comment ends with its line.
fn joined(line: &str, next: &str) -> String {
    let gap = if line.contains('#') && !next.starts_with('\n') {
        "\n"
    } else {
        ""
    };
    format!("{line}{gap}{next}")
}
