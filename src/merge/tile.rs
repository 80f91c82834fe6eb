//! The part of a stack that one thread works on at a time: the inner loops of the merge.

use super::light::Light;
use super::mask::Mask;
use super::place::Placement;
use crate::raster::Rect;

/// Canvas columns handled at a time, so that the part of a turned frame behind them stays small.
pub(super) const TILE_COLUMNS: usize = 256;

/// Light this much weaker in weight than what is there already is passed over: it could not lower the noise by half a
/// hundredth, nor move the mean by more than a hundredth of what the frames disagree by.
const NEGLIGIBLE: f32 = 1e-2;

/// Columns between which weights are straight: as far apart as the blocks they come from.
const WEIGHT_STEP: usize = 4;

/// Phases of the sub-pixel kernel per pixel.
const PHASES: usize = 128;

/// Working memory of one thread.
#[derive(Default)]
pub(super) struct Buffers {
    /// Radiance of the part of the frame behind the tile.
    window: Vec<[f32; 4]>,
    /// One row of it between rows.
    between: Vec<[f32; 4]>,
    /// Radiance brought to one canvas row.
    row: Vec<[f32; 4]>,
    /// Weights of one canvas row.
    weights: Vec<f32>,
}

/// A rectangle of the stack.
pub(super) struct Tile<'a> {
    /// Left and top edge on the canvas.
    pub(super) canvas: [usize; 2],
    /// Width and height.
    pub(super) size: [usize; 2],
    /// Column in the band of rows.
    pub(super) offset: usize,
    /// Pixels in a row of the band.
    pub(super) stride: usize,
    /// The band's running means.
    pub(super) mean: &'a mut [f32],
    /// The band's summed weights.
    pub(super) weight: &'a mut [f32],
}

impl Tile<'_> {
    /// Adds what a frame has to say here.
    pub(super) fn add(
        &mut self,
        light: &Light,
        place: &Placement,
        mask: &Mask,
        buffers: &mut Buffers,
    ) {
        let [x0, y0] = self.canvas.map(|v| v as f64);
        let (x1, y1) = (x0 + self.size[0] as f64, y0 + self.size[1] as f64);
        let masked = mask.over(x0, y0, x1, y1);
        if masked == Some(false) {
            return;
        }
        let Some(source) = self.source(light, place) else {
            return;
        };
        let top = light.top_weight(source);
        if top <= 0.0 || top < NEGLIGIBLE * self.least_weight() {
            return;
        }
        light.fill(source, &mut buffers.window);
        let whole = masked == Some(true);
        let mask = if whole { &Mask::Nothing } else { mask };
        for row in 0..self.size[1] {
            self.add_row(row, light, place, mask, source, buffers);
        }
    }

    fn least_weight(&self) -> f32 {
        let mut least = f32::INFINITY;
        for row in 0..self.size[1] {
            let start = row * self.stride + self.offset;
            for &w in &self.weight[start..start + self.size[0]] {
                least = least.min(w);
            }
        }
        least
    }

    /// The part of the frame behind the tile, with room for the kernel; `None` when there is none.
    fn source(&self, light: &Light, place: &Placement) -> Option<Rect> {
        let [x0, y0] = self.canvas.map(|v| v as f64);
        let [x1, y1] = [x0 + self.size[0] as f64, y0 + self.size[1] as f64].map(|v| v - 1.0);
        let corners = [(x0, y0), (x1, y0), (x0, y1), (x1, y1)].map(|(x, y)| place.to_frame(x, y));
        let range = |axis: usize, limit: usize| {
            let along = corners.iter().map(|c| c[axis]);
            let (low, high) = (
                along.clone().fold(f64::INFINITY, f64::min),
                along.fold(f64::NEG_INFINITY, f64::max),
            );
            let from = (low.floor() - 2.0).clamp(0.0, limit as f64) as usize;
            let to = (high.floor() + 4.0).clamp(0.0, limit as f64) as usize;
            (to > from + 4).then_some((from, to - from))
        };
        let (x, width) = range(0, light.width())?;
        let (y, height) = range(1, light.height())?;
        Some(Rect {
            x,
            y,
            width,
            height,
        })
    }

    fn add_row(
        &mut self,
        row: usize,
        light: &Light,
        place: &Placement,
        mask: &Mask,
        source: Rect,
        buffers: &mut Buffers,
    ) {
        let y = (self.canvas[1] + row) as f64;
        let [x, y_frame] = place.to_frame(self.canvas[0] as f64, y);
        let line = Line {
            start: [x - source.x as f64, y_frame - source.y as f64],
            step: place.step(),
        };
        let Some((from, to)) = line.inside(self.size[0], source) else {
            return;
        };
        let band = row * self.stride + self.offset;
        let there = &self.weight[band..band + self.size[0]];
        let weights = &mut buffers.weights;
        line.weights(light, source, self.size[0], weights);
        for (i, w) in weights.iter_mut().enumerate() {
            let on_frame = i >= from && i < to;
            if !on_frame || *w < NEGLIGIBLE * there[i] {
                *w = 0.0;
            } else if !matches!(mask, Mask::Nothing) {
                *w *= mask.at((self.canvas[0] + i) as f64, y);
            }
        }
        let Some(first) = weights.iter().position(|w| *w > 0.0) else {
            return;
        };
        let last = weights.iter().rposition(|w| *w > 0.0).unwrap_or(first);
        line.sample(first..last + 1, source, buffers);
        self.put(band + first, &buffers.row, &buffers.weights[first..=last]);
    }

    /// Takes a run of values into the running means.
    fn put(&mut self, at: usize, values: &[[f32; 4]], weights: &[f32]) {
        let means = self.mean[at * 3..(at + weights.len()) * 3].chunks_exact_mut(3);
        let totals = self.weight[at..at + weights.len()].iter_mut();
        for (((mean, total), value), &w) in means.zip(totals).zip(values).zip(weights) {
            if w > 0.0 {
                *total += w;
                let share = w / *total;
                for (mean, v) in mean.iter_mut().zip(value) {
                    *mean += (v - *mean) * share;
                }
            }
        }
    }
}

