//! What is settled before any frame is opened.

use std::sync::Arc;

use super::place::{Placement, Sky, centre};
use super::survey::Grids;
use super::{MIN_RADIUS_PX, MergeError, MergeInput, MergeOptions};
use crate::domain::{Circle, true_stops, upper_median};
use crate::raster::Frame;

/// Moon's radii that differ by more than this from the reference's mean another scale of picture.
const SAME_SCALE: f64 = 0.02;

/// Opens the frame of an input by its index; shared, so that frames that are held already are lent rather than copied.
pub(super) type Open<'a> = &'a (dyn Fn(usize) -> Result<Arc<Frame>, String> + Sync);

/// What is settled before any frame is opened. Positions in its lists are those of `indices`.
pub(super) struct Job<'a> {
    pub(super) indices: Vec<usize>,
    pub(super) inputs: Vec<&'a MergeInput>,
    pub(super) stops: Vec<Option<f64>>,
    /// Position of the input whose instant and lie the canvas has.
    pub(super) reference: usize,
    pub(super) sky: Sky,
    /// From a canvas with the Sun at (0, 0) to each frame, by the circles given.
    pub(super) places: Vec<Placement>,
    pub(super) grids: Grids,
}

impl<'a> Job<'a> {
    pub(super) fn new(inputs: &'a [MergeInput], usable: &[usize], options: &MergeOptions) -> Self {
        let picked: Vec<&MergeInput> = usable.iter().map(|&i| &inputs[i]).collect();
        let north = common_north(&picked);
        let skies: Vec<Sky> = picked.iter().map(|i| sky(i, north)).collect();
        let asked = options
            .instant
            .and_then(|wanted| usable.iter().position(|&i| i == wanted));
        let reference = asked.unwrap_or_else(|| middle_of_the_way(&picked, &skies));
        let reference_radius = picked[reference].moon.radius_px;
        let places = picked
            .iter()
            .zip(&skies)
            .map(|(input, &own)| {
                let ratio = input.moon.radius_px / reference_radius;
                let scale = if (ratio - 1.0).abs() > SAME_SCALE {
                    ratio
                } else {
                    1.0
                };
                Placement::new([0.0; 2], skies[reference], centre(&input.sun), own, scale)
                    .flattened(input.flattened)
            })
            .collect();
        let radius = picked[reference].sun.radius_px;
        Self {
            indices: usable.to_vec(),
            stops: picked.iter().map(|i| true_stops(&i.exposure)).collect(),
            sky: skies[reference],
            reference,
            places,
            grids: Grids::new([0.0; 2], radius, picture_side(radius, usable.len())),
            inputs: picked,
        }
    }

    pub(super) fn len(&self) -> usize {
        self.inputs.len()
    }

    pub(super) fn sigma_px(&self, i: usize) -> f64 {
        let sigma = self.inputs[i].sun_sigma_px;
        if sigma.is_finite() && sigma > 0.0 {
            sigma
        } else {
            0.5
        }
    }
}

impl Job<'_> {
    /// Share of the Sun's variance that is the limb's own: so much of a shift of the Sun is one of the Moon too, the rest one
    /// of the vector between them.
    pub(super) fn moon_share(&self, i: usize) -> f64 {
        let own = self.inputs[i].moon_sigma_px;
        let known = own.is_finite() && own > 0.0;
        if known {
            (own / self.sigma_px(i)).powi(2).min(1.0)
        } else {
            1.0
        }
    }
}

/// Side of the registration pictures: fewer pixels where there are many frames to hold.
pub(super) fn picture_side(radius_px: f64, frames: usize) -> usize {
    let most = match frames {
        0..=16 => 1024,
        17..=40 => 768,
        _ => 512,
    };
    ((radius_px * 6.4 / 32.0).ceil() as usize * 32).clamp(256, most)
}

/// North of the first input that has one; 0 where none has.
pub(super) fn common_north(inputs: &[&MergeInput]) -> f64 {
    let finite = |i: &&MergeInput| i.north_deg.filter(|n| n.is_finite());
    inputs.iter().find_map(finite).unwrap_or(0.0)
}

pub(super) fn sky(input: &MergeInput, common_north: f64) -> Sky {
    Sky {
        north_deg: input
            .north_deg
            .filter(|n| n.is_finite())
            .unwrap_or(common_north),
        mirrored: input.mirrored,
    }
}

/// The input whose Moon stands nearest the middle of all Moons, seen from the Sun.
pub(super) fn middle_of_the_way(inputs: &[&MergeInput], skies: &[Sky]) -> usize {
    let level = Sky {
        north_deg: 0.0,
        mirrored: false,
    };
    let offsets: Vec<[f64; 2]> = inputs
        .iter()
        .zip(skies)
        .map(|(input, &own)| {
            Placement::new(
                [0.0; 2],
                level,
                centre(&input.sun),
                own,
                input.sun.radius_px,
            )
            .to_canvas(input.moon.x_px, input.moon.y_px)
        })
        .collect();
    let middle = [0, 1].map(|axis| median(offsets.iter().map(|o| o[axis])));
    let distance = |o: &[f64; 2]| (o[0] - middle[0]).hypot(o[1] - middle[1]);
    (0..offsets.len())
        .min_by(|&a, &b| distance(&offsets[a]).total_cmp(&distance(&offsets[b])))
        .unwrap_or(0)
}

/// Indices of inputs whose circles can be used.
pub(super) fn usable_inputs(inputs: &[MergeInput]) -> Result<Vec<usize>, MergeError> {
    if inputs.is_empty() {
        return Err(MergeError::NoTotality);
    }
    let good = |c: &Circle| {
        c.x_px.is_finite()
            && c.y_px.is_finite()
            && c.radius_px.is_finite()
            && (MIN_RADIUS_PX..1e5).contains(&c.radius_px)
            && c.x_px.abs().max(c.y_px.abs()) < 1e6
    };
    let usable: Vec<usize> = (0..inputs.len())
        .filter(|&i| good(&inputs[i].moon) && good(&inputs[i].sun))
        .collect();
    if usable.is_empty() {
        return Err(MergeError::NoDiscs(inputs.len()));
    }
    Ok(usable)
}

pub(super) fn median(values: impl Iterator<Item = f64>) -> f64 {
    upper_median(&mut values.collect::<Vec<f64>>()).unwrap_or(0.0)
}
