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

    fn size(self, frame: &Frame) -> (f64, f64) {
        let columns = self.columns.min(self.count);
        let line =
            |n: usize, pitch: f64, gap: f64| if n == 0 { 0.0 } else { n as f64 * pitch - gap };
        (
            line(columns, 2.0 + frame.gap, frame.gap),
            line(self.rows(), 2.0 + frame.caption + frame.gap, frame.gap),
        )
    }

    /// Places in reading order about a centre; a short last row is centred.
    fn spots(self, frame: &Frame, centre: (f64, f64)) -> Vec<(f64, f64)> {
        let (pitch_x, pitch_y) = (2.0 + frame.gap, 2.0 + frame.caption + frame.gap);
        let (_, height) = self.size(frame);
        let columns = self.columns.max(1);
        let spot = |i: usize| {
            let (row, column) = (i / columns, i % columns);
            let in_row = columns.min(self.count - row * columns);
            (
                centre.0 + (column as f64 - (in_row as f64 - 1.0) / 2.0) * pitch_x,
                centre.1 - height / 2.0 + 1.0 + row as f64 * pitch_y,
            )
        };
        (0..self.count).map(spot).collect()
    }
}

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
            let fit = (frame.aspect / (size.0 + margin)).min(1.0 / (size.1 + margin));
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
