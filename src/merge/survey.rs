//! A first, coarse look at every frame: what the photometry and the registration work from.

use super::hot::{self, Specks};
use super::place::Placement;
use crate::domain::saturation::FULL_IN_MERGE;
use crate::domain::{Circle, upper_median};
use crate::raster::{Frame, LinearImage, Rect, Samples};

/// Cells of the photometric grid on a side.
pub(crate) const CELLS: usize = 144;

/// Samples per cell on a side.
const CELL_SAMPLES: usize = 6;

/// How far beyond the Moon's limb the grid begins, in lunar radii.
const LIMB_MARGIN: f64 = 1.04;

/// Half-width of the photometric grid, in solar radii.
const GRID_HALF_RADII: f64 = 4.5;

/// Half-width of the registration picture, in solar radii.
const PICTURE_HALF_RADII: f64 = 3.2;

/// What the first look keeps of a frame.
#[derive(Clone, Debug)]
pub(crate) struct Survey {
    /// Mean decoded light per cell; `NaN` where a cell is clipped, off the frame or behind the Moon.
    pub(crate) cells: Vec<[f32; 3]>,
    /// Median decoded light in the middle of the Moon's disc; `None` when it is off the frame.
    pub(crate) moon_level: Option<[f32; 3]>,
    /// Fraction of cells around the Sun with clipped light.
    pub(crate) clipped: f64,
    /// Luminance around the Sun for registration, `NaN` where it cannot be used; nothing when not asked for.
    pub(crate) picture: Option<LinearImage>,
    /// Width and height of the frame.
    pub(crate) size: [usize; 2],
    /// Places where one channel stands out.
    pub(crate) specks: Specks,
}

/// Sun-centred sampling grids on the canvas.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Grids {
    /// Sun on the canvas.
    pub(crate) sun: [f64; 2],
    /// Pitch of the photometric grid in canvas pixels.
    pub(crate) cell_px: f64,
    /// Pixels of the registration picture on a side.
    pub(crate) side: usize,
    /// Canvas pixels per pixel of the registration picture.
    pub(crate) pitch_px: f64,
}

impl Grids {
    /// Grids for a Sun of `radius_px` with `side` pixels of registration picture.
    pub(crate) fn new(sun: [f64; 2], radius_px: f64, side: usize) -> Self {
        Self {
            sun,
            cell_px: 2.0 * GRID_HALF_RADII * radius_px / CELLS as f64,
            side,
            pitch_px: (2.0 * PICTURE_HALF_RADII * radius_px / side as f64).max(1.0),
        }
    }

    /// Distance of a cell's centre from the Sun's, in canvas pixels.
    pub(crate) fn cell_offset(&self, column: usize, row: usize) -> [f64; 2] {
        let along = |i: usize| (i as f64 + 0.5 - CELLS as f64 / 2.0) * self.cell_px;
        [along(column), along(row)]
    }

    /// Distance of a registration pixel from the Sun, in canvas pixels.
    pub(crate) fn pixel_offset(&self, x: f64, y: f64) -> [f64; 2] {
        let along = |i: f64| (i - (self.side as f64 - 1.0) / 2.0) * self.pitch_px;
        [along(x), along(y)]
    }
}

/// Distance of a cell's centre from the Sun's, in solar radii.
pub(crate) fn cell_radii(cell: usize) -> f64 {
    let along = |i: usize| (i as f64 + 0.5) / CELLS as f64 - 0.5;
    2.0 * GRID_HALF_RADII * along(cell % CELLS).hypot(along(cell / CELLS))
}

/// Looks at one frame. `moon` is in the frame's own pixels, its centre known to `sigma_px`; `pictured` asks for
/// the registration picture.
pub(crate) fn survey(
    frame: &Frame,
    place: &Placement,
    moon: &Circle,
    sigma_px: f64,
    grids: &Grids,
    pictured: bool,
) -> Survey {
    let (cells, clipped) = cells(frame, place, moon, grids);
    Survey {
        cells,
        clipped,
        moon_level: moon_level(frame, moon),
        picture: pictured.then(|| picture(frame, place, moon, sigma_px, grids)),
        size: [frame.width(), frame.height()],
        specks: hot::specks(frame),
    }
}

