//! Solves for the instants the discs touch at one site, C1 to C4, with an uncertainty for each.
//!
//! [`at`] is the door: a place and a date in, [`Contacts`] out. A site outside the path has no C2 or C3; that is an
//! answer. A site the Moon's shadow misses altogether has no contacts at all; that is [`ContactsError::NotHere`].
//!
//! Maximum is the least distance of the two centres as seen from the place. Magnitude is `(Rs + Rm - separation) / 2 Rs`
//! at that instant, also where the eclipse is central (there it is not replaced by the ratio of the diameters).
//! On the mean limb contacts are those of a smooth Moon of radius `k`; mountains and valleys are in the uncertainty, not in the
//! time. On the real limb C2 and C3 are the instants of the last and the first sunlight past the Moon of the height map, for an
//! annular eclipse those at which the ring closes and breaks; C1 and C4 stay those of the mean one. Whether the
//! Sun is up is told apart and hides nothing: the geometry is solved through the Earth.

mod bead_words;
mod beads;
mod calendar;
mod choice;
mod circumstances;
mod diagram;
mod document;
mod durations;
mod horizon;
mod limb_light;
mod limb_words;
mod path;
mod real;
mod solve;
mod sun_limb;
mod uncertainty;
mod words;
mod zone;

use jiff::civil::Date;

pub use beads::{Bead, Beads, LitInstant, LitStretch, beads};
pub use calendar::{Written, calendar};
pub use choice::{YEARS, eclipse_of, list, next_seen, seen};
pub use circumstances::{Circumstances, circumstances, circumstances_with};
pub use diagram::diagram;
pub use document::{VERSION, json, json_list, json_missed};
pub use horizon::{HorizonCrossing, Visible, best_seen, crossings, visible};
pub use limb_light::limb_lights;
pub use path::near_path;
pub use words::{list_text, text};
pub use zone::{CivilZone, LocalTime};

use crate::domain::{
    ContactEvent, ContactKind, Contacts, EclipseKind, LimbMargin, LocalKind, MoonLimb, Site,
    SunMoon, Utc,
};
use crate::ephemeris::{Eclipse, EclipseView, NoEclipse, RISE_SET_ALT_DEG, Radii, eclipse_near};

/// What the times rest on; the default is the mean limb.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ContactsOptions {
    /// The Moon's limb for C2 and C3.
    pub limb: MoonLimb,
    /// Radii of Moon and Sun; the default is [`Radii::IAU`].
    pub radii: Radii,
    /// TT minus UT1 in seconds, where it is to be another than the table's.
    pub delta_t_s: Option<f64>,
}

impl ContactsOptions {
    /// Range of TT minus UT1 taken, in seconds.
    pub const DELTA_T_RANGE_S: std::ops::RangeInclusive<f64> = 0.0..=300.0;

    /// The real limb, with the Sun measured at eclipses.
    pub fn real() -> Self {
        Self {
            limb: MoonLimb::Real,
            radii: Radii {
                sun_arcsec: Radii::SUN_ECLIPSE_ARCSEC,
                ..Radii::IAU
            },
            delta_t_s: None,
        }
    }

    /// The options that go with a limb: [`ContactsOptions::real`], or the default.
    pub fn on(limb: MoonLimb) -> Self {
        match limb {
            MoonLimb::Mean => Self::default(),
            MoonLimb::Real => Self::real(),
        }
    }

    fn check(&self) -> Result<(), ContactsError> {
        if !self.radii.are_sound() {
            return Err(ContactsError::Radii);
        }
        match self.delta_t_s {
            Some(s) if !Self::DELTA_T_RANGE_S.contains(&s) => Err(ContactsError::DeltaT(s)),
            _ => Ok(()),
        }
    }
}

