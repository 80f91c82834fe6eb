//! From coefficients to pixels: the inverse cosine transform of a block (ITU-T T.81, A.3.3).
//!
//! Five multiplications a line, the rest is in the quantisation. Source: Y. Arai, T. Agui, M. Nakajima 1988, "A fast DCT-SQ
//! scheme for images", Trans. IEICE E71, 1095.

use std::f32::consts::SQRT_2;

/// Twice the cosine of an eighth of pi, and that less and more twice its sine.
const TWO_COS: f32 = 1.847_759_1;
const LESS: f32 = 1.082_392_2;
const MORE: f32 = 2.613_126;

/// Pixels of a block on a side.
pub(super) const SIDE: usize = 8;

/// Coefficients of a block.
pub(super) const BLOCK: usize = SIDE * SIDE;

/// Rows of a block.
pub(super) type Block = [[f32; SIDE]; SIDE];

/// Place of each coefficient in its block, in the order in which they are stored (ITU-T T.81, figure A.6).
pub(super) const ZIGZAG: [u8; BLOCK] = zigzag();

const fn zigzag() -> [u8; BLOCK] {
    let mut order = [0; BLOCK];
    let (mut x, mut y, mut n) = (0_usize, 0_usize, 0);
    while n < BLOCK {
        order[n] = (y * SIDE + x) as u8;
        let up = (x + y).is_multiple_of(2);
        (x, y) = match (up, x, y) {
            (true, 7, _) => (x, y + 1),
            (true, _, 0) => (x + 1, y),
            (true, _, _) => (x + 1, y - 1),
            (false, _, 7) => (x + 1, y),
            (false, 0, _) => (x, y + 1),
            (false, _, _) => (x - 1, y + 1),
        };
        n += 1;
    }
    order
}

/// Steps of quantisation in stored order, as [`pixels`] wants its coefficients multiplied.
pub(super) fn scaled(steps: &[u16; BLOCK]) -> [f32; BLOCK] {
    let scale = |k: usize| match k {
        0 => 1.0,
        _ => (k as f64 * std::f64::consts::PI / 16.0).cos() * std::f64::consts::SQRT_2,
    };
    std::array::from_fn(|n| {
        let place = usize::from(ZIGZAG[n]);
        let (row, column) = (place / SIDE, place % SIDE);
        (f64::from(steps[n]) * scale(row) * scale(column) / SIDE as f64) as f32
    })
}

/// Stored values of a block, 0 to 255, from coefficients multiplied by [`scaled`] steps. `right` says whether any of the right
/// half of the block is not zero.
pub(super) fn pixels(block: &Block, right: bool) -> [[u8; SIDE]; SIDE] {
    let mut halves: [Half; 2] = [[[0.0; HALF]; SIDE]; 2];
    for (y, row) in block.iter().enumerate() {
        halves[0][y].copy_from_slice(&row[..HALF]);
        halves[1][y].copy_from_slice(&row[HALF..]);
    }
    down(&mut halves[0]);
    if right {
        down(&mut halves[1]);
    }
    let turned = |from: usize| -> Half {
        std::array::from_fn(|j| std::array::from_fn(|i| halves[j / HALF][from + i][j % HALF]))
    };
    let mut out = [[0; SIDE]; SIDE];
    for from in [0, HALF] {
        let mut rows = turned(from);
        down(&mut rows);
        for (x, line) in rows.iter().enumerate() {
            for (i, level) in line.iter().enumerate() {
                out[from + i][x] = stored(*level);
            }
        }
    }
    out
}

/// The nearest stored value, for a level with 0 in the middle.
#[inline(always)]
pub(super) fn stored(level: f32) -> u8 {
    /// Added to a small number, it leaves the nearest whole number in the lowest bits.
    const WHOLE: f32 = (3 << 22) as f32;
    let value = level + 128.0;
    let value = if value > 0.0 { value } else { 0.0 };
    let value = if value < 255.0 { value } else { 255.0 };
    (value + WHOLE).to_bits() as u8
}

