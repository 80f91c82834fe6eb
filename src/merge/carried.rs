//! Whether the frames carry what a layer is to show: earthshine, chromosphere, fine structure.

use super::blur::blur;
use super::light::luminance;
use super::stack::Stack;
use super::{LimbLight, Merged};
use crate::domain::{Circle, upper_median};

/// Why a layer is not made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotCarried {
    /// Nothing can be compared.
    #[error("one frame alone shows it, so that nothing tells structure from noise")]
    OneFrame,
    /// Two halves of the frames disagree.
    #[error(
        "two halves of the frames do not agree on what is to be seen there (correlation {found:.2}, {least:.2} needed)"
    )]
    Disagree {
        /// Correlation found.
        found: f64,
        /// Correlation needed.
        least: f64,
    },
    /// No light where the layer has its subject.
    #[error("no frame shows the place")]
    Nothing,
    /// All frames are clipped there.
    #[error(
        "{:.0} % of the limb is clipped in every frame near the contact ({:.0} % allowed)",
        100.0 * found,
        100.0 * most
    )]
    Clipped {
        /// Part of the limb found clipped.
        found: f64,
        /// Most that is allowed.
        most: f64,
    },
    /// The limb is no redder than the corona.
    #[error(
        "the limb is hardly redder than the corona above it ({found:.2} times at the reddest places, {least:.2} needed)"
    )]
    NotRed {
        /// Red over green at the reddest hundredth of the limb, over that of the corona.
        found: f64,
        /// Needed.
        least: f64,
    },
    /// Noise is a large part of what is seen.
    #[error(
        "noise makes {:.0} % of the differences between neighbouring places ({:.0} % allowed)",
        100.0 * found,
        100.0 * most
    )]
    Noise {
        /// Part of the spread along rings that pixels side by side do not share.
        found: f64,
        /// Most that is allowed.
        most: f64,
    },
}

/// Correlation of the two halves from which the Moon's face is believed: chance reaches 0.13 (one sigma of some sixty
/// independent places).
const FACE_AGREES: f64 = 0.6;

/// The part of the Moon's disc that is compared, in lunar radii: light of the corona strays over its rim.
const FACE_RADII: f64 = 0.75;

/// Whether the face is there to be shown.
pub(super) fn face(merged: &Merged) -> Result<(), NotCarried> {
    match merged.face_agreement {
        None => Err(NotCarried::OneFrame),
        Some(found) if found < FACE_AGREES => Err(NotCarried::Disagree {
            found,
            least: FACE_AGREES,
        }),
        Some(_) => Ok(()),
    }
}

/// Correlation of two stacks of the Moon's face, the even part, the fall from the limb and the grain taken off both.
pub(super) fn face_agreement(halves: &[Stack; 2], moon: &Circle) -> Option<f64> {
    let [one, other] = halves.each_ref().map(|half| markings(half, moon));
    let (one, other) = (one?, other?);
    let pairs: Vec<[f64; 2]> = one
        .iter()
        .zip(&other)
        .filter_map(|(a, b)| Some([(*a)?, (*b)?]))
        .collect();
    (pairs.len() > 100).then(|| correlation(&pairs))
}

fn correlation(pairs: &[[f64; 2]]) -> f64 {
    let n = pairs.len() as f64;
    let mean = [0, 1].map(|k| pairs.iter().map(|p| p[k]).sum::<f64>() / n);
    let moment = |a: usize, b: usize| -> f64 {
        pairs
            .iter()
            .map(|p| (p[a] - mean[a]) * (p[b] - mean[b]))
            .sum()
    };
    moment(0, 1) / (moment(0, 0) * moment(1, 1)).sqrt().max(f64::MIN_POSITIVE)
}