/// Means over square cells, and the clipped fraction.
fn cells(frame: &Frame, place: &Placement, moon: &Circle, grids: &Grids) -> (Vec<[f32; 3]>, f64) {
    let mut out = Vec::with_capacity(CELLS * CELLS);
    let (mut seen, mut over) = (0_usize, 0_usize);
    for row in 0..CELLS {
        for column in 0..CELLS {
            let [dx, dy] = grids.cell_offset(column, row);
            let centre = [grids.sun[0] + dx, grids.sun[1] + dy];
            let (mean, clipped) = patch(frame, place, centre, grids.cell_px, CELL_SAMPLES);
            seen += usize::from(mean.is_some());
            over += usize::from(clipped);
            let [fx, fy] = place.to_frame(centre[0], centre[1]);
            let clear = clear_of(moon, fx, fy, LIMB_MARGIN, 0.75 * grids.cell_px);
            out.push(match mean {
                Some(mean) if clear && !clipped => mean,
                _ => [f32::NAN; 3],
            });
        }
    }
    (out, over as f64 / seen.max(1) as f64)
}

impl Survey {
    /// Turns the cells about the Sun and moves them, as the frame turned out to lie: what was `R d + shift` is now at `d`.
    pub(crate) fn turn_cells(&mut self, turn_rad: f64, shift_px: [f64; 2], grids: &Grids) {
        let (sin, cos) = turn_rad.sin_cos();
        let index = |offset: f64| offset / grids.cell_px - 0.5 + CELLS as f64 / 2.0;
        let at = |[x, y]: [f64; 2]| -> [f32; 3] {
            let last = (CELLS - 1) as f64;
            if !(x >= 0.0 && y >= 0.0 && x < last && y < last) {
                return [f32::NAN; 3];
            }
            let (i, j) = (x as usize, y as usize);
            let (fx, fy) = ((x - i as f64) as f32, (y - j as f64) as f32);
            let cell = |i: usize, j: usize| self.cells[j * CELLS + i];
            let (a, b, c, d) = (
                cell(i, j),
                cell(i + 1, j),
                cell(i, j + 1),
                cell(i + 1, j + 1),
            );
            // A cell that cannot be used spoils what is made with it, as it should.
            std::array::from_fn(|k| {
                let (top, low) = (a[k] + (b[k] - a[k]) * fx, c[k] + (d[k] - c[k]) * fx);
                top + (low - top) * fy
            })
        };
        let turned = (0..CELLS * CELLS).map(|n| {
            let [dx, dy] = grids.cell_offset(n % CELLS, n / CELLS);
            at([
                index(dx * cos - dy * sin + shift_px[0]),
                index(dx * sin + dy * cos + shift_px[1]),
            ])
        });
        self.cells = turned.collect();
    }
}

/// Whether a place is beyond `times` the Moon's radius and `off_px` more.
fn clear_of(moon: &Circle, x: f64, y: f64, times: f64, off_px: f64) -> bool {
    (x - moon.x_px).hypot(y - moon.y_px) > moon.radius_px * times + off_px
}

/// Mean over `n` by `n` nearest samples of a canvas square; `None` when part of it is off the frame; and whether any
/// sample is clipped.
fn patch(
    frame: &Frame,
    place: &Placement,
    centre: [f64; 2],
    side_px: f64,
    n: usize,
) -> (Option<[f32; 3]>, bool) {
    let (mut sum, mut clipped) = ([0.0_f32; 3], false);
    for j in 0..n {
        for i in 0..n {
            let along = |k: usize| ((k as f64 + 0.5) / n as f64 - 0.5) * side_px;
            let [fx, fy] = place.to_frame(centre[0] + along(i), centre[1] + along(j));
            let Some([x, y]) = inside(frame, fx, fy) else {
                return (None, clipped);
            };
            let rgb = frame.rgb(x, y);
            clipped |= rgb.iter().any(|v| is_clipped(*v));
            for (sum, v) in sum.iter_mut().zip(rgb) {
                *sum += v;
            }
        }
    }
    (Some(sum.map(|s| s / (n * n) as f32)), clipped)
}

