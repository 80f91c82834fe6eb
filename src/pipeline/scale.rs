//! How bright the corona is against the Sun's own disc, from the card's filtered frames.

use super::light::{self, Lit};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::saturation::FULL_IN_SCALING;
use crate::domain::{Circle, Flag, Limb, Notice, upper_median};
use crate::ephemeris::air_mass;
use crate::merge::{self, Merged};
use crate::model::discs::scale_key;
use crate::raster::Channel;

/// Filtered frames measured.
const FRAMES: usize = 12;

/// Most of the Sun that may be covered in them: the Moon hides more of the dark limb than of the bright middle.
const MOST_COVERED: f64 = 0.25;

/// The disc is measured within this share of its radius; the limb itself is blurred. The rim left out is 4 % of the area at
/// about half the mean brightness (limb darkening), which moves the mean by 2 %.
const WITHIN: f64 = 0.98;

/// The Moon's limb is kept away from by this share of the Sun's radius.
const CLEAR_OF_MOON: f64 = 0.03;

/// Factor from the map's unit to the mean brightness of the solar disc.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct InSolarDiscs {
    /// The factor: what the frames say for the height at which totality stood.
    pub(crate) factor: f64,
    /// Frames it is from.
    pub(crate) frames: usize,
    /// Middle departure of a frame from that, as a fraction.
    pub(crate) spread: f64,
}

/// Measures the filtered Sun on frames of the merged scale, taken through a filter of optical `density`. `None`, with a notice,
/// where the card has no such frame.
pub(crate) fn in_solar_discs(
    catalogue: &Catalogue,
    merged: &Merged,
    merged_from: &ShotRecord,
    density: f64,
    notices: &mut Vec<Notice>,
) -> Option<InSolarDiscs> {
    let points = filtered_suns(catalogue, merged, merged_from, density);
    let Some((log_factor, spread)) = through_air(&points, air_of(merged_from)) else {
        notices.push(Notice::look(
            "no unit of brightness for the corona: no filtered frame of the same lens shows most of the Sun, unclipped and without cloud",
        ));
        return None;
    };
    Some(InSolarDiscs {
        factor: log_factor.exp(),
        frames: points.len(),
        spread,
    })
}

/// What an air mass dimmed on the day, as a natural logarithm, and the filtered frames it is from; `None` where they do not
/// tell.
pub(crate) fn dimming_per_air_mass(
    catalogue: &Catalogue,
    merged: &Merged,
    merged_from: &ShotRecord,
) -> Option<(f64, usize)> {
    /// Slopes between frames that are enough for their middle to stand against a spoilt frame or two.
    const ENOUGH: usize = 6;
    let points = filtered_suns(catalogue, merged, merged_from, 0.0);
    let mut slopes = slopes(&points);
    let enough = slopes.len() >= ENOUGH;
    let slope = upper_median(&mut slopes).filter(|s| enough && (0.0..=MOST_DIMMING).contains(s))?;
    Some((slope, points.len()))
}

/// Air mass, and logarithm of the factor from the map's unit to solar discs, of the card's best filtered frames of the merged
/// scale.
fn filtered_suns(
    catalogue: &Catalogue,
    merged: &Merged,
    merged_from: &ShotRecord,
    density: f64,
) -> Vec<(f64, f64)> {
    let key = scale_key(&merged_from.shot);
    let mut records: Vec<&ShotRecord> = catalogue
        .shots
        .iter()
        .filter(|r| scale_key(&r.shot) == key && is_filtered_sun(r))
        .collect();
    records.sort_by(|a, b| {
        let rank = |r: &ShotRecord| r.quality.unwrap_or(0.0);
        rank(b).total_cmp(&rank(a))
    });
    let records = records.into_iter().take(FRAMES).cloned().collect();
    light::of(records, &mut Vec::new())
        .iter()
        .filter_map(|lit| {
            let level = disc_level(lit, merged)?;
            let factor =
                merge::solar_disc_factor(merged, level, &lit.record.shot.exposure, density)?;
            Some((air_of(&lit.record), factor.ln()))
        })
        .collect()
}

/// Air the Sun's light came through; 1 where the height is not known.
fn air_of(record: &ShotRecord) -> f64 {
    let sky = record.predicted;
    sky.map_or(1.0, |sky| air_mass(sky.sun_alt_deg))
}

