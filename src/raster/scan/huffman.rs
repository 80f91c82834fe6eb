//! Huffman codes of a scan (ITU-T T.81, annex C and F.2.2.3).

use super::bits::{Bits, signed};
use super::cosine::BLOCK;

/// Bits looked at in one go; most codes are shorter.
const GLANCE: u32 = 12;

/// Longest code.
const LONGEST: usize = 16;

/// Most bits of a difference between first coefficients of neighbouring blocks (ITU-T T.81, table F.1).
const MOST_BITS: u32 = 11;

/// How far the end of a block steps: farther than any run reaches.
const END: usize = 2 * BLOCK;

/// Most coefficients a leap steps on before the end of a block.
const MOST_ON: usize = BLOCK - 1;

/// Marks a leap that ends its block.
const ENDS: u16 = 1 << 12;

/// One entry for each glance.
type Glances = Box<[u16; 1 << GLANCE]>;

/// A table of codes.
#[derive(Clone, Debug)]
struct Codes {
    /// Length of the code << 8 | symbol; 0 where the code is longer.
    glances: Glances,
    /// For each length: the first code that is longer, as 16 bits.
    limits: [u32; LONGEST + 1],
    /// For each length: index of its first symbol less its first code.
    offsets: [i32; LONGEST + 1],
    symbols: Vec<u8>,
}

impl Codes {
    /// The codes for a count of codes of each length, 1 to 16, and their symbols; `None` where the counts cannot be.
    fn new(counts: &[u8; LONGEST], symbols: &[u8]) -> Option<Self> {
        let mut codes = Self {
            glances: Box::new([0; 1 << GLANCE]),
            limits: [0; LONGEST + 1],
            offsets: [0; LONGEST + 1],
            symbols: symbols.to_vec(),
        };
        let (mut code, mut index) = (0_u32, 0_usize);
        for length in 1..=LONGEST {
            codes.offsets[length] = index as i32 - code as i32;
            for _ in 0..counts[length - 1] {
                let symbol = *symbols.get(index)?;
                codes.short(code, length as u32, symbol);
                code += 1;
                index += 1;
            }
            if code > 1 << length {
                return None;
            }
            codes.limits[length] = code << (LONGEST - length);
            code <<= 1;
        }
        Some(codes)
    }

    /// Notes a code in the glances that begin with it.
    fn short(&mut self, code: u32, length: u32, symbol: u8) {
        if length > GLANCE || code >= 1 << length {
            return;
        }
        let first = (code << (GLANCE - length)) as usize;
        let glances = first..first + (1 << (GLANCE - length));
        self.glances[glances].fill((length as u16) << 8 | u16::from(symbol));
    }

    /// The next symbol; `None` where no code fits.
    #[inline(always)]
    fn next(&self, bits: &mut Bits<'_>) -> Option<u8> {
        let glance = self.glances[bits.peek(GLANCE)];
        if glance != 0 {
            bits.drop_bits(u32::from(glance >> 8));
            return Some(glance as u8);
        }
        self.longer(bits)
    }

    #[cold]
    fn longer(&self, bits: &mut Bits<'_>) -> Option<u8> {
        let ahead = bits.peek(LONGEST as u32) as u32;
        let length = (1..=LONGEST).find(|&length| ahead < self.limits[length])?;
        bits.drop_bits(length as u32);
        let code = (ahead >> (LONGEST - length)) as i32;
        let index = usize::try_from(code + self.offsets[length]).ok()?;
        self.symbols.get(index).copied()
    }
}

/// Codes of the differences between first coefficients.
#[derive(Clone, Debug)]
pub(super) struct Differences {
    codes: Codes,
    /// For each glance: the difference << 8 | bits of code and value; 0 where the glance does not hold all of them.
    told: Box<[i32; 1 << GLANCE]>,
}

impl Differences {
    /// As [`Codes::new`]; symbols are sizes.
    pub(super) fn new(counts: &[u8; LONGEST], symbols: &[u8]) -> Option<Self> {
        let codes = Codes::new(counts, symbols)?;
        let told = Box::new(std::array::from_fn(|glance| told(&codes, glance)));
        Some(Self { codes, told })
    }

    /// The next difference between first coefficients; `None` where no code fits. Takes 27 bits at most, which must be there.
    #[inline(always)]
    pub(super) fn next(&self, bits: &mut Bits<'_>) -> Option<i32> {
        let told = self.told[bits.peek(GLANCE)];
        if told != 0 {
            bits.drop_bits(told as u32 & 0xFF);
            return Some(told >> 8);
        }
        let size = u32::from(self.codes.next(bits)?);
        (size <= MOST_BITS).then(|| bits.value(size))
    }
}

/// What a glance says of a difference.
fn told(codes: &Codes, glance: usize) -> i32 {
    let entry = codes.glances[glance];
    let (length, size) = (u32::from(entry >> 8), u32::from(entry & 0xFF));
    if entry == 0 || length + size > GLANCE {
        return 0;
    }
    let value = glance >> (GLANCE - length - size) & ((1 << size) - 1);
    signed(value as i32, size) << 8 | (length + size) as i32
}

/// Codes of the coefficients after the first.
#[derive(Clone, Debug)]
pub(super) struct Coefficients {
    codes: Codes,
    /// For each glance, all coefficients that it wholly tells: [`ENDS`] | coefficients on << 6 | bits of codes and values; 0 where
    /// there are none.
    leaps: Glances,
}

