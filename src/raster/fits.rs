//! FITS files of linear light, for other programs of astronomy: one image of 32-bit floats a colour.
//!
//! Format: FITS Standard 4.0 (IAU FITS Working Group 2018): blocks of 2880 bytes, cards of 80, rows from the bottom up, so that the row
//! counted 1 in the file is the lowest of the picture.

use std::io::{self, Write};

use super::LinearRgb;

/// A file consists of blocks of this many bytes (FITS 4.0, 3.1).
const BLOCK_BYTES: usize = 2880;

/// A card of a header (FITS 4.0, 3.2).
const CARD_BYTES: usize = 80;

/// Longest text in one card: ten characters stand before it and quotes around it.
const TEXT_BYTES: usize = 68;

/// A value of a header.
#[derive(Clone, Debug, PartialEq)]
pub enum FitsValue {
    /// A text; what is not plain ASCII becomes `?`, what is longer than a card is cut off.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// A number; one that is not finite is left out.
    Real(f64),
    /// A remark without a value, laid out over as many cards as it needs.
    Comment(String),
}

/// A line of a header: keyword of at most eight capitals and figures, value, remark.
#[derive(Clone, Debug, PartialEq)]
pub struct FitsCard {
    /// Keyword; of no meaning for a comment.
    pub keyword: String,
    /// Value.
    pub value: FitsValue,
    /// Remark behind the value: unit in brackets first, where it has one.
    pub remark: String,
}

impl FitsCard {
    /// A line with a value.
    pub fn new(keyword: impl Into<String>, value: FitsValue, remark: &str) -> Self {
        Self {
            keyword: keyword.into(),
            value,
            remark: remark.to_owned(),
        }
    }

    /// A remark by itself.
    pub fn comment(text: &str) -> Self {
        Self::new("COMMENT", FitsValue::Comment(text.to_owned()), "")
    }

    fn lines(&self) -> Vec<String> {
        let plain = |text: &str| -> String {
            text.chars()
                .map(|c| match c {
                    ' '..='~' => c,
                    _ => '?',
                })
                .collect()
        };
        let value = match &self.value {
            FitsValue::Comment(text) => {
                let text: Vec<char> = plain(text).chars().collect();
                return text
                    .chunks(CARD_BYTES - 8)
                    .map(|part| format!("COMMENT {}", part.iter().collect::<String>()))
                    .collect();
            }
            FitsValue::Text(text) => {
                let mut quoted = String::new();
                for c in plain(text).chars() {
                    let twice = if c == '\'' { "''" } else { &c.to_string() };
                    if quoted.len() + twice.len() > TEXT_BYTES {
                        break;
                    }
                    quoted.push_str(twice);
                }
                format!("{:<20}", format!("'{quoted:<8}'"))
            }
            FitsValue::Whole(number) => format!("{number:>20}"),
            FitsValue::Real(number) if number.is_finite() => {
                format!("{:>20}", format!("{number:.12E}"))
            }
            FitsValue::Real(_) => return Vec::new(),
        };
        let line = format!("{:<8}= {value} / {}", self.keyword, plain(&self.remark));
        vec![line.chars().take(CARD_BYTES).collect()]
    }
}

/// Names of the three images, in their order.
const COLOURS: [&str; 3] = ["RED", "GREEN", "BLUE"];

/// Writes a picture: the red image first, green and blue as extensions behind it, each with the same `cards` in its header. Pixels that
/// are 0 in all channels hold no light that was measured: they are written as not-a-number (FITS 4.0, 5.3 and 6.3).
///
/// The same picture and cards give the same bytes every time.
///
/// # Errors
/// Those of `out`.
pub fn write_fits(picture: &LinearRgb, cards: &[FitsCard], mut out: impl Write) -> io::Result<()> {
    for channel in 0..3 {
        write_header(picture, channel, cards, &mut out)?;
        write_pixels(picture, channel, &mut out)?;
    }
    out.flush()
}