/// Air masses that the frames must span for the air's share to be taken from them.
const LEAST_SPAN: f64 = 0.3;

/// Most that an air mass dims, as a logarithm: half a magnitude is thick haze (common practice).
const MOST_DIMMING: f64 = 0.5;

/// The logarithm of the factor at an air mass, and the middle departure from it, from (air mass, logarithm) of each frame:
/// each air mass dims by the same share (Bouguer's law), found as the middle of the slopes between the frames (P. K. Sen 1968,
/// "Estimates of the regression coefficient based on Kendall's tau", J. Am. Stat. Assoc. 63, 1379). `None` without a frame.
fn through_air(points: &[(f64, f64)], wanted: f64) -> Option<(f64, f64)> {
    let slope = upper_median(&mut slopes(points)).map_or(0.0, |s| s.clamp(0.0, MOST_DIMMING));
    let mut level: Vec<f64> = points
        .iter()
        .map(|(x, y)| y + slope * (wanted - x))
        .collect();
    let at = upper_median(&mut level)?;
    let apart = upper_median(&mut level.iter().map(|l| (l - at).abs()).collect::<Vec<f64>>())?;
    Some((at, apart.exp_m1()))
}

/// Slopes between the frames that are enough air apart.
fn slopes(points: &[(f64, f64)]) -> Vec<f64> {
    let mut out = Vec::new();
    for (i, a) in points.iter().enumerate() {
        for b in &points[i + 1..] {
            if (a.0 - b.0).abs() > LEAST_SPAN {
                out.push((a.1 - b.1) / (a.0 - b.0));
            }
        }
    }
    out
}

fn is_filtered_sun(record: &ShotRecord) -> bool {
    let sun = record
        .disc
        .is_some_and(|d| d.limb == Limb::Sun && d.sun.is_some());
    let spoilt = [
        Flag::Clouded,
        Flag::Clipped,
        Flag::Cut,
        Flag::Flare,
        Flag::Approximate,
    ];
    let whole = record
        .predicted
        .is_some_and(|p| p.obscuration <= MOST_COVERED);
    sun && whole && !spoilt.iter().any(|flag| record.flags.has(*flag))
}

/// Mean light of the bare disc, the tone curve recovered from the brackets undone; `None` when much of it is near saturation.
fn disc_level(lit: &Lit, merged: &Merged) -> Option<f64> {
    let fit = lit.record.disc?;
    let frame = lit.open().ok()?;
    let (sun, moon) = (lit.circle(fit.sun?), fit.moon.map(|c| lit.circle(c)));
    let rect = frame.clip(sun.x_px, sun.y_px, sun.radius_px)?;
    let (mut sum, mut count, mut full) = (0.0, 0_usize, 0_usize);
    for y in rect.y..rect.y + rect.height {
        for x in rect.x..rect.x + rect.width {
            let from = |c: &Circle| (x as f64 - c.x_px).hypot(y as f64 - c.y_px);
            let covered = moon
                .as_ref()
                .is_some_and(|m| from(m) < m.radius_px + CLEAR_OF_MOON * sun.radius_px);
            if covered || from(&sun) > WITHIN * sun.radius_px {
                continue;
            }
            let rgb = frame.rgb(x, y);
            full += usize::from(frame.value(x, y, Channel::Max) > FULL_IN_SCALING);
            let [r, g, b] = std::array::from_fn(|c| {
                f64::from(merged.response.light((rgb[c] - merged.black[c]).max(0.0)))
            });
            // Luminance (ITU-R BT.709-6): a filter's density is given for white light.
            sum += 0.2126 * r + 0.7152 * g + 0.0722 * b;
            count += 1;
        }
    }
    (count > 0 && full * 100 < count).then(|| sum / count as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_at_other_heights_are_brought_to_totalitys() {
        let at = |x: f64| (x, 3.0 + 0.12 * x);
        let (level, apart) = through_air(&[at(2.0), at(2.5), at(6.0), (2.2, 9.0)], 4.0).unwrap();
        assert!((level - at(4.0).1).abs() < 1e-9, "{level}");
        assert!(apart < 1e-9);
        // Too little span to tell the air's share, and none at all.
        assert!((through_air(&[at(2.0), at(2.1)], 4.0).unwrap().0 - at(2.1).1).abs() < 1e-9);
        assert!(through_air(&[], 4.0).is_none());
    }
}
