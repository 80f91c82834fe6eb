//! What a baseline JPEG says before its scan.

use super::cosine::BLOCK;
use super::huffman::{Coefficients, Differences};

/// Largest number of blocks of one component in a unit, on a side, that is taken on.
const MOST_SAMPLING: usize = 2;

/// A picture of one baseline scan.
pub(super) struct Header<'a> {
    /// Pixels across.
    pub(super) width: usize,
    /// Pixels down.
    pub(super) height: usize,
    /// Luma, then the colour differences if there are any.
    pub(super) parts: Vec<Component>,
    /// Units between restart markers; 0 for none.
    pub(super) restart: usize,
    /// All from the first byte of the scan on.
    pub(super) coded: &'a [u8],
}

/// One component of a picture.
#[derive(Clone, Debug)]
pub(super) struct Component {
    /// Blocks across and down in a unit.
    pub(super) sampling: (usize, usize),
    /// Steps of quantisation in stored order.
    pub(super) steps: [u16; BLOCK],
    /// Codes of the first coefficients.
    pub(super) first: Differences,
    /// Codes of the others.
    pub(super) others: Coefficients,
}

/// Tables as they come.
#[derive(Default)]
struct Tables {
    steps: [Option<[u16; BLOCK]>; 4],
    first: [Option<Differences>; 4],
    others: [Option<Coefficients>; 4],
    restart: usize,
    frame: Option<Frame>,
}

/// Size and components: name, blocks across and down, table of steps.
struct Frame {
    width: usize,
    height: usize,
    parts: Vec<(u8, (usize, usize), usize)>,
}

impl<'a> Header<'a> {
    /// Reads all up to the scan; `None` for whatever is no baseline picture of one scan in luma, with or without colour.
    pub(super) fn read(bytes: &'a [u8]) -> Option<Self> {
        let mut tables = Tables::default();
        let mut rest = bytes.strip_prefix(&[0xFF, 0xD8])?;
        loop {
            let code = loop {
                let (pair, after) = rest.split_first_chunk::<2>()?;
                match *pair {
                    [0xFF, 0xFF] => rest = &rest[1..], // fill byte
                    [0xFF, code] => {
                        rest = after;
                        break code;
                    }
                    _ => return None,
                }
            };
            let (length, _) = rest.split_first_chunk::<2>()?;
            let length = usize::from(u16::from_be_bytes(*length));
            let segment = rest.get(2..length)?;
            rest = &rest[length..];
            match code {
                0xC0 | 0xC1 => tables.frame = Some(frame(segment)?),
                0xC4 => tables.codes(segment)?,
                0xDB => tables.quantisation(segment)?,
                0xDD => tables.restart = usize::from(u16::from_be_bytes(segment.try_into().ok()?)),
                0xDA => return tables.header(segment, rest),
                // Adobe's marker: 1 says luma and colour differences, anything else something else.
                0xEE if segment.starts_with(b"Adobe") && segment.get(11) != Some(&1) => {
                    return None;
                }
                0xE0..=0xEF | 0xFE => {}
                _ => return None,
            }
        }
    }
}

/// The frame header (ITU-T T.81, B.2.2).
fn frame(segment: &[u8]) -> Option<Frame> {
    let (head, list) = segment.split_first_chunk::<6>()?;
    let [precision, h1, h0, w1, w0, count] = *head;
    let (width, height) = (u16::from_be_bytes([w1, w0]), u16::from_be_bytes([h1, h0]));
    let parts = list.as_chunks::<3>().0;
    let whole = precision == 8 && width > 0 && height > 0 && list.len() == 3 * usize::from(count);
    (whole && matches!(count, 1 | 3)).then(|| Frame {
        width: width.into(),
        height: height.into(),
        parts: parts
            .iter()
            .map(|&[name, sampling, table]| {
                let sampling = (usize::from(sampling >> 4), usize::from(sampling & 15));
                (name, sampling, usize::from(table))
            })
            .collect(),
    })
}

impl Tables {
    /// Steps of quantisation (B.2.4.1).
    fn quantisation(&mut self, mut segment: &[u8]) -> Option<()> {
        while let Some((&head, rest)) = segment.split_first() {
            let wide = match head >> 4 {
                0 => 1,
                1 => 2,
                _ => return None,
            };
            let (values, after) = rest.split_at_checked(BLOCK * wide)?;
            let value = |n: usize| match wide {
                1 => u16::from(values[n]),
                _ => u16::from_be_bytes([values[2 * n], values[2 * n + 1]]),
            };
            *self.steps.get_mut(usize::from(head & 15))? = Some(std::array::from_fn(value));
            segment = after;
        }
        Some(())
    }

    /// Huffman codes (B.2.4.2).
    fn codes(&mut self, mut segment: &[u8]) -> Option<()> {
        while let Some((&head, rest)) = segment.split_first() {
            let (counts, rest) = rest.split_first_chunk::<16>()?;
            let count = counts.iter().map(|c| usize::from(*c)).sum();
            let (symbols, after) = rest.split_at_checked(count)?;
            let place = usize::from(head & 15);
            match head >> 4 {
                0 => *self.first.get_mut(place)? = Some(Differences::new(counts, symbols)?),
                1 => *self.others.get_mut(place)? = Some(Coefficients::new(counts, symbols)?),
                _ => return None,
            }
            segment = after;
        }
        Some(())
    }

    /// The scan header (B.2.3): all components at once, all coefficients, to the last bit.
    fn header<'a>(self, segment: &[u8], coded: &'a [u8]) -> Option<Header<'a>> {
        let frame = self.frame?;
        let (&count, list) = segment.split_first()?;
        let (named, band) = list.split_at_checked(2 * usize::from(count))?;
        if usize::from(count) != frame.parts.len() || *band != [0, 63, 0] {
            return None;
        }
        let named = named.as_chunks::<2>().0;
        let mut parts = Vec::new();
        for (&(name, sampling, steps), &[same, tables]) in frame.parts.iter().zip(named) {
            let (first, others) = (usize::from(tables >> 4), usize::from(tables & 15));
            parts.push(Component {
                sampling,
                steps: (*self.steps.get(steps)?)?,
                first: self.first.get(first)?.clone()?,
                others: self.others.get(others)?.clone()?,
            });
            // Components named by letters are red, green and blue.
            if name != same || frame.parts[0].0 == b'R' {
                return None;
            }
        }
        if count == 1 {
            // A single component comes block by block, whatever its sampling says (A.2.2).
            parts[0].sampling = (1, 1);
        }
        let (across, down) = parts[0].sampling;
        let usual = |n: usize| (1..=MOST_SAMPLING).contains(&n);
        let plain = usual(across) && usual(down) && parts[1..].iter().all(|p| p.sampling == (1, 1));
        plain.then_some(Header {
            width: frame.width,
            height: frame.height,
            parts,
            restart: self.restart,
            coded,
        })
    }
}