fn write_header(
    picture: &LinearRgb,
    channel: usize,
    cards: &[FitsCard],
    out: &mut impl Write,
) -> io::Result<()> {
    let whole = |keyword: &str, number: usize, remark: &str| {
        FitsCard::new(keyword, FitsValue::Whole(number as i64), remark)
    };
    let mut lines = match channel {
        0 => vec![format!("SIMPLE  = {:>20} / FITS Standard 4.0", "T")],
        _ => vec!["XTENSION= 'IMAGE   '           / image extension".to_owned()],
    };
    let mut own = vec![
        FitsCard::new("BITPIX", FitsValue::Whole(-32), "32-bit floating point"),
        whole("NAXIS", 2, "number of axes"),
        whole("NAXIS1", picture.width(), "pixels to the right"),
        whole("NAXIS2", picture.height(), "pixels up"),
    ];
    if channel > 0 {
        own.push(whole("PCOUNT", 0, "no parameters"));
        own.push(whole("GCOUNT", 1, "one group"));
    }
    let name = FitsValue::Text(COLOURS[channel].to_owned());
    own.push(FitsCard::new("EXTNAME", name, "colour of this image"));
    lines.extend(own.iter().chain(cards).flat_map(FitsCard::lines));
    lines.push("END".to_owned());
    let text: String = lines
        .iter()
        .map(|line| format!("{line:<width$}", width = CARD_BYTES))
        .collect();
    out.write_all(text.as_bytes())?;
    pad(text.len(), b' ', out)
}

fn write_pixels(picture: &LinearRgb, channel: usize, out: &mut impl Write) -> io::Result<()> {
    let mut row = Vec::with_capacity(picture.width() * 4);
    for y in (0..picture.height()).rev() {
        row.clear();
        for pixel in picture.row(y).as_chunks::<3>().0 {
            let dark = pixel.iter().all(|v| v.abs() < f32::MIN_POSITIVE);
            let value = if dark { f32::NAN } else { pixel[channel] };
            row.extend(value.to_be_bytes());
        }
        out.write_all(&row)?;
    }
    pad(picture.width() * picture.height() * 4, 0, out)
}

/// Fills the last block up.
fn pad(written: usize, with: u8, out: &mut impl Write) -> io::Result<()> {
    let missing = (BLOCK_BYTES - written % BLOCK_BYTES) % BLOCK_BYTES;
    out.write_all(&vec![with; missing])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cards_are_laid_out_as_the_standard_has_it() {
        let line = |value| FitsCard::new("KEY", value, "what").lines();
        assert_eq!(
            line(FitsValue::Real(1.5)),
            ["KEY     =     1.500000000000E0 / what"]
        );
        assert_eq!(
            line(FitsValue::Whole(-7)),
            ["KEY     =                   -7 / what"]
        );
        assert_eq!(
            line(FitsValue::Text("it's é".to_owned())),
            ["KEY     = 'it''s ? '           / what"]
        );
        assert!(line(FitsValue::Real(f64::NAN)).is_empty());
        let long = FitsCard::comment(&"x".repeat(200)).lines();
        assert!(long.len() == 3 && long.iter().all(|l| l.len() <= CARD_BYTES));
        let text = line(FitsValue::Text("'".repeat(100)));
        assert!(text[0].len() <= CARD_BYTES && text[0].matches('\'').count() % 2 == 0);
    }

    #[test]
    fn blocks_are_whole_and_rows_run_from_the_bottom_up() {
        let mut picture = LinearRgb::new(3, 2);
        picture.set(0, 1, [0.25, 0.5, 0.75]);
        let mut bytes = Vec::new();
        write_fits(&picture, &[], &mut bytes).unwrap();
        assert_eq!(bytes.len(), 6 * BLOCK_BYTES);
        for (n, value) in [0.25_f32, 0.5, 0.75].into_iter().enumerate() {
            let data = &bytes[(2 * n + 1) * BLOCK_BYTES..];
            assert_eq!(data[..4], value.to_be_bytes());
            assert!(f32::from_be_bytes(data[4..8].try_into().unwrap()).is_nan());
        }
    }
}
