//! The corona for other programs of astronomy: `corona.fits`, its places on the sky told by the World Coordinate System.

use std::collections::BTreeMap;

use super::PROGRAM;
use super::light::Lit;
use crate::domain::{Circle, Utc};
use crate::ephemeris::{ARCSEC_PER_RAD, AU_KM, Radii, SolarAxis, solar_axis};
use crate::merge::Merged;
use crate::raster::{FitsCard, FitsValue};

/// What is known of a corona's place on the sky and in time.
#[derive(Clone, Debug, PartialEq)]
pub struct CoronaFrame {
    /// The Sun in pixels of the picture: x right, y down, (0, 0) the centre of the top-left pixel.
    pub sun: Circle,
    /// The Sun's angular radius as seen from the place, in seconds of arc.
    pub sun_radius_arcsec: f64,
    /// Celestial north, anticlockwise from picture up, in degrees.
    pub north_deg: f64,
    /// Whether east lies clockwise of north.
    pub mirrored: bool,
    /// Begin and length in seconds of each exposure merged.
    pub exposures: Vec<(Utc, f64)>,
}

impl CoronaFrame {
    /// From a merge, the exposures behind it and the frame at whose instant it is; `None` where its scale, its north or its time is not
    /// known.
    fn of(merged: &Merged, exposures: Vec<(Utc, f64)>, instant: &Lit) -> Option<Self> {
        Some(Self {
            sun: merged.sun,
            sun_radius_arcsec: instant.record.predicted?.sun_radius_arcsec,
            north_deg: merged.north_deg?,
            mirrored: merged.mirrored,
            exposures,
        })
    }

    /// First begin, last end and the mean of the middles; `None` without an exposure.
    fn times(&self) -> Option<[Utc; 3]> {
        let begin = self.exposures.iter().map(|(utc, _)| *utc).min()?;
        let ends = self.exposures.iter().map(|(utc, s)| utc.plus_s(*s));
        let middles = self.exposures.iter();
        let sum: f64 = middles
            .map(|(utc, s)| utc.seconds_since(begin) + 0.5 * s)
            .sum();
        let mean = begin.plus_s(sum / self.exposures.len() as f64);
        Some([begin, ends.max()?, mean])
    }
}

/// The header of a corona: helioprojective coordinates (W. T. Thompson 2006, "Coordinate systems for solar image data", Astron. Astrophys.
/// 449, 791) in the projection `TAN` (M. R. Calabretta and E. W. Greisen 2002, Astron. Astrophys. 395, 1077), times, exposures, and what a
/// value stands for, as `words` have it. `height` is the picture's, in pixels. `None` where no exposure has a time.
pub fn corona_header(frame: &CoronaFrame, height: usize, words: &str) -> Option<Vec<FitsCard>> {
    let [begin, end, mean] = frame.times()?;
    let axis = solar_axis(mean);
    let mut cards = vec![
        text("OBJECT", "Sun", "corona at a total eclipse"),
        text("CREATOR", PROGRAM, "program that wrote this"),
        text("TIMESYS", "UTC", "time scale"),
        text("DATE-OBS", &iso(begin), "first exposure begins"),
        text("DATE-AVG", &iso(mean), "mean of the exposures' middles"),
        text("DATE-END", &iso(end), "last exposure ends"),
    ];
    cards.extend(places(frame, height, axis));
    cards.extend(exposures(&frame.exposures));
    cards.push(text(
        "BTYPE",
        "relative radiance",
        "linear; not-a-number: no light measured",
    ));
    cards.extend(words.lines().map(FitsCard::comment));
    Some(cards)
}