/// Nearest pixel, when it is on the frame.
fn inside(frame: &Frame, x: f64, y: f64) -> Option<[usize; 2]> {
    let (x, y) = (x.round(), y.round());
    let ok = x >= 0.0 && y >= 0.0 && x < frame.width() as f64 && y < frame.height() as f64;
    ok.then_some([x as usize, y as usize])
}

/// Whether decoded light stands for a coded value at the top.
pub(crate) fn is_clipped(light: f32) -> bool {
    light >= FULL_IN_MERGE
}

/// Per-channel median over the inner half of the Moon's disc.
fn moon_level(frame: &Frame, moon: &Circle) -> Option<[f32; 3]> {
    const STEPS: i32 = 24;
    let mut values: [Vec<f32>; 3] = Default::default();
    for j in -STEPS..=STEPS {
        for i in -STEPS..=STEPS {
            let at = |k: i32| 0.5 * moon.radius_px * f64::from(k) / f64::from(STEPS);
            if i * i + j * j > STEPS * STEPS {
                continue;
            }
            let [x, y] = inside(frame, moon.x_px + at(i), moon.y_px + at(j))?;
            for (list, v) in values.iter_mut().zip(frame.rgb(x, y)) {
                list.push(v);
            }
        }
    }
    Some(values.map(|mut list| upper_median(&mut list).unwrap_or(0.0)))
}

/// The registration picture: luminance at the grid's pitch, between pixels by bilinear interpolation. Nearest pixels
/// would not do: they can shift a whole picture by half a pixel.
fn picture(
    frame: &Frame,
    place: &Placement,
    moon: &Circle,
    sigma_px: f64,
    grids: &Grids,
) -> LinearImage {
    let reduced = Reduced::around(frame, place, grids);
    let limb_px = 2.0 * grids.pitch_px + 4.0 * sigma_px + 2.0;
    let mut out = LinearImage::new(grids.side, grids.side);
    for y in 0..grids.side {
        for (x, value) in out.row_mut(y).iter_mut().enumerate() {
            let [dx, dy] = grids.pixel_offset(x as f64, y as f64);
            let [fx, fy] = place.to_frame(grids.sun[0] + dx, grids.sun[1] + dy);
            *value = if clear_of(moon, fx, fy, 1.01, limb_px) {
                reduced.at(fx, fy)
            } else {
                f32::NAN
            };
        }
    }
    out
}

/// Luminance of the frame around the Sun in blocks about as wide as the registration pitch.
struct Reduced {
    block: usize,
    origin: [usize; 2],
    light: LinearImage,
}

impl Reduced {
    fn around(frame: &Frame, place: &Placement, grids: &Grids) -> Self {
        let scale = place.scale();
        let block = ((grids.pitch_px * scale).round() as usize).clamp(1, 12);
        let [x, y] = place.frame_centre();
        // Turned by 45 degrees the square grid reaches this far along an axis.
        let half = grids.pitch_px * scale * grids.side as f64 * std::f64::consts::FRAC_1_SQRT_2;
        let rect = frame.clip(x, y, half + 2.0 * block as f64).unwrap_or(Rect {
            x: 0,
            y: 0,
            width: 0,
            height: 0,
        });
        let codes = Codes::of(frame);
        let mut light = LinearImage::new(rect.width / block, rect.height / block);
        for j in 0..light.height() {
            for (i, value) in light.row_mut(j).iter_mut().enumerate() {
                let corner = [rect.x + i * block, rect.y + j * block];
                *value = match &codes {
                    Some(codes) => codes.block_luminance(corner, block),
                    None => block_luminance(frame, corner, block),
                };
            }
        }
        Self {
            block,
            origin: [rect.x, rect.y],
            light,
        }
    }