/// A canvas row as it runs across a window of a frame: first place and step per column, in window pixels.
struct Line {
    start: [f64; 2],
    step: [f64; 2],
}

impl Line {
    fn at(&self, column: usize) -> [f64; 2] {
        let along = column as f64;
        [
            self.start[0] + self.step[0] * along,
            self.start[1] + self.step[1] * along,
        ]
    }

    /// First and one past the last column whose kernel lies in the window; `None` when there is none.
    fn inside(&self, columns: usize, source: Rect) -> Option<(usize, usize)> {
        let fits = |column: usize| {
            let [x, y] = self.at(column);
            x >= 1.0
                && y >= 1.0
                && x + 3.0 <= source.width as f64
                && y + 3.0 <= source.height as f64
        };
        let from = (0..columns).find(|&c| fits(c))?;
        let to = (from..columns).rev().find(|&c| fits(c))? + 1;
        Some((from, to))
    }

    /// Weights of the row's columns, straight between every few.
    fn weights(&self, light: &Light, source: Rect, columns: usize, out: &mut Vec<f32>) {
        let at = |column: usize| {
            let [x, y] = self.at(column);
            light.weight((x + source.x as f64) as f32, (y + source.y as f64) as f32)
        };
        out.clear();
        let mut left = at(0);
        while out.len() < columns {
            let right = at(out.len() + WEIGHT_STEP);
            for k in 0..WEIGHT_STEP.min(columns - out.len()) {
                out.push(left + (right - left) * (k as f32 / WEIGHT_STEP as f32));
            }
            left = right;
        }
    }

    /// Radiance at a run of columns into `buffers.row`, by cubic convolution over 4 by 4 pixels (Keys 1981, "Cubic
    /// convolution interpolation for digital image processing", IEEE Trans. ASSP 29, 1153, with a = -1/2).
    fn sample(&self, columns: std::ops::Range<usize>, source: Rect, buffers: &mut Buffers) {
        let length = columns.len();
        let drift = [self.step[0] - 1.0, self.step[1]].map(|s| s.abs() * length as f64);
        buffers.row.clear();
        if drift[0].max(drift[1]) < 0.25 / PHASES as f64 {
            self.sample_straight(columns, source, buffers);
        } else {
            self.sample_turned(columns, source, buffers);
        }
    }

    /// Along the frame's own rows: one kernel for all, rows first, then columns.
    fn sample_straight(
        &self,
        columns: std::ops::Range<usize>,
        source: Rect,
        buffers: &mut Buffers,
    ) {
        let [x, y] = self.at(columns.start);
        let ((left, kx), (top, ky)) = (split(x), split(y));
        let length = columns.len();
        let row = |j: usize| {
            let start = (top + j - 1) * source.width + left - 1;
            &buffers.window[start..start + length + 3]
        };
        let (a, b, c, d) = (row(0), row(1), row(2), row(3));
        let (between, out) = (&mut buffers.between, &mut buffers.row);
        between.resize(length + 3, [0.0; 4]);
        out.resize(length, [0.0; 4]);
        pulp::Arch::new().dispatch(|| {
            let rows = a.iter().zip(b).zip(c).zip(d);
            for (to, (((a, b), c), d)) in between.iter_mut().zip(rows) {
                *to = mixed(ky, [a, b, c, d]);
            }
            for (to, w) in out.iter_mut().zip(between.windows(4)) {
                *to = mixed(kx, [&w[0], &w[1], &w[2], &w[3]]);
            }
        });
    }

