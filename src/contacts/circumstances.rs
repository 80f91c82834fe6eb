//! All there is to say about an eclipse at a place, gathered for the outputs.

use super::horizon::{self, HorizonCrossing, Visible};
use super::path;
use super::zone::CivilZone;
use super::{ContactsError, of_view};
use crate::domain::{Contacts, LocalKind, NearPath, SunMoon, Utc};
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
    /// C2 and C3 of a total eclipse with the smaller Moon of [`Radii::K_VALLEYS`]: when the last valley has closed and the
    /// first opens, on average. Nothing where that Moon leaves no totality.
    pub valleys: Option<(Utc, Utc)>,
    /// How well TT minus UT1 is known.
    pub delta_t_status: DeltaTStatus,
    /// One sigma of it in seconds.
    pub delta_t_sigma_s: f64,
    /// TT minus UTC in seconds.
    pub tt_minus_utc_s: f64,
}

/// Gathers everything about a view.
///
/// # Errors
/// [`ContactsError::NotHere`] when the Moon misses the Sun.
pub fn circumstances(view: &EclipseView, zone: CivilZone) -> Result<Circumstances, ContactsError> {
    let contacts = of_view(view)?;
    let crossings = horizon::crossings(view, &contacts);
    Ok(Circumstances {
        visible: horizon::visible(&contacts, &crossings),
        best_seen: horizon::best_seen(&contacts, &crossings),
        valleys: valleys(view, &contacts),
        near_path: path::near_path(view),
        zone,
        crossings,
        radii: view.radii(),
        delta_t_status: view.delta_t_status(),
        delta_t_sigma_s: view.delta_t_sigma_s(),
        tt_minus_utc_s: view.eclipse().tt_minus_utc_s(),
        contacts,
    })
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
