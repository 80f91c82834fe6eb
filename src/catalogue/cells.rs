//! Tables of comma-separated values: their cells, and writing them.

use std::io::{self, Write};

use crate::domain::in_cell;

/// Writes a row of names and the rows below it.
pub(super) fn write_rows<const N: usize>(
    columns: [&str; N],
    rows: impl Iterator<Item = [String; N]>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let mut table = csv::Writer::from_writer(io::BufWriter::new(out));
    table.write_record(columns)?;
    for row in rows {
        table.write_record(row)?;
    }
    table.flush()
}

/// A text from outside in a cell.
pub(super) fn cell(text: &str) -> String {
    in_cell(text).into_owned()
}

/// A value as it prints itself; blank where it is not known.
pub(super) fn text(value: Option<impl ToString>) -> String {
    value.map_or_else(String::new, |v| v.to_string())
}

/// A number to so many decimals; blank where it is not known.
pub(super) fn fixed(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(String::new, |v| format!("{v:.decimals$}"))
}