    /// Each place by itself: columns of the frame first, which are four pixels side by side in the register, then across.
    fn sample_turned(&self, columns: std::ops::Range<usize>, source: Rect, buffers: &mut Buffers) {
        let (window, kernels) = (&buffers.window, KERNEL.as_slice());
        buffers.row.resize(columns.len(), [0.0; 4]);
        let row = &mut buffers.row;
        pulp::Arch::new().dispatch(|| {
            for (out, column) in row.iter_mut().zip(columns) {
                let [x, y] = self.at(column);
                let ((left, kx), (top, ky)) = (split_by(kernels, x), split_by(kernels, y));
                let start = (top - 1) * source.width + left - 1;
                *out = mixed_square(&window[start..], source.width, kx, ky);
            }
        });
    }
}

/// Four by four pixels mixed by two kernels; the first of them is the first of `window`.
#[inline(always)]
fn mixed_square(window: &[[f32; 4]], width: usize, kx: &[f32; 4], ky: &[f32; 4]) -> [f32; 4] {
    let mut across = [0.0_f32; 16];
    for (j, weight) in ky.iter().enumerate() {
        let four: &[f32] = window[j * width..j * width + 4].as_flattened();
        for (sum, v) in across.iter_mut().zip(four) {
            *sum += weight * v;
        }
    }
    std::array::from_fn(|c| {
        kx[0] * across[c] + kx[1] * across[4 + c] + kx[2] * across[8 + c] + kx[3] * across[12 + c]
    })
}

/// Four pixels mixed by a kernel.
#[inline(always)]
fn mixed(kernel: &[f32; 4], pixels: [&[f32; 4]; 4]) -> [f32; 4] {
    std::array::from_fn(|c| {
        kernel[0] * pixels[0][c]
            + kernel[1] * pixels[1][c]
            + kernel[2] * pixels[2][c]
            + kernel[3] * pixels[3][c]
    })
}

/// Whole pixel and kernel of a place at or right of 1.
fn split(v: f64) -> (usize, &'static [f32; 4]) {
    split_by(KERNEL.as_slice(), v)
}

#[inline(always)]
fn split_by(kernels: &[[f32; 4]], v: f64) -> (usize, &[f32; 4]) {
    let whole = v as usize;
    let phase = ((v - whole as f64) * PHASES as f64 + 0.5) as usize;
    (whole, &kernels[phase.min(PHASES)])
}

/// Keys' kernel at each phase, for the pixels at -1, 0, 1 and 2.
static KERNEL: std::sync::LazyLock<Vec<[f32; 4]>> = std::sync::LazyLock::new(|| {
    (0..=PHASES)
        .map(|p| {
            let t = p as f64 / PHASES as f64;
            let (t2, t3) = (t * t, t * t * t);
            [
                -0.5 * t3 + t2 - 0.5 * t,
                1.5 * t3 - 2.5 * t2 + 1.0,
                -1.5 * t3 + 2.0 * t2 + 0.5 * t,
                0.5 * t3 - 0.5 * t2,
            ]
            .map(|v| v as f32)
        })
        .collect()
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parabola_is_met_exactly_between_pixels() {
        let window: Vec<[f32; 4]> = (0..64)
            .map(|i| {
                let (x, y) = ((i % 8) as f32, (i / 8) as f32);
                [x * x, y * y, x * y, 0.0]
            })
            .collect();
        let source = Rect {
            x: 0,
            y: 0,
            width: 8,
            height: 8,
        };
        for step in [[1.0, 0.0], [0.9, 0.1]] {
            let line = Line {
                start: [2.25, 3.5],
                step,
            };
            let mut buffers = Buffers {
                window: window.clone(),
                ..Buffers::default()
            };
            line.sample(0..3, source, &mut buffers);
            for (i, got) in buffers.row.iter().enumerate() {
                let [x, y] = line.at(i).map(|v| v as f32);
                for (got, truth) in got.iter().zip([x * x, y * y, x * y]) {
                    // Places are rounded to 1/128 pixel.
                    assert!((got - truth).abs() < 0.06, "{got} for {truth}");
                }
            }
        }
    }

    #[test]
    fn columns_beyond_the_window_are_left_out() {
        let line = Line {
            start: [-3.0, 2.0],
            step: [1.0, 0.0],
        };
        let source = Rect {
            x: 0,
            y: 0,
            width: 10,
            height: 8,
        };
        assert_eq!(line.inside(20, source), Some((4, 11)));
    }
}
