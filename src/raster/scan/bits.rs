//! Bits of an entropy-coded scan.

use memchr::memchr;

/// Zero bytes after the last, so that a whole word can be read anywhere.
const PADDING: usize = 16;

/// The bytes of a scan without stuffing and markers (ITU-T T.81, B.1.1.5 and F.1.2.3).
#[derive(Clone, Debug)]
pub(super) struct Scan {
    bytes: Vec<u8>,
    /// Where each part between restart markers begins.
    parts: Vec<usize>,
}

impl Scan {
    /// Takes out the stuffed bytes and the restart markers; `None` when anything but the end of the image ends the scan.
    pub(super) fn new(coded: &[u8]) -> Option<Self> {
        let mut bytes = Vec::with_capacity(coded.len() + PADDING);
        let mut parts = vec![0];
        let mut rest = coded;
        loop {
            let marker = memchr(0xFF, rest)?;
            bytes.extend_from_slice(&rest[..marker]);
            match *rest.get(marker + 1)? {
                0x00 => {
                    bytes.push(0xFF);
                    rest = &rest[marker + 2..];
                }
                0xFF => rest = &rest[marker + 1..], // fill byte
                code @ 0xD0..=0xD7 => {
                    if usize::from(code & 7) != (parts.len() - 1) % 8 {
                        return None;
                    }
                    parts.push(bytes.len());
                    rest = &rest[marker + 2..];
                }
                0xD9 => break,
                _ => return None,
            }
        }
        bytes.resize(bytes.len() + PADDING, 0);
        Some(Self { bytes, parts })
    }

    /// About how much memory it takes, in bytes.
    pub(super) fn memory_bytes(&self) -> usize {
        self.bytes.len()
    }

    /// Parts between restart markers.
    pub(super) fn parts(&self) -> usize {
        self.parts.len()
    }

    /// Bit at which a part begins.
    pub(super) fn begin(&self, part: usize) -> usize {
        8 * self.parts[part]
    }

    /// Bit at which a part has ended.
    pub(super) fn end(&self, part: usize) -> usize {
        let all = self.bytes.len() - PADDING;
        8 * self.parts.get(part + 1).copied().unwrap_or(all)
    }

    /// Reads on from a bit.
    pub(super) fn from(&self, bit: usize) -> Bits<'_> {
        let mut bits = Bits {
            bytes: &self.bytes,
            at: bit / 8,
            word: 0,
            have: 0,
        };
        bits.fill();
        bits.drop_bits((bit % 8) as u32);
        bits
    }
}

/// A place in a scan. Beyond the end there are zeros; [`Bits::position`] tells.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bits<'a> {
    bytes: &'a [u8],
    /// The byte after those whose bits are all in `word`.
    at: usize,
    /// The next bits, the first one on top.
    word: u64,
    /// How many of them count.
    have: u32,
}

impl Bits<'_> {
    /// Bits read so far, from the beginning of the scan.
    pub(super) fn position(&self) -> usize {
        8 * self.at - self.have as usize
    }

    /// Makes sure that 56 bits or more are there.
    #[inline(always)]
    pub(super) fn fill(&mut self) {
        // Bits beyond `have` may be there from the last time; they are the same again.
        let next = self
            .bytes
            .get(self.at..)
            .and_then(|rest| rest.first_chunk::<8>());
        self.word |= next.map_or(0, |chunk| u64::from_be_bytes(*chunk)) >> self.have;
        self.at += ((63 - self.have) / 8) as usize;
        self.have |= 56;
    }

    /// The next bits, 1 to 16, without moving on.
    #[inline(always)]
    pub(super) fn peek(&self, count: u32) -> usize {
        (self.word >> (64 - count)) as usize
    }

    /// Moves on by some of the bits there are.
    #[inline(always)]
    pub(super) fn drop_bits(&mut self, count: u32) {
        self.word <<= count;
        self.have = self.have.wrapping_sub(count);
    }

    /// A signed value of so many bits, 0 to 15.
    #[inline(always)]
    pub(super) fn value(&mut self, size: u32) -> i32 {
        let bits = ((self.word >> 1) >> (63 - size)) as i32;
        self.drop_bits(size);
        signed(bits, size)
    }
}

/// The value that so many bits stand for (ITU-T T.81, F.2.2.1, "extend").
#[inline(always)]
pub(super) fn signed(bits: i32, size: u32) -> i32 {
    let above = 1 << size;
    if bits < above >> 1 {
        bits - above + 1
    } else {
        bits
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stuffing_and_restarts_are_taken_out() {
        let scan =
            Scan::new(&[0x12, 0xFF, 0x00, 0x34, 0xFF, 0xD0, 0x56, 0xFF, 0xFF, 0xD9]).unwrap();
        assert_eq!(scan.bytes[..4], [0x12, 0xFF, 0x34, 0x56]);
        assert_eq!(
            (scan.parts(), scan.begin(1), scan.end(0), scan.end(1)),
            (2, 24, 24, 32)
        );
        assert!(
            Scan::new(&[0x12, 0xFF, 0xD1, 0xFF, 0xD9]).is_none(),
            "restart out of turn"
        );
        assert!(Scan::new(&[0x12, 0x34]).is_none(), "no end");
        assert!(Scan::new(&[0x12, 0xFF]).is_none(), "no end");
    }

    #[test]
    fn bits_come_in_order_from_any_place() {
        let bytes: Vec<u8> = (0..40_u16).map(|i| (i * 37 % 251) as u8).collect();
        let mut coded = bytes.clone();
        coded.extend([0xFF, 0xD9]);
        let scan = Scan::new(&coded).unwrap();
        for start in 0..64 {
            let mut bits = scan.from(start);
            for n in 0..200 {
                bits.fill();
                let at = start + n;
                let due = bytes[at / 8] >> (7 - at % 8) & 1;
                assert_eq!(bits.position(), at);
                assert_eq!(bits.peek(1), usize::from(due), "{start} {n}");
                bits.drop_bits(1);
            }
        }
    }

    #[test]
    fn beyond_the_end_there_are_zeros() {
        let scan = Scan::new(&[0xAB, 0xFF, 0xD9]).unwrap();
        let mut bits = scan.from(8);
        for _ in 0..100 {
            bits.fill();
            assert_eq!(bits.peek(16), 0);
            bits.drop_bits(16);
        }
        assert_eq!(bits.position(), 8 + 1600);
    }

    #[test]
    fn values_are_signed() {
        let scan = Scan::new(&[0b0101_1100, 0xFF, 0xD9]).unwrap();
        let mut bits = scan.from(0);
        assert_eq!(bits.value(1), -1);
        assert_eq!(bits.value(2), 2);
        assert_eq!(bits.value(0), 0);
        assert_eq!(bits.value(3), 7);
    }
}