/// What stands out on the face at a twelfth of a radius or so; `None` outside the part compared.
fn markings(half: &Stack, moon: &Circle) -> Option<Vec<Option<f64>>> {
    /// Blurs in lunar radii: grain is finer, stray light wider.
    const GRAIN_RADII: f64 = 1.0 / 16.0;
    const WIDE_RADII: f64 = 0.25;
    let area = half.area();
    let places: Vec<[usize; 2]> = (area.y..area.y + area.height)
        .flat_map(|y| (area.x..area.x + area.width).map(move |x| [x, y]))
        .collect();
    let radii =
        |[x, y]: [usize; 2]| (x as f64 - moon.x_px).hypot(y as f64 - moon.y_px) / moon.radius_px;
    let lit = |p: [usize; 2]| half.at(p[0], p[1]).1 > 0.0 && radii(p) < 0.95;
    let mask: Vec<f32> = places.iter().map(|&p| f32::from(lit(p))).collect();
    let inner = places.iter().zip(&mask);
    let (seen, all) = inner.fold((0, 0), |(seen, all), (&p, m)| {
        let counted = radii(p) < FACE_RADII;
        (
            seen + usize::from(counted && *m > 0.0),
            all + usize::from(counted),
        )
    });
    if seen < all * 9 / 10 || seen < 100 {
        return None;
    }
    let rings = ring_means(&places, &mask, &radii, half);
    let flat: Vec<f32> = places
        .iter()
        .zip(&mask)
        .map(|(&p, m)| m * (luminance(half.at(p[0], p[1]).0) - rings[(radii(p) * 20.0) as usize]))
        .collect();
    let smoothed = |sigma_radii: f64| {
        let sigma = (sigma_radii * moon.radius_px).max(2.0);
        let over = blur(&flat, area.width, sigma);
        let under = blur(&mask, area.width, sigma);
        over.into_iter()
            .zip(under)
            .map(|(o, u)| if u > 1e-3 { o / u } else { 0.0 })
            .collect::<Vec<f32>>()
    };
    let (fine, wide) = (smoothed(GRAIN_RADII), smoothed(WIDE_RADII));
    let kept = places.iter().zip(fine).zip(wide);
    Some(
        kept.map(|((&p, fine), wide)| (radii(p) < FACE_RADII).then(|| f64::from(fine - wide)))
            .collect(),
    )
}

/// Mean light in rings of a twentieth of a radius about the Moon's centre.
fn ring_means(
    places: &[[usize; 2]],
    mask: &[f32],
    radii: &dyn Fn([usize; 2]) -> f64,
    half: &Stack,
) -> [f32; 64] {
    let (mut sum, mut count) = ([0.0_f64; 64], [0.0_f64; 64]);
    for (&p, m) in places.iter().zip(mask) {
        let ring = ((radii(p) * 20.0) as usize).min(63);
        sum[ring] += f64::from(m * luminance(half.at(p[0], p[1]).0));
        count[ring] += f64::from(*m);
    }
    std::array::from_fn(|k| (sum[k] / count[k].max(1.0)) as f32)
}

/// Most of the limb that may be clipped.
const MOST_CLIPPED: f64 = 0.5;

/// Times redder than the corona that the reddest hundredth of the limb must be: subsampled colour and the sky make some
/// tenths (our choice).
const REDDER: f64 = 1.3;

/// Solar radii of the limb's own light, and of the corona it is compared with.
const LIMB_RADII: [f64; 2] = [1.0, 1.06];
const CORONA_RADII: [f64; 2] = [1.10, 1.16];

/// Whether a chromosphere or prominences are there: unclipped light beside the limb that is redder than the corona.
/// `good` tells whether a place of the canvas has light that is not clipped.
pub(super) fn chromosphere(
    part: &LimbLight,
    good: &dyn Fn(usize, usize) -> bool,
    sun: &Circle,
) -> Result<(), NotCarried> {
    let (mut seen, mut clipped) = (0.0, 0.0);
    let (mut limb, mut corona) = (Vec::new(), Vec::new());
    for y in 0..part.light.height() {
        for x in 0..part.light.width() {
            let [r, g, _] = part.light.at(x, y);
            let (x, y) = (x + part.left_px, y + part.top_px);
            let at = (x as f64 - sun.x_px).hypot(y as f64 - sun.y_px) / sun.radius_px;
            let among = |[from, to]: [f64; 2]| (from..to).contains(&at);
            if !(r > 0.0 && g > 0.0) {
                continue;
            }
            let good = good(x, y);
            if among(LIMB_RADII) {
                seen += 1.0;
                clipped += f64::from(u8::from(!good));
            }
            if good && among(LIMB_RADII) {
                limb.push(r / g);
            } else if good && among(CORONA_RADII) {
                corona.push(r / g);
            }
        }
    }
    if seen < 20.0 {
        return Err(NotCarried::Nothing);
    }
    let found = clipped / seen;
    if found > MOST_CLIPPED || corona.len() < 20 {
        return Err(NotCarried::Clipped {
            found,
            most: MOST_CLIPPED,
        });
    }
    let ranked = |list: &mut Vec<f32>, part: f64| {
        list.sort_unstable_by(f32::total_cmp);
        f64::from(list[((list.len() - 1) as f64 * part) as usize])
    };
    let found = ranked(&mut limb, 0.99) / ranked(&mut corona, 0.5);
    if found < REDDER {
        return Err(NotCarried::NotRed {
            found,
            least: REDDER,
        });
    }
    Ok(())
}

