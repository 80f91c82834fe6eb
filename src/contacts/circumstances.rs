//! All there is to say about an eclipse at a place, gathered for the outputs.

use super::beads::{Beads, beads};
use super::horizon::{self, HorizonCrossing, Visible};
use super::path;
use super::zone::CivilZone;
use super::{ContactsError, of_view, of_view_with};
use crate::domain::{Contacts, LocalKind, MoonLimb, NearPath, SunMoon, Utc};
use crate::ephemeris::{DeltaTStatus, EclipseView, Radii};

/// The eclipse at a place with its civil time and its horizon.
#[derive(Clone, Debug)]
pub struct Circumstances {
    /// The contacts.
    pub contacts: Contacts,
    /// Civil time of the place.
    pub zone: CivilZone,
    /// How much of it has the Sun up.
    pub visible: Visible,
    /// Sunrises and sunsets between C1 and C4.
    pub crossings: Vec<HorizonCrossing>,
    /// The most covered Sun above the horizon.
    pub best_seen: Option<SunMoon>,
    /// Where the path of totality or annularity lies, for a place outside it.
    pub near_path: Option<NearPath>,
    /// The radii in use.
    pub radii: Radii,
    /// Beads about second and third contact, where they were asked for ([`Circumstances::with_beads`]).
    pub beads: Vec<Beads>,
    /// With the real limb: the same on the mean one, as the mean limb's own defaults give it.
    pub mean: Option<Contacts>,
    /// On the mean limb, C2 and C3 of a total eclipse with the smaller Moon of [`Radii::K_VALLEYS`]: when the last valley has closed and the
    /// first opens, on average. Nothing where that Moon leaves no totality.
    pub valleys: Option<(Utc, Utc)>,
    /// How well TT minus UT1 is known.
    pub delta_t_status: DeltaTStatus,
    /// One sigma of it in seconds.
    pub delta_t_sigma_s: f64,
    /// TT minus UTC in seconds.
    pub tt_minus_utc_s: f64,
}

impl Circumstances {
    /// The same with the beads of the contacts; there are none on the mean limb.
    pub fn with_beads(self, view: &EclipseView) -> Self {
        Self {
            beads: beads(view, &self.contacts),
            ..self
        }
    }
}

/// Gathers everything about a view on the mean limb.
///
/// # Errors
/// [`ContactsError::NotHere`] when the Moon misses the Sun.
pub fn circumstances(view: &EclipseView, zone: CivilZone) -> Result<Circumstances, ContactsError> {
    circumstances_with(view, MoonLimb::Mean, zone)
}

/// Gathers everything about a view on a limb of choice.
///
/// # Errors
/// As [`circumstances`].
pub fn circumstances_with(
    view: &EclipseView,
    limb: MoonLimb,
    zone: CivilZone,
) -> Result<Circumstances, ContactsError> {
    let contacts = of_view_with(view, limb)?;
    let crossings = horizon::crossings(view, &contacts);
    let (mean, valleys) = match limb {
        MoonLimb::Mean => (None, valleys(view, &contacts)),
        MoonLimb::Real => (of_view(&smooth(view)).ok(), None),
    };
    Ok(Circumstances {
        visible: horizon::visible(&contacts, &crossings),
        best_seen: horizon::best_seen(&contacts, &crossings),
        beads: Vec::new(),
        mean,
        valleys,
        near_path: path::near_path(view, &contacts),
        zone,
        crossings,
        radii: view.radii(),
        delta_t_status: view.delta_t_status(),
        delta_t_sigma_s: view.delta_t_sigma_s(),
        tt_minus_utc_s: view.eclipse().tt_minus_utc_s(),
        contacts,
    })
}

/// The view of a smooth Moon to set beside a real one: with the almanac's Sun, unless another than the usual one was asked for.
fn smooth(view: &EclipseView) -> EclipseView {
    let radii = view.radii();
    let usual = (radii.sun_arcsec - Radii::SUN_ECLIPSE_ARCSEC).abs() < 1e-9;
    let sun_arcsec = if usual {
        Radii::SUN_AUWERS_ARCSEC
    } else {
        radii.sun_arcsec
    };
    let radii = Radii {
        sun_arcsec,
        ..radii
    };
    EclipseView::new(view.eclipse(), view.site(), radii, Some(view.delta_t_s()))
}

fn valleys(view: &EclipseView, contacts: &Contacts) -> Option<(Utc, Utc)> {
    if contacts.kind != LocalKind::Total {
        return None;
    }
    let radii = view.radii().with_inner(Radii::K_VALLEYS);
    let delta_t_s = Some(view.delta_t_s());
    let smaller = EclipseView::new(view.eclipse(), view.site(), radii, delta_t_s);
    let smaller = of_view(&smaller).ok()?;
    (smaller.kind == LocalKind::Total).then_some((smaller.c2?.utc, smaller.c3?.utc))
}