impl Coefficients {
    /// As [`Codes::new`]; symbols are runs and sizes.
    pub(super) fn new(counts: &[u8; LONGEST], symbols: &[u8]) -> Option<Self> {
        let codes = Codes::new(counts, symbols)?;
        let leaps = Box::new(std::array::from_fn(|glance| leap(&codes, glance)));
        Some(Self { codes, leaps })
    }

    /// How many coefficients the next symbol steps on, and the bits of the value behind it; `None` where no code fits.
    #[inline(always)]
    pub(super) fn next(&self, bits: &mut Bits<'_>) -> Option<(usize, u32)> {
        self.codes.next(bits).map(run_and_size)
    }

    /// Passes over the coefficients of a block after its first; `None` where no code fits or they are too many. Some 28 bits must
    /// be there.
    #[inline(always)]
    pub(super) fn skip_block(&self, bits: &mut Bits<'_>) -> Option<()> {
        let mut next = 1;
        loop {
            let leap = self.leaps[bits.peek(GLANCE)];
            let reached = next + usize::from(leap >> 6 & MOST_ON as u16);
            if leap == 0 || reached >= BLOCK {
                return self.step_through(bits, next);
            }
            bits.drop_bits(u32::from(leap & 63));
            if leap & ENDS != 0 {
                return Some(());
            }
            next = reached;
            bits.fill();
        }
    }

    /// The same one by one from a coefficient on: long codes, and what may reach beyond the last coefficient.
    fn step_through(&self, bits: &mut Bits<'_>, from: usize) -> Option<()> {
        let mut next = from;
        while next < BLOCK {
            bits.fill();
            let (steps, size) = self.next(bits)?;
            bits.drop_bits(size);
            next += steps;
        }
        // A run may end at the last coefficient, not beyond it.
        (next == BLOCK || next > END).then_some(())
    }
}

/// What a glance says of the coefficients ahead.
fn leap(codes: &Codes, glance: usize) -> u16 {
    let (mut bits, mut on) = (0, 0);
    let mut ends = 0;
    while bits < GLANCE && ends == 0 {
        let rest = glance << bits & ((1 << GLANCE) - 1);
        let entry = codes.glances[rest];
        let (length, symbol) = (u32::from(entry >> 8), entry as u8);
        let (steps, size) = run_and_size(symbol);
        if entry == 0 || bits + length > GLANCE {
            break;
        }
        match steps {
            END => ends = ENDS,
            steps if on + steps > MOST_ON => break,
            steps => on += steps,
        }
        bits += length + size;
    }
    ends | (on as u16) << 6 | bits as u16
}

/// How many coefficients a symbol steps on, and the bits of the value behind it (ITU-T T.81, F.1.2.2).
#[inline(always)]
fn run_and_size(symbol: u8) -> (usize, u32) {
    match (usize::from(symbol >> 4), u32::from(symbol & 15)) {
        (15, 0) => (16, 0),
        (_, 0) => (END, 0),
        (run, size) => (run + 1, size),
    }
}

#[cfg(test)]
mod tests {
    use super::super::bits::Scan;
    use super::*;

    /// Codes 0, 10, 1100, 11010 and one of 16 bits.
    fn some() -> Codes {
        let mut counts = [0; LONGEST];
        (counts[0], counts[1], counts[3], counts[4], counts[15]) = (1, 1, 1, 1, 1);
        Codes::new(&counts, &[0x01, 0x00, 0xF0, 0x32, 0x05]).unwrap()
    }

    /// The same as runs and sizes.
    fn runs() -> Coefficients {
        let codes = some();
        let leaps = Box::new(std::array::from_fn(|glance| leap(&codes, glance)));
        Coefficients { codes, leaps }
    }

    fn scan(bits: &str) -> Scan {
        let mut bytes: Vec<u8> = bits
            .as_bytes()
            .chunks(8)
            .map(|c| c.iter().fold(0, |v, b| v << 1 | (b - b'0')) << (8 - c.len()))
            .collect();
        bytes.extend([0xFF, 0xD9]);
        Scan::new(&bytes).unwrap()
    }

    #[test]
    fn symbols_are_told_apart() {
        let scan = scan("0101100110101101100000000000");
        let mut bits = scan.from(0);
        let codes = some();
        for due in [0x01, 0x00, 0xF0, 0x32, 0x05] {
            bits.fill();
            assert_eq!(codes.next(&mut bits), Some(due));
        }
        assert_eq!(bits.position(), 28);
    }

    #[test]
    fn a_block_is_passed_over_to_its_end() {
        // A value of one bit, four zeros with a value of two bits, end of block.
        let scan = scan("0111010011011");
        let mut bits = scan.from(0);
        assert!(runs().skip_block(&mut bits).is_some());
        assert_eq!(bits.position(), 11);
    }

    #[test]
    fn a_run_beyond_the_block_is_an_error() {
        let scan = scan(&"1100".repeat(5));
        assert!(runs().skip_block(&mut scan.from(0)).is_none());
    }

    #[test]
    fn too_many_codes_are_refused() {
        let mut counts = [0; LONGEST];
        counts[0] = 3;
        assert!(Codes::new(&counts, &[1, 2, 3]).is_none());
        counts[0] = 2;
        assert!(Codes::new(&counts, &[1]).is_none(), "a symbol is missing");
    }
}
