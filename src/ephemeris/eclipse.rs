//! The eclipses of the table, and how to find one.

use jiff::ToSpan;
use jiff::civil::Date;

use super::delta_t::{self, DeltaTRow, DeltaTStatus};
use super::delta_t_table::DELTA_T;
use super::earth::{EARTH_TURN_DEG_PER_S, FLATTENING, dot};
use super::elements::{Elements, polynomial};
use super::elements_table::ELEMENTS;
use super::time_scale::utc_from_tt;
use crate::domain::{EclipseKind, Tt, Utc};

/// One solar eclipse of the table.
#[derive(Clone, Copy, Debug)]
pub struct Eclipse {
    pub(super) elements: &'static Elements,
    delta_t: &'static DeltaTRow,
}

impl PartialEq for Eclipse {
    fn eq(&self, other: &Self) -> bool {
        self.elements.date == other.elements.date
    }
}

impl Eclipse {
    /// Date (TT) of greatest eclipse on Earth: the eclipse's name. At a place it can fall on the day before or after.
    pub fn date(&self) -> Date {
        let (year, month, day) = self.elements.date;
        Date::new(year, month, day).unwrap_or(Date::ZERO)
    }

    /// What it is along its track.
    pub fn kind(&self) -> EclipseKind {
        self.elements.kind
    }

    /// Whether the axis of the shadow meets the Earth. A total or annular eclipse whose axis misses it is seen only at the
    /// horizon near one pole.
    pub fn axis_touches(&self) -> bool {
        self.elements.axis_touches
    }

    /// Least distance of the axis from the Earth's centre, equatorial Earth radii, negative when it passes south.
    pub fn gamma(&self) -> f64 {
        self.elements.gamma
    }

    /// The instant of greatest eclipse, when the axis passes nearest to the Earth's centre.
    pub fn greatest(&self) -> Utc {
        self.origin().plus_s(self.elements.greatest_h * 3600.0)
    }

    /// The instants between which the penumbra touches the Earth, widened by three minutes or so.
    pub fn span(&self) -> (Utc, Utc) {
        let origin = self.origin();
        (
            origin.plus_s(self.elements.begin_h * 3600.0),
            origin.plus_s(self.elements.end_h * 3600.0),
        )
    }

    /// TT minus UT1 in seconds from the table.
    pub fn delta_t_s(&self) -> f64 {
        self.delta_t.tt_minus_ut1_s
    }

    /// How well that is known.
    pub fn delta_t_status(&self) -> DeltaTStatus {
        self.delta_t.status
    }

    /// One sigma of it in seconds.
    pub fn delta_t_sigma_s(&self) -> f64 {
        delta_t::sigma_s(self.delta_t)
    }

    /// TT minus UTC in seconds; no leap second falls within an eclipse.
    pub fn tt_minus_utc_s(&self) -> f64 {
        self.delta_t.tt_minus_utc_s
    }

    /// Latitude and longitude in degrees of the place where the axis passes at greatest eclipse, or of the place on the
    /// Earth's limb nearest to it.
    pub fn greatest_at(&self) -> (f64, f64) {
        let e = self.elements;
        let t_h = e.greatest_h;
        let (sin_d, cos_d) = polynomial(&e.d, t_h).to_radians().sin_cos();
        let (x, y) = (polynomial(&e.x, t_h), polynomial(&e.y, t_h));
        // The axis `base + s axis` in the frame whose first axis lies in its hour circle, squashed so that the
        // ellipsoid becomes the unit sphere.
        let polar = 1.0 - FLATTENING;
        let base = [-y * sin_d, x, y * cos_d / polar];
        let axis = [cos_d, 0.0, sin_d / polar];
        let (aa, ab, bb) = (dot(axis, axis), dot(axis, base), dot(base, base));
        let reach = (ab * ab - aa * (bb - 1.0)).max(0.0).sqrt();
        let s = (reach - ab) / aa;
        let point = [base[0] + s * axis[0], base[1], base[2] + s * axis[2]];
        let lat = (point[2] / polar).atan2(point[0].hypot(point[1]));
        let turn_deg = EARTH_TURN_DEG_PER_S * self.delta_t_s();
        let lon_deg = point[1].atan2(point[0]).to_degrees() - polynomial(&e.mu, t_h) + turn_deg;
        (
            lat.to_degrees(),
            (lon_deg + 180.0).rem_euclid(360.0) - 180.0,
        )
    }

    /// Origin of the polynomials.
    pub(super) fn origin(&self) -> Utc {
        utc_from_tt(Tt::from_j2000_s(self.elements.t0_j2000_s))
    }
}

/// A date on which no eclipse happens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoEclipse {
    /// The date asked for.
    pub asked: Date,
    /// The last eclipse before it, where the table has one.
    pub before: Option<Eclipse>,
    /// The first eclipse after it, where the table has one.
    pub after: Option<Eclipse>,
}

/// All eclipses of 1994 to 2053 in time order.
pub fn eclipses() -> impl DoubleEndedIterator<Item = Eclipse> + ExactSizeIterator {
    ELEMENTS
        .iter()
        .zip(&DELTA_T)
        .map(|(elements, delta_t)| Eclipse { elements, delta_t })
}

/// The eclipse on `date` or the day before or after it (local dates differ from the eclipse's own by up to a day).
///
/// # Errors
/// [`NoEclipse`] with the neighbours in time when there is none.
pub fn eclipse_near(date: Date) -> Result<Eclipse, NoEclipse> {
    let from = date.checked_sub(1.day()).unwrap_or(date);
    let to = date.checked_add(1.day()).unwrap_or(date);
    let found = eclipses().find(|eclipse| (from..=to).contains(&eclipse.date()));
    found.ok_or_else(|| NoEclipse {
        asked: date,
        before: eclipses().rev().find(|eclipse| eclipse.date() < date),
        after: eclipses().find(|eclipse| eclipse.date() > date),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ephemeris::tt_minus_utc_s;

    #[test]
    fn the_two_tables_stand_row_by_row() {
        assert_eq!(eclipses().len(), 132);
        for eclipse in eclipses() {
            assert_eq!(eclipse.elements.date, eclipse.delta_t.date);
            assert_ne!(eclipse.date(), Date::ZERO);
            let leap = tt_minus_utc_s(eclipse.greatest());
            assert!(
                (leap - eclipse.tt_minus_utc_s()).abs() < 1e-9,
                "{}",
                eclipse.date()
            );
            assert!(
                (tt_minus_utc_s(eclipse.span().0) - tt_minus_utc_s(eclipse.span().1)).abs() < 1e-9
            );
        }
        assert!(eclipses().is_sorted_by_key(|eclipse| eclipse.date()));
    }

    #[test]
    fn a_day_off_is_found_and_two_are_not() {
        let day = |text: &str| text.parse::<Date>().unwrap();
        for text in ["2019-07-01", "2019-07-02", "2019-07-03"] {
            assert_eq!(eclipse_near(day(text)).unwrap().date(), day("2019-07-02"));
        }
        let none = eclipse_near(day("2019-07-04")).unwrap_err();
        assert_eq!(none.before.unwrap().date(), day("2019-07-02"));
        assert_eq!(none.after.unwrap().date(), day("2019-12-26"));
        assert!(eclipse_near(day("2054-03-10")).unwrap_err().after.is_none());
        assert!(eclipse_near(Date::MAX).unwrap_err().after.is_none());
        assert!(eclipse_near(Date::MIN).unwrap_err().before.is_none());
    }
}