/// Columns that are worked on at once.
const HALF: usize = SIDE / 2;

/// One row of half a block.
type Line = [f32; HALF];

/// Half a block: some of its columns.
type Half = [Line; SIDE];

#[inline(always)]
fn both(a: Line, b: Line, with: impl Fn(f32, f32) -> f32) -> Line {
    let mut out = [0.0; HALF];
    for i in 0..HALF {
        out[i] = with(a[i], b[i]);
    }
    out
}

/// Transforms columns of a block.
#[inline(always)]
fn down(b: &mut Half) {
    let add = |a, b| both(a, b, |a, b| a + b);
    let less = |a, b| both(a, b, |a, b| a - b);
    let (sum, apart) = (add(b[0], b[4]), less(b[0], b[4]));
    let outer = add(b[2], b[6]);
    let inner = both(less(b[2], b[6]), outer, |a, b| a * SQRT_2 - b);
    let even = [
        add(sum, outer),
        add(apart, inner),
        less(apart, inner),
        less(sum, outer),
    ];
    let (p, q) = (add(b[5], b[3]), less(b[5], b[3]));
    let (r, s) = (add(b[1], b[7]), less(b[1], b[7]));
    let turned = both(q, s, |a, b| (a + b) * TWO_COS);
    let first = add(r, p);
    let second = less(both(turned, q, |a, b| a - b * MORE), first);
    let third = both(less(r, p), second, |a, b| a * SQRT_2 - b);
    let fourth = less(both(turned, s, |a, b| a - b * LESS), third);
    for (k, odd) in [first, second, third, fourth].into_iter().enumerate() {
        b[k] = add(even[k], odd);
        b[SIDE - 1 - k] = less(even[k], odd);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sum of T.81, A.3.3, term by term.
    fn by_definition(coefficients: &[[f64; SIDE]; SIDE], x: usize, y: usize) -> f64 {
        let c = |k: usize| if k == 0 { 0.5_f64.sqrt() } else { 1.0 };
        let wave = |k: usize, n: usize| {
            ((2 * n + 1) as f64 * k as f64 * std::f64::consts::PI / 16.0).cos()
        };
        let mut sum = 0.0;
        for (v, row) in coefficients.iter().enumerate() {
            for (u, value) in row.iter().enumerate() {
                sum += c(u) * c(v) * value * wave(u, x) * wave(v, y);
            }
        }
        sum / 4.0
    }

    #[test]
    fn pixels_follow_the_definition() {
        let mut state = 12_345_u64;
        for round in 0..200 {
            let steps: [u16; BLOCK] = std::array::from_fn(|n| 1 + (n as u16 * 7 + round) % 40);
            let factors = scaled(&steps);
            let (mut block, mut plain) = ([[0.0; SIDE]; SIDE], [[0.0; SIDE]; SIDE]);
            for n in 0..BLOCK {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                let value = if n < 12 {
                    (state >> 33) as i32 % 9 - 4
                } else {
                    0
                };
                let place = usize::from(ZIGZAG[n]);
                block[place / SIDE][place % SIDE] = value as f32 * factors[n];
                plain[place / SIDE][place % SIDE] = f64::from(value) * f64::from(steps[n]);
            }
            let got = pixels(&block, true);
            for (y, row) in got.iter().enumerate() {
                for (x, value) in row.iter().enumerate() {
                    let due = (by_definition(&plain, x, y) + 128.0).clamp(0.0, 255.0);
                    assert!(
                        (f64::from(*value) - due).abs() < 0.501,
                        "{x} {y}: {value} for {due}"
                    );
                }
            }
        }
    }

    #[test]
    fn the_order_of_coefficients_is_the_standards() {
        assert_eq!(ZIGZAG[..10], [0, 1, 8, 16, 9, 2, 3, 10, 17, 24]);
        assert_eq!(ZIGZAG[60..], [47, 55, 62, 63]);
    }
}
