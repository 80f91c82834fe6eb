//! What practice frames say of the gear, taken into the sheet.

use serde::Serialize;

use super::exposure::filter_stops_of;
use super::gear::{ARCSEC_PER_RAD, Framing, Gear};
use super::times::{about, low_sun_stops};
use crate::domain::Practice;

/// Which numbers of the gear the person has typed: they stand against what was measured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Typed {
    /// The focal length.
    pub focal: bool,
    /// The sensor.
    pub sensor: bool,
    /// The filter.
    pub filter: bool,
    /// That the mount follows.
    pub tracked: bool,
}

/// Practice frames and what of them went into the gear.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rehearsed {
    /// What was measured.
    pub practice: Practice,
    /// What the person typed in its stead.
    pub typed: Typed,
    /// Focal length that the frames measure, in millimetres, on the sheet's sensor.
    pub focal_mm: Option<f64>,
    /// Stops of the filter that the frames measure, by the exposures of the sheet.
    pub filter_stops: Option<f64>,
    /// Whether the mount followed.
    pub tracked: Option<bool>,
}

/// Strengths in stops taken for those of a filter for the Sun (common practice: density 3.8 for the camera alone to 5, some shade more).
const FILTERS: std::ops::RangeInclusive<f64> = 10.0..=20.0;

/// Focal lengths that differ by less are the same lens (our choice: makers round by some percent).
const SAME_LENS: f64 = 0.03;

/// Filters that differ by fewer stops are the same (our choice: the bracket of a partial holds a stop either way).
const SAME_FILTER_STOPS: f64 = 0.7;

impl Rehearsed {
    /// What the frames measure of the gear, and the gear with it wherever the person has typed nothing else.
    pub fn of(practice: Practice, gear: &mut Gear, typed: Typed) -> Self {
        if let Some((width_px, height_px)) = practice.sides_px {
            gear.sensor = gear.sensor.with_sides_px(width_px, height_px);
        }
        let focal_mm = practice
            .arcsec_per_px
            .filter(|scale| scale.is_finite() && *scale > 0.0)
            .map(|scale| gear.sensor.pixel_mm() / scale * ARCSEC_PER_RAD);
        let filter_stops = practice
            .filtered_q
            .map(|q| filter_stops_of(q + practice.sun_alt_deg.map_or(0.0, low_sun_stops)))
            .filter(|stops| FILTERS.contains(stops));
        let this = Self {
            focal_mm,
            filter_stops,
            tracked: practice.follows,
            practice,
            typed,
        };
        if let Some(focal_mm) = focal_mm.filter(|_| !typed.focal) {
            gear.focal_mm = focal_mm;
        }
        if let Some(stops) = filter_stops.filter(|_| !typed.filter) {
            gear.filter_stops = stops;
        }
        if let Some(tracked) = this.tracked.filter(|_| !typed.tracked) {
            gear.tracked = tracked;
        }
        this
    }

    /// Whether the filter on the sheet is the one measured.
    pub(super) fn filter_taken(&self) -> bool {
        self.filter_stops.is_some() && !self.typed.filter
    }

    /// Sentences on what was measured, what was taken from it, and where it differs from what was typed.
    pub(super) fn words(&self, gear: &Gear, framing: &Framing) -> Vec<String> {
        let lines = [
            Some(self.whose()),
            self.lens_words(gear, framing),
            Some(self.filter_words(gear)),
            self.mount_words(gear, framing),
            Some(self.clock_words()),
        ];
        lines.into_iter().flatten().collect()
    }

    fn whose(&self) -> String {
        let p = &self.practice;
        let body = if p.body.is_empty() {
            "a camera that is not named"
        } else {
            &p.body
        };
        let day = p.day.map_or_else(String::new, |day| format!(", {day}"));
        let noun = if p.frames == 1 { "frame" } else { "frames" };
        format!("{body}: {} {noun}{day}.", p.frames)
    }

    fn lens_words(&self, gear: &Gear, framing: &Framing) -> Option<String> {
        let (focal_mm, radius_px) = (self.focal_mm?, self.practice.sun_radius_px?);
        let sensor = if self.typed.sensor {
            String::new()
        } else {
            format!(
                " on a sensor {:.0} mm wide (give --sensor if yours is another)",
                gear.sensor.width_mm
            )
        };
        let measured = format!(
            "The Sun was {:.0} pixels across: a focal length of {focal_mm:.0} mm{sensor}",
            2.0 * radius_px
        );
        let off = focal_mm / gear.focal_mm - 1.0;
        Some(if self.typed.focal && off.abs() > SAME_LENS {
            format!(
                "{measured}. The sheet keeps to the {:.0} mm given: another lens, a converter, or a name rounded by the maker?",
                gear.focal_mm
            )
        } else {
            format!(
                "{measured}. On the day it is {:.0} pixels across.",
                framing.disc_px
            )
        })
    }

    fn filter_words(&self, gear: &Gear) -> String {
        let Some(stops) = self.filter_stops else {
            return match self.practice.filtered_q {
                Some(_) => "The light in the frames is not that of a Sun behind a filter for it: the filter's strength is not taken from them.",
                None => "The filter's strength cannot be told: it takes frames with the aperture and ISO in their headers, neither black nor burnt out.",
            }
            .to_owned();
        };
        let air = match self.practice.sun_alt_deg {
            Some(alt) => format!("with the Sun {alt:.0} degrees up"),
            None => {
                "taken as of a high Sun, as the frames do not say where they were shot".to_owned()
            }
        };
        let measured =
            format!("The filter takes {stops:.1} stops by the exposures of the sheet, {air}");
        if self.typed.filter && (stops - gear.filter_stops).abs() > SAME_FILTER_STOPS {
            format!(
                "{measured}. The sheet keeps to the {} stops given: try it on the plain Sun once more.",
                gear.filter_stops
            )
        } else if self.typed.filter {
            format!("{measured}: as given.")
        } else {
            format!("{measured}; the filtered shutters follow it.")
        }
    }

    fn mount_words(&self, gear: &Gear, framing: &Framing) -> Option<String> {
        let rate = self.practice.drift_arcsec_s?;
        let told = match self.tracked {
            Some(true) => {
                let room_arcsec = (framing.radii_to_edge - 1.0).max(0.0) * framing.disc_px / 2.0
                    * framing.arcsec_per_px;
                format!(
                    "The mount followed and lost {rate:.2} seconds of arc a second: from the middle of the frame the limb touches the edge \
                     after {}.",
                    about(room_arcsec / rate.max(1e-3))
                )
            }
            Some(false) => {
                format!("The mount stood still; the Sun drifted {rate:.1} seconds of arc a second.")
            }
            None => format!(
                "The Sun drifted {rate:.1} seconds of arc a second, faster than the sky turns: lock the head before the day."
            ),
        };
        let against = self.tracked == Some(false) && gear.tracked;
        Some(if against {
            told + " The sheet takes it to follow, as given."
        } else {
            told
        })
    }

    fn clock_words(&self) -> String {
        match self.practice.clock_error_s {
            Some(s) if s.abs() < 0.05 => "The camera's clock was right by GPS.".to_owned(),
            Some(s) => format!(
                "The camera's clock was {:.1} s {} by GPS: set it on the morning of the day.",
                s.abs(),
                if s > 0.0 { "fast" } else { "slow" }
            ),
            None => "The camera's clock is not known: photograph a clock set by GPS or the network on the morning of the day.".to_owned(),
        }
    }
}