    /// Luminance at a place of the frame; `NaN` off the picture or beside clipped light.
    fn at(&self, fx: f64, fy: f64) -> f32 {
        let along = |v: f64, from: usize| (v - from as f64 + 0.5) / self.block as f64 - 0.5;
        let (x, y) = (along(fx, self.origin[0]), along(fy, self.origin[1]));
        let (width, height) = (self.light.width() as f64, self.light.height() as f64);
        if !(x >= 0.0 && y >= 0.0 && x + 1.0 < width && y + 1.0 < height) {
            return f32::NAN;
        }
        let (i, j) = (x as usize, y as usize);
        let (tx, ty) = ((x - i as f64) as f32, (y - j as f64) as f32);
        let across = |j: usize| {
            let (a, b) = (self.light.at(i, j), self.light.at(i + 1, j));
            a + (b - a) * tx
        };
        let (top, low) = (across(j), across(j + 1));
        top + (low - top) * ty
    }
}

/// Mean luminance of a block; `NaN` when any of it is clipped.
fn block_luminance(frame: &Frame, [x0, y0]: [usize; 2], block: usize) -> f32 {
    let mut sum = 0.0_f32;
    for y in y0..y0 + block {
        for x in x0..x0 + block {
            let rgb = frame.rgb(x, y);
            if rgb.iter().any(|v| is_clipped(*v)) {
                return f32::NAN;
            }
            sum += WEIGHTS[0] * rgb[0] + WEIGHTS[1] * rgb[1] + WEIGHTS[2] * rgb[2];
        }
    }
    sum / (block * block) as f32
}

/// Shares of red, green and blue in luminance (ITU-R BT.709-6).
const WEIGHTS: [f32; 3] = [0.2126, 0.7152, 0.0722];

/// A colour frame of eight bits, for reading many of its pixels.
struct Codes<'a> {
    width: usize,
    codes: &'a [u8],
    /// What each code of a channel adds to luminance.
    shares: [[f32; 256]; 3],
    /// The first code that is clipped.
    clipped: u8,
}

impl<'a> Codes<'a> {
    /// `None` for frames of another kind.
    fn of(frame: &'a Frame) -> Option<Self> {
        let Samples::U8(codes) = frame.samples() else {
            return None;
        };
        let light = |code: usize| frame.transfer().light(code as f32 / 255.0);
        let clipped = (0..=255_u8).find(|code| is_clipped(light(usize::from(*code))))?;
        (frame.channels() == 3).then(|| Self {
            width: frame.width(),
            codes,
            shares: WEIGHTS.map(|weight| std::array::from_fn(|code| weight * light(code))),
            clipped,
        })
    }

    /// The same as [`block_luminance`].
    fn block_luminance(&self, [x0, y0]: [usize; 2], block: usize) -> f32 {
        let [red, green, blue] = &self.shares;
        let mut sum = 0.0_f32;
        for y in y0..y0 + block {
            let row = &self.codes[3 * (y * self.width + x0)..][..3 * block];
            for rgb in row.as_chunks::<3>().0 {
                if rgb[0].max(rgb[1]).max(rgb[2]) >= self.clipped {
                    return f32::NAN;
                }
                let [r, g, b] = rgb.map(usize::from);
                sum += red[r] + green[g] + blue[b];
            }
        }
        sum / (block * block) as f32
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::raster::Transfer;

    #[test]
    fn codes_say_what_the_frame_says() {
        let (width, height) = (40, 30);
        for transfer in [Transfer::Srgb, Transfer::Linear] {
            let code = |i: usize| (i * 31 % 251) as u8;
            let values: Vec<u8> = (0..width * height * 3).map(code).collect();
            let frame = Frame::new(width, height, 3, Samples::U8(values), transfer);
            let codes = Codes::of(&frame).unwrap();
            let mut seen = 0;
            for (x, y) in (0..36).flat_map(|x| (0..26).map(move |y| (x, y))) {
                for block in [1, 4] {
                    let due = block_luminance(&frame, [x, y], block);
                    let got = codes.block_luminance([x, y], block);
                    assert_eq!(got.to_bits(), due.to_bits(), "{x} {y} {block}");
                    seen += usize::from(due.is_finite());
                }
            }
            assert!(seen > 100, "{seen}");
        }
    }
}
