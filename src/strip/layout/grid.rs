//! Rows and columns about the middle, in disc radii.

use super::{PieceGeometry, Spot, extent, margins};

/// Width over height aimed at where no paper is given: that of a 35 mm frame.
pub(super) const USUAL_ASPECT: f64 = 1.5;

/// What a grid must leave room for.
pub(super) struct Frame {
    /// Free space between neighbours.
    pub(super) gap: f64,
    /// Height of the caption below a disc.
    pub(super) caption: f64,
    /// Free margin around everything, in disc diameters, as the recipe has it.
    pub(super) margin: Option<f64>,
    /// Width over height to fill.
    pub(super) aspect: f64,
}

/// Which way a short row leans within its block.
#[derive(Clone, Copy)]
enum Lean {
    Left,
    Centre,
    Right,
}

/// A block of discs in reading order: how many, in how many rows.
#[derive(Clone, Copy)]
struct Block {
    count: usize,
    rows: usize,
    /// Whether longer rows come last: rows grow shorter towards the middle on either side of it.
    longer_last: bool,
}

impl Block {
    /// How many stand in each row: as even as they come.
    fn row_lengths(self) -> impl Iterator<Item = usize> {
        let rows = self.rows.min(self.count).max(1);
        let (least, longer) = (self.count / rows, self.count % rows);
        let from_outside = move |row: usize| {
            if self.longer_last {
                rows - 1 - row
            } else {
                row
            }
        };
        (0..rows).map(move |row| least + usize::from(from_outside(row) < longer))
    }

    fn columns(self) -> usize {
        self.row_lengths().max().unwrap_or(0)
    }

    /// Whether a row has one disc and another more: it looks forgotten.
    fn has_lone_row(self) -> bool {
        self.row_lengths().min() == Some(1) && self.columns() > 1
    }

    /// Whether rows differ.
    fn is_ragged(self) -> bool {
        self.row_lengths().min() != self.row_lengths().max()
    }

    fn size(self, frame: &Frame) -> (f64, f64) {
        if self.count == 0 {
            return (0.0, 0.0);
        }
        let rows = self.row_lengths().count();
        (
            self.columns() as f64 * (2.0 + frame.gap) - frame.gap,
            rows as f64 * (2.0 + frame.caption + frame.gap) - frame.gap,
        )
    }

    /// Places in reading order about the centre of the block.
    fn spots(self, frame: &Frame, centre: (f64, f64), lean: Lean) -> Vec<(f64, f64)> {
        let (pitch_x, pitch_y) = (2.0 + frame.gap, 2.0 + frame.caption + frame.gap);
        let (width, height) = self.size(frame);
        let row = |(row, length): (usize, usize)| {
            let free = width - (length as f64 * pitch_x - frame.gap);
            let inset = match lean {
                Lean::Left => 0.0,
                Lean::Centre => free / 2.0,
                Lean::Right => free,
            };
            let y = centre.1 - height / 2.0 + 1.0 + row as f64 * pitch_y;
            let left = centre.0 - width / 2.0 + inset + 1.0;
            (0..length).map(move |column| (left + column as f64 * pitch_x, y))
        };
        let lengths = self.row_lengths().filter(|n| *n > 0);
        lengths.enumerate().flat_map(row).collect()
    }
}

/// How much smaller the discs may come out to have rows of equal length.
const RAGGED: f64 = 0.93;

/// Whether the three parts stand side by side or one above the other.
#[derive(Clone, Copy)]
enum Stack {
    Across,
    Down,
}