/// Why there are no contacts.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ContactsError {
    /// No eclipse on the date.
    #[error("no solar eclipse within a day of {asked}; {neighbours}", asked = .0.asked, neighbours = neighbours(.0))]
    NoEclipse(NoEclipse),
    /// No date given at all.
    #[error("no date: pass the day of the eclipse with --date YYYY-MM-DD")]
    NoDates,
    /// The Moon misses the Sun at the place.
    #[error(
        "the {word} eclipse of {date} is not seen from {lat:.4},{lon:.4}: the Moon passes the Sun's limb by {miss:.1}' \
         at the nearest; the eclipse is greatest near {seen_lat:.1},{seen_lon:.1}",
        word = kind_word(*.kind), lat = .site.lat_deg, lon = .site.lon_deg, miss = .miss_arcsec / 60.0,
        seen_lat = .greatest_at.0, seen_lon = .greatest_at.1
    )]
    NotHere {
        /// The eclipse.
        date: Date,
        /// What it is along its track.
        kind: EclipseKind,
        /// The place.
        site: Site,
        /// Least distance of the centres, seconds of arc.
        separation_arcsec: f64,
        /// Least gap between the limbs, seconds of arc.
        miss_arcsec: f64,
        /// Latitude and longitude in degrees of the place where the eclipse is greatest.
        greatest_at: (f64, f64),
    },
    /// Radii far from the true ones.
    #[error("radii out of range: k is 0.26 to 0.28, the Sun's radius 950 to 970 seconds of arc")]
    Radii,
    /// TT minus UT1 out of range.
    #[error("delta T {0} s is outside {min} to {max} s", min = ContactsOptions::DELTA_T_RANGE_S.start(),
        max = ContactsOptions::DELTA_T_RANGE_S.end())]
    DeltaT(f64),
    /// Years out of order or beyond the table.
    #[error("years {0} to {1}: the table holds 1994 to 2053, and the first year comes first")]
    Years(i16, i16),
}

/// The word for a kind of eclipse.
pub fn kind_word(kind: EclipseKind) -> &'static str {
    match kind {
        EclipseKind::Partial => "partial",
        EclipseKind::Annular => "annular",
        EclipseKind::Total => "total",
        EclipseKind::Hybrid => "hybrid",
    }
}

/// The word for what an eclipse is at a place.
pub fn local_word(kind: LocalKind) -> &'static str {
    match kind {
        LocalKind::None => "none",
        LocalKind::Partial => "partial",
        LocalKind::Annular => "annular",
        LocalKind::Total => "total",
    }
}

fn neighbours(none: &NoEclipse) -> String {
    let name = |e: &Eclipse| format!("{} ({})", e.date(), kind_word(e.kind()));
    match (&none.before, &none.after) {
        (Some(b), Some(a)) => format!("the nearest are {} and {}", name(b), name(a)),
        (Some(b), None) => format!("the table ends with {}", name(b)),
        (None, Some(a)) => format!("the table begins with {}", name(a)),
        (None, None) => "the table is empty".to_owned(),
    }
}

/// The eclipse on `date` (or the day before or after) at a place.
///
/// # Errors
/// [`ContactsError::NoEclipse`] names the nearest eclipses; [`ContactsError::NotHere`] when the Moon misses the Sun at
/// the place; [`ContactsError::Radii`] and [`ContactsError::DeltaT`] for options out of range.
pub fn at(site: &Site, date: Date, options: &ContactsOptions) -> Result<Contacts, ContactsError> {
    options.check()?;
    let eclipse = eclipse_near(date).map_err(ContactsError::NoEclipse)?;
    of_eclipse(eclipse, site, options)
}

/// A given eclipse at a place.
///
/// # Errors
/// As [`at`], [`ContactsError::NoEclipse`] apart.
pub fn of_eclipse(
    eclipse: Eclipse,
    site: &Site,
    options: &ContactsOptions,
) -> Result<Contacts, ContactsError> {
    options.check()?;
    let view = EclipseView::new(eclipse, *site, options.radii, options.delta_t_s);
    of_view_with(&view, options.limb)
}

/// The view behind a set of contacts: ask it where Sun and Moon stood at any instant.
///
/// # Errors
/// As [`at`], [`ContactsError::NotHere`] apart.
pub fn view(
    site: &Site,
    date: Date,
    options: &ContactsOptions,
) -> Result<EclipseView, ContactsError> {
    options.check()?;
    let eclipse = eclipse_near(date).map_err(ContactsError::NoEclipse)?;
    Ok(EclipseView::new(
        eclipse,
        *site,
        options.radii,
        options.delta_t_s,
    ))
}

/// The contacts of a view on the mean limb.
///
/// # Errors
/// [`ContactsError::NotHere`] when the Moon misses the Sun.
pub fn of_view(view: &EclipseView) -> Result<Contacts, ContactsError> {
    of_view_with(view, MoonLimb::Mean)
}

