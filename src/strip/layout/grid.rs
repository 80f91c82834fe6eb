//! Rows and columns about the middle, in disc radii.

use super::{PieceGeometry, Spot, extent};

/// Width over height aimed at where no paper is given: that of a 35 mm frame.
pub(super) const USUAL_ASPECT: f64 = 1.5;

/// What a grid must leave room for.
pub(super) struct Frame {
    /// Free space between neighbours.
    pub(super) gap: f64,
    /// Height of the caption below a disc.
    pub(super) caption: f64,
    /// Free margin around everything.
    pub(super) margin: f64,
    /// Width over height to fill.
    pub(super) aspect: f64,
}

/// A block of discs in reading order: how many, and how many across.
#[derive(Clone, Copy)]
struct Block {
    count: usize,
    columns: usize,
}

impl Block {
    fn rows(self) -> usize {
        self.count.div_ceil(self.columns.max(1))
    }

    /// How many stand in each row: as even as they come, longer rows first.
    fn row_lengths(self) -> impl Iterator<Item = usize> {
        let rows = self.rows().max(1);
        let (least, longer) = (self.count / rows, self.count % rows);
        (0..self.rows()).map(move |row| least + usize::from(row < longer))
    }

    /// Whether a row has one disc and another more: it looks forgotten.
    fn has_lone_row(self) -> bool {
        self.row_lengths().min() == Some(1) && self.row_lengths().max() > Some(1)
    }

    fn size(self, frame: &Frame) -> (f64, f64) {
        let columns = self.row_lengths().max().unwrap_or(0);
        let line =
            |n: usize, pitch: f64, gap: f64| if n == 0 { 0.0 } else { n as f64 * pitch - gap };
        (
            line(columns, 2.0 + frame.gap, frame.gap),
            line(self.rows(), 2.0 + frame.caption + frame.gap, frame.gap),
        )
    }

    /// Places in reading order about a centre; short rows are centred.
    fn spots(self, frame: &Frame, centre: (f64, f64)) -> Vec<(f64, f64)> {
        let (pitch_x, pitch_y) = (2.0 + frame.gap, 2.0 + frame.caption + frame.gap);
        let (_, height) = self.size(frame);
        let row = |(row, length): (usize, usize)| {
            let y = centre.1 - height / 2.0 + 1.0 + row as f64 * pitch_y;
            let left = centre.0 - (length as f64 - 1.0) / 2.0 * pitch_x;
            (0..length).map(move |column| (left + column as f64 * pitch_x, y))
        };
        self.row_lengths().enumerate().flat_map(row).collect()
    }
}

/// How much smaller the discs may come out to keep clear of lone rows.
const LONE_ROW: f64 = 0.75;

/// Whether the three parts stand side by side or one above the other.
#[derive(Clone, Copy)]
enum Stack {
    Across,
    Down,
}

/// The arrangement whose discs come out largest on the paper: a block before, the middle, a block after.
pub(super) fn grid(pieces: &[PieceGeometry], frame: &Frame) -> Vec<Spot> {
    let before = pieces.iter().take_while(|p| !p.middle).count();
    let middle = pieces.iter().find(|p| p.middle).map(extent);
    let after = pieces.len() - before - usize::from(middle.is_some());
    let most = before.max(after).max(1);
    let mut best: Option<(f64, Vec<(f64, f64)>)> = None;
    for stack in [Stack::Across, Stack::Down] {
        for columns in 1..=most {
            let block = |count| Block { count, columns };
            let (size, spots) = composed(stack, block(before), middle, block(after), frame);
            let margin = 2.0 * frame.margin;
            let lone = block(before).has_lone_row() || block(after).has_lone_row();
            let fit = (frame.aspect / (size.0 + margin)).min(1.0 / (size.1 + margin))
                * if lone { LONE_ROW } else { 1.0 };
            if best.as_ref().is_none_or(|(so_far, _)| fit > *so_far) {
                best = Some((fit, spots));
            }
        }
    }
    let spots = best.map_or_else(Vec::new, |(_, spots)| spots);
    let with_reach = |(piece, (x, y)): (&PieceGeometry, (f64, f64))| Spot::new(x, y, piece.reach);
    pieces.iter().zip(spots).map(with_reach).collect()
}

/// Sizes and places of block, middle and block in one stack.
fn composed(
    stack: Stack,
    before: Block,
    middle: Option<f64>,
    after: Block,
    frame: &Frame,
) -> ((f64, f64), Vec<(f64, f64)>) {
    let half = middle.unwrap_or(0.0);
    let heart = (
        2.0 * half,
        2.0 * half + if middle.is_some() { frame.caption } else { 0.0 },
    );
    let sizes = [before.size(frame), heart, after.size(frame)];
    let lengths = sizes.map(|(w, h)| match stack {
        Stack::Across => w,
        Stack::Down => h,
    });
    let breadths = sizes.map(|(w, h)| match stack {
        Stack::Across => h,
        Stack::Down => w,
    });
    let mut centres = [0.0; 3];
    let mut end = 0.0;
    for (centre, length) in centres.iter_mut().zip(lengths) {
        if length > 0.0 && end > 0.0 {
            end += frame.gap;
        }
        *centre = end + length / 2.0;
        end += length;
    }
    let place = |along: f64| match stack {
        Stack::Across => (along, 0.0),
        Stack::Down => (0.0, along),
    };
    // Side by side, both blocks begin at the same height, so that their rows are level.
    let breadth = breadths.into_iter().fold(0.0, f64::max);
    let level = (
        breadths[0].max(breadths[2]) - breadths[0],
        breadths[0].max(breadths[2]) - breadths[2],
    );
    let block = |centre: f64, short: f64| match stack {
        Stack::Across => (centre, -short / 2.0),
        Stack::Down => (0.0, centre),
    };
    let mut spots = before.spots(frame, block(centres[0], level.0));
    if middle.is_some() {
        let (x, y) = place(centres[1]);
        spots.push((x, y - heart.1 / 2.0 + half));
    }
    spots.extend(after.spots(frame, block(centres[2], level.1)));
    let size = match stack {
        Stack::Across => (end, breadth),
        Stack::Down => (breadth, end),
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
            margin: 1.0,
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