/// The arrangement whose discs come out largest on the paper: a block before, the middle, a block of as many rows after.
pub(super) fn grid(pieces: &[PieceGeometry], frame: &Frame) -> Vec<Spot> {
    let before = pieces.iter().take_while(|p| !p.middle).count();
    let middle = pieces.iter().find(|p| p.middle).map(extent);
    let after = pieces.len() - before - usize::from(middle.is_some());
    let most = before.max(after).max(1);
    let mut best: Option<(f64, Vec<(f64, f64)>)> = None;
    for stack in [Stack::Across, Stack::Down] {
        for rows in 1..=most {
            let block = |count, longer_last| Block {
                count,
                rows,
                longer_last,
            };
            let blocks = [block(before, false), block(after, true)];
            if blocks.iter().any(|b| b.has_lone_row()) {
                continue;
            }
            let (size, spots) = composed(stack, blocks, middle, frame);
            let (sides, ends) = margins(frame.margin, size);
            let fit = (frame.aspect / (size.0 + 2.0 * sides)).min(1.0 / (size.1 + 2.0 * ends));
            let ragged = blocks.iter().any(|b| b.is_ragged());
            let fit = fit * if ragged { RAGGED } else { 1.0 };
            if best.as_ref().is_none_or(|(so_far, _)| fit > *so_far) {
                best = Some((fit, spots));
            }
        }
    }
    let spots = best.map_or_else(Vec::new, |(_, spots)| spots);
    let with_reach = |(piece, (x, y)): (&PieceGeometry, (f64, f64))| Spot::new(x, y, piece.reach);
    pieces.iter().zip(spots).map(with_reach).collect()
}

/// Size of block, middle and block in one stack, and places about the centre of the middle.
///
/// The middle stands in the centre whatever the blocks hold. Blocks are flush with it side by side, their rows
/// level where they have as many.
fn composed(
    stack: Stack,
    [before, after]: [Block; 2],
    middle: Option<f64>,
    frame: &Frame,
) -> ((f64, f64), Vec<(f64, f64)>) {
    let (wide, high) = {
        let (a, b) = (before.size(frame), after.size(frame));
        (a.0.max(b.0), a.1.max(b.1))
    };
    let half = middle.unwrap_or(0.0);
    let heart_high = 2.0 * half + middle.map_or(0.0, |_| frame.caption);
    // A gap between the blocks, or one either side of the middle.
    let room = |extent: f64| {
        extent / 2.0
            + if middle.is_some() {
                frame.gap
            } else {
                frame.gap / 2.0
            }
    };
    let away = |block: Block| match stack {
        Stack::Across => (room(2.0 * half) + block.size(frame).0 / 2.0, 0.0),
        Stack::Down => (0.0, room(heart_high) + block.size(frame).1 / 2.0),
    };
    let leans = match stack {
        Stack::Across => [Lean::Right, Lean::Left],
        Stack::Down => [Lean::Centre, Lean::Centre],
    };
    let (x, y) = away(before);
    let mut spots = before.spots(frame, (-x, -y), leans[0]);
    if middle.is_some() {
        spots.push((0.0, half - heart_high / 2.0));
    }
    spots.extend(after.spots(frame, away(after), leans[1]));
    let size = match stack {
        Stack::Across => (2.0 * (room(2.0 * half) + wide), high.max(heart_high)),
        Stack::Down => (wide.max(2.0 * half), 2.0 * (room(heart_high) + high)),
    };
    (size, spots)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_row_has_a_lone_disc_unless_all_have() {
        let frame = |aspect: f64| Frame {
            gap: 0.5,
            caption: 0.0,
            margin: None,
            aspect,
        };
        for count in [2, 3, 5, 7, 11, 13, 17] {
            for aspect in [0.7, 0.8, 1.0, 1.25, 1.5, 2.0] {
                let piece = |middle| PieceGeometry {
                    middle,
                    reach: if middle { 4.0 } else { 1.3 },
                    sky: None,
                };
                let pieces: Vec<PieceGeometry> =
                    (0..=2 * count).map(|i| piece(i == count)).collect();
                let spots = grid(&pieces, &frame(aspect));
                let rows = |side: &[Spot]| {
                    let mut ys: Vec<i64> = side.iter().map(|s| (s.y * 1e6) as i64).collect();
                    ys.dedup();
                    let in_row = |y: &i64| side.iter().filter(|s| (s.y * 1e6) as i64 == *y).count();
                    ys.iter().map(in_row).collect::<Vec<usize>>()
                };
                for side in [&spots[..count], &spots[count + 1..]] {
                    let rows = rows(side);
                    let (least, most) = (rows.iter().min().unwrap(), rows.iter().max().unwrap());
                    assert!(most - least <= 1, "{count} at {aspect}: {rows:?}");
                    assert!(*least > 1 || *most == 1, "{count} at {aspect}: {rows:?}");
                }
            }
        }
    }
}