/// Most of the differences along a ring that noise may make (our choice: rays finer than the steps look like noise to this
/// measure, so only what is nearly all noise is refused).
const MOST_NOISE: f64 = 0.75;

/// Solar radii between which fine structure is looked for.
const FINE_RADII: [f64; 2] = [1.3, 2.2];

/// Whether there is fine structure to show: along rings, what neighbouring places share beside what they do not.
pub(super) fn fine_structure(merged: &Merged) -> Result<(), NotCarried> {
    let used = merged.frames.iter().filter(|f| f.left_out.is_none());
    if used.count() < 2 {
        return Err(NotCarried::OneFrame);
    }
    let radius = merged.sun.radius_px;
    // Grain of finished pictures is some pixels wide.
    let apart_px = (radius / 60.0).clamp(2.0, 6.0);
    let mut shares: Vec<f64> = (0..18)
        .filter_map(|k| {
            let part = f64::from(k) / 17.0;
            let r = radius * (FINE_RADII[0] + (FINE_RADII[1] - FINE_RADII[0]) * part);
            noise_share(&along_ring(merged, r, apart_px)?)
        })
        .collect();
    let found = upper_median(&mut shares).ok_or(NotCarried::Nothing)?;
    if found > MOST_NOISE {
        return Err(NotCarried::Noise {
            found,
            most: MOST_NOISE,
        });
    }
    Ok(())
}

/// Natural logarithm of light along a ring at even steps; `None` where the ring leaves the lit canvas.
fn along_ring(merged: &Merged, r_px: f64, step_px: f64) -> Option<Vec<f64>> {
    let count = (2.0 * std::f64::consts::PI * r_px / step_px) as usize;
    (0..count)
        .map(|k| {
            let (sin, cos) = (2.0 * std::f64::consts::PI * k as f64 / count as f64).sin_cos();
            let (x, y) = (
                (merged.sun.x_px + r_px * cos).round(),
                (merged.sun.y_px + r_px * sin).round(),
            );
            let map = &merged.radiance;
            let on = x >= 0.0 && y >= 0.0 && x < map.width() as f64 && y < map.height() as f64;
            let light = on.then(|| luminance(map.at(x as usize, y as usize)))?;
            (light > 0.0).then(|| f64::from(light).ln())
        })
        .collect()
}

/// Part of the spread over a fifteenth of the ring that second differences of neighbours make, which noise has and the
/// corona has not.
fn noise_share(logs: &[f64]) -> Option<f64> {
    let (n, window) = (logs.len(), logs.len() / 15);
    if window < 6 {
        return None;
    }
    let at = |i: usize| logs[i % n];
    let second: f64 = (0..n)
        .map(|i| (2.0 * at(i + 1) - at(i) - at(i + 2)).powi(2) / 6.0)
        .sum();
    let spread: f64 = (0..n)
        .map(|i| {
            let mean = (i..i + window).map(at).sum::<f64>() / window as f64;
            (at(i + window / 2) - mean).powi(2)
        })
        .sum();
    Some((second / spread.max(f64::MIN_POSITIVE)).min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grain_is_noise_and_rays_are_not() {
        let rays: Vec<f64> = (0..600).map(|i| (f64::from(i) * 0.13).sin()).collect();
        let grain: Vec<f64> = (0..600_u32)
            .map(|i| f64::from(i.wrapping_mul(2_654_435_761) >> 16) / 65_536.0)
            .collect();
        assert!(noise_share(&rays).unwrap() < 0.05);
        assert!(noise_share(&grain).unwrap() > 0.8);
    }

    #[test]
    fn like_pictures_correlate() {
        let pairs: Vec<[f64; 2]> = (0..50)
            .map(|i| [f64::from(i), f64::from(2 * i + 7)])
            .collect();
        assert!((correlation(&pairs) - 1.0).abs() < 1e-9);
    }
}