/// The contacts of a view on a limb of choice. With the real one the Moon's radius for C2 and C3 is not used.
///
/// # Errors
/// As [`of_view`].
pub fn of_view_with(view: &EclipseView, limb: MoonLimb) -> Result<Contacts, ContactsError> {
    let maximum_s = solve::maximum(view);
    let Some((c1_s, c4_s)) = solve::outer(view, maximum_s) else {
        return Err(not_here(view, maximum_s));
    };
    let inner = match limb {
        MoonLimb::Mean => Inner::mean(view, maximum_s),
        MoonLimb::Real => Inner::real(view, maximum_s),
    };
    let central = inner.ends.is_some();
    let event = |kind, t_s| event(view, kind, t_s, maximum_s, central).0;
    let maximum = event(ContactKind::Maximum, maximum_s);
    Ok(Contacts {
        eclipse_date: view.eclipse().date(),
        eclipse_kind: view.eclipse().kind(),
        site: view.site(),
        kind: inner.kind,
        c1: event(ContactKind::C1, c1_s),
        c2: inner.ends.map(|pair| pair.0),
        maximum,
        c3: inner.ends.map(|pair| pair.1),
        c4: event(ContactKind::C4, c4_s),
        magnitude: maximum.sky.magnitude,
        obscuration: maximum.sky.obscuration,
        delta_t_s: view.delta_t_s(),
        limb,
        limb_margin: inner.margin,
    })
}

/// The central phase of a place, if there is one.
struct Inner {
    kind: LocalKind,
    ends: Option<(ContactEvent, ContactEvent)>,
    margin: Option<LimbMargin>,
}

impl Inner {
    fn mean(view: &EclipseView, maximum_s: f64) -> Self {
        let (kind, ends) = solve::inner(view, maximum_s);
        let total = kind == LocalKind::Total;
        let end = |kind, t_s| event(view, kind, t_s, maximum_s, true).touching(total);
        Self {
            kind,
            ends: ends.map(|(c2, c3)| (end(ContactKind::C2, c2), end(ContactKind::C3, c3))),
            margin: None,
        }
    }

    fn real(view: &EclipseView, maximum_s: f64) -> Self {
        let (_, mean) = solve::inner(view, maximum_s);
        let found = real::central(view, maximum_s, mean);
        let end = |kind, end: real::End| real_event(view, kind, &end);
        Self {
            kind: found.kind,
            ends: found
                .ends
                .map(|(c2, c3)| (end(ContactKind::C2, c2), end(ContactKind::C3, c3))),
            margin: found.margin,
        }
    }
}

/// A contact on the real limb; its angles are those of the last or the first sunlight.
fn real_event(view: &EclipseView, kind: ContactKind, end: &real::End) -> ContactEvent {
    let utc = view.origin().plus_s(end.t_s);
    let sky = view.at(utc);
    ContactEvent {
        kind,
        utc,
        sigma_s: end.sigma_s,
        sky,
        position_angle_deg: end.position_deg,
        vertex_angle_deg: (end.position_deg - sky.parallactic_deg).rem_euclid(360.0),
        sun_up: sun_is_up(&sky),
    }
}

/// An event under construction, its angles towards the Moon's centre.
struct Towards(ContactEvent);

impl Towards {
    /// In totality the Moon's far limb touches: the contact point lies away from the Moon's centre.
    fn touching(mut self, total: bool) -> ContactEvent {
        if total {
            self.0.position_angle_deg = (self.0.position_angle_deg + 180.0).rem_euclid(360.0);
            self.0.vertex_angle_deg = (self.0.vertex_angle_deg + 180.0).rem_euclid(360.0);
        }
        self.0
    }
}

fn event(
    view: &EclipseView,
    kind: ContactKind,
    t_s: f64,
    maximum_s: f64,
    central: bool,
) -> Towards {
    let utc = view.origin().plus_s(t_s);
    let sky = view.at(utc);
    let position = sky.position_angle_deg();
    Towards(ContactEvent {
        kind,
        utc,
        sigma_s: uncertainty::sigma_s(view, kind, t_s, maximum_s, central),
        sky,
        position_angle_deg: position,
        vertex_angle_deg: (position - sky.parallactic_deg).rem_euclid(360.0),
        sun_up: sun_is_up(&sky),
    })
}

/// Whether the Sun's upper limb is above a flat horizon, standard refraction included.
pub fn sun_is_up(sky: &SunMoon) -> bool {
    sky.sun_alt_deg > RISE_SET_ALT_DEG
}

fn not_here(view: &EclipseView, maximum_s: f64) -> ContactsError {
    let discs = view.discs(maximum_s);
    let reach = discs.sun_radius_arcsec + discs.moon_radius_arcsec;
    ContactsError::NotHere {
        date: view.eclipse().date(),
        kind: view.eclipse().kind(),
        site: view.site(),
        separation_arcsec: discs.separation_arcsec,
        miss_arcsec: discs.separation_arcsec - reach,
        greatest_at: view.eclipse().greatest_at(),
    }
}

/// Middle of the eclipse for a place it is not seen from: used to say how near it comes.
pub fn nearest_approach(view: &EclipseView) -> Utc {
    view.origin().plus_s(solve::maximum(view))
}