/// Where the pixels lie: at CRPIX the Sun's centre (FITS counts pixels from 1, rows from the bottom), CDELT its scale, PC how it is turned.
fn places(frame: &CoronaFrame, height: usize, axis: SolarAxis) -> Vec<FitsCard> {
    let scale = frame.sun_radius_arcsec / frame.sun.radius_px;
    let hand = if frame.mirrored { -1.0 } else { 1.0 };
    // The axis stands east of celestial north by its position angle: anticlockwise, or clockwise in a mirror image.
    let turn = (frame.north_deg + hand * axis.position_angle_deg).to_radians();
    // Unit vectors of solar west and north, in pixels to the right and up.
    let west = [hand * turn.cos(), hand * turn.sin()];
    let north = [-turn.sin(), turn.cos()];
    let distance = distance_m(frame.sun_radius_arcsec);
    vec![
        FitsCard::new("WCSAXES", FitsValue::Whole(2), "axes"),
        text("CTYPE1", "HPLN-TAN", "helioprojective longitude, west"),
        text(
            "CTYPE2",
            "HPLT-TAN",
            "helioprojective latitude, solar north",
        ),
        text("CUNIT1", "arcsec", ""),
        text("CUNIT2", "arcsec", ""),
        real("CRVAL1", 0.0, "[arcsec] the Sun's centre"),
        real("CRVAL2", 0.0, "[arcsec] the Sun's centre"),
        real(
            "CRPIX1",
            frame.sun.x_px + 1.0,
            "its column, the first being 1",
        ),
        real(
            "CRPIX2",
            height as f64 - frame.sun.y_px,
            "its row from the bottom, the first being 1",
        ),
        real("CDELT1", scale, "[arcsec] a pixel"),
        real("CDELT2", scale, "[arcsec] a pixel"),
        real("PC1_1", west[0], "turn of solar north"),
        real("PC1_2", west[1], "turn of solar north"),
        real("PC2_1", north[0], "turn of solar north"),
        real("PC2_2", north[1], "turn of solar north"),
        real(
            "RSUN_OBS",
            frame.sun_radius_arcsec,
            "[arcsec] radius of the Sun's disc",
        ),
        real("RSUN_REF", radius_m(), "[m] radius of the Sun behind it"),
        real("DSUN_OBS", distance, "[m] distance of the Sun"),
        real("HGLN_OBS", 0.0, "[deg] Stonyhurst longitude of the Earth"),
        real(
            "HGLT_OBS",
            axis.tilt_deg,
            "[deg] latitude at the disc's middle",
        ),
        real(
            "SOLAR_P",
            axis.position_angle_deg,
            "[deg] position angle of the Sun's axis",
        ),
        real(
            "NORTHANG",
            frame.north_deg,
            "[deg] celestial north, anticlockwise from up",
        ),
    ]
}

/// Exposure times, each once, shortest first, with how many frames have it.
fn exposures(all: &[(Utc, f64)]) -> Vec<FitsCard> {
    let mut counts: BTreeMap<u64, usize> = BTreeMap::new();
    // Positive floats are in the order of their bits.
    for (_, seconds) in all.iter().filter(|(_, seconds)| *seconds > 0.0) {
        *counts.entry(seconds.to_bits()).or_default() += 1;
    }
    let sum: f64 = all.iter().map(|(_, seconds)| seconds).sum();
    let mut cards = vec![
        FitsCard::new(
            "NFRAMES",
            FitsValue::Whole(all.len() as i64),
            "exposures merged",
        ),
        real("XPOSURE", sum, "[s] all exposures together"),
        FitsCard::new(
            "NEXPOS",
            FitsValue::Whole(counts.len() as i64),
            "different exposure times",
        ),
    ];
    for (n, (bits, frames)) in counts.into_iter().enumerate() {
        let remark = format!("[s] exposure time of {frames} frames");
        cards.push(real(
            &format!("EXPOS{:03}", n + 1),
            f64::from_bits(bits),
            &remark,
        ));
    }
    cards
}

/// The Sun's radius in metres that shows as large as the almanacs have it at one astronomical unit.
fn radius_m() -> f64 {
    (Radii::IAU.sun_arcsec / ARCSEC_PER_RAD).sin() * AU_KM * 1000.0
}

/// The Sun's distance in metres at which it shows so large.
fn distance_m(sun_radius_arcsec: f64) -> f64 {
    radius_m() / (sun_radius_arcsec / ARCSEC_PER_RAD).sin()
}

/// Date and time as FITS has them: without a mark of the zone, which TIMESYS names.
fn iso(utc: Utc) -> String {
    utc.to_string().trim_end_matches('Z').to_owned()
}

fn text(keyword: &str, value: &str, remark: &str) -> FitsCard {
    FitsCard::new(keyword, FitsValue::Text(value.to_owned()), remark)
}

fn real(keyword: &str, value: f64, remark: &str) -> FitsCard {
    FitsCard::new(keyword, FitsValue::Real(value), remark)
}

/// Begin and length in seconds of each exposure that was merged, and of those of other cameras.
pub(super) fn exposures_of(
    merged: &Merged,
    frames: &[Lit],
    others: &[(Utc, f64)],
) -> Vec<(Utc, f64)> {
    let used = |name: &str| {
        let report = merged.frames.iter().find(|f| f.name == name);
        report.is_some_and(|f| f.left_out.is_none())
    };
    frames
        .iter()
        .filter(|lit| used(lit.record.name()))
        .filter_map(|lit| Some((lit.record.utc?, lit.record.shot.exposure.shutter_s?)))
        .chain(others.iter().copied())
        .collect()
}

/// The header of a merge's map of so many rows; `None` where its place is not known.
pub(super) fn header(
    merged: &Merged,
    exposures: Vec<(Utc, f64)>,
    instant: &Lit,
    height: usize,
    words: &str,
) -> Option<Vec<FitsCard>> {
    corona_header(&CoronaFrame::of(merged, exposures, instant)?, height, words)
}
