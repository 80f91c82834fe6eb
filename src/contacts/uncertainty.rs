//! How far off a contact time may be.

use super::sun_limb::SunFromMoon;
use crate::domain::{ContactKind, Site};
use crate::ephemeris::{Discs, EclipseView};
use crate::limb::HEIGHT_SIGMA_ARCSEC;

/// One sigma of where a limb really touches against the mean circles, in seconds of arc.
///
/// The Moon's profile departs from its mean circle by 0.7" rms (a kilometre and a half in 380,000 km); published limb
/// corrections of central durations are 0.2 to 1.1 s (total, 2002-12-04) and 8 to 13 s (annular, 1994-05-10) in
/// F. Espenak and J. Anderson's NASA bulletins, and single contacts near a limit have moved by 10 s (2001-06-21).
const LIMB_SIGMA_ARCSEC: f64 = 0.7;
/// One sigma of the solar radius in seconds of arc: the almanac's 959.63" against 959.95" (L. Quaglia et al. 2021).
const SUN_SIGMA_ARCSEC: f64 = 0.2;
/// The same with a real limb, whose Sun is that of flash spectra: 959.95" +- 0.05" (L. Quaglia et al. 2021).
const SUN_REAL_SIGMA_ARCSEC: f64 = 0.05;
/// One sigma of the place in metres, each way: a reading from a map or a receiver without much care.
const PLACE_SIGMA_M: f64 = 30.0;
/// Metres in a degree of latitude, roughly (40,000 km around the Earth).
const METRES_PER_DEG: f64 = 111_111.0;
/// Step of the rate of the gap.
const RATE_STEP_S: f64 = 0.5;

/// One sigma of an event's time in seconds.
///
/// A contact moves by the gap's error over the gap's rate. Near the limits the gap is a shallow parabola about maximum
/// and the linear rule fails, so the error is carried through the parabola: with half the phase lasting `T`, errors
/// of `+-s` move the contact to `sqrt(T^2 +- 2 s T / rate)` from maximum, and the larger move counts.
pub(super) fn sigma_s(
    view: &EclipseView,
    kind: ContactKind,
    t_s: f64,
    maximum_s: f64,
    central: bool,
) -> f64 {
    if kind == ContactKind::Maximum {
        return maximum_sigma_s(view, t_s, central);
    }
    let inner = matches!(kind, ContactKind::C2 | ContactKind::C3);
    let gap = |view: &EclipseView, t: f64| gap_arcsec(&view.discs(t), inner);
    let rate = (gap(view, t_s + RATE_STEP_S) - gap(view, t_s - RATE_STEP_S)) / (2.0 * RATE_STEP_S);
    let here = gap(view, t_s);
    let moved = |other: &EclipseView| gap(other, t_s) - here;
    let sigma = squares([
        LIMB_SIGMA_ARCSEC,
        SUN_SIGMA_ARCSEC,
        moved(&turned(view)) * view.delta_t_sigma_s(),
        moved(&north_of(view)),
        moved(&east_of(view)),
    ]);
    through_parabola(sigma, rate.abs(), (t_s - maximum_s).abs())
}

/// One sigma in seconds of arc of the gap between the Sun's limb and the Moon's real one towards a position angle: what is left
/// once the mountains are known. The Moon's own place has a share of some 0.01" (DE421 against later ephemerides) and is left out.
pub(super) fn limb_sigma_arcsec(view: &EclipseView, t_s: f64, position_deg: f64) -> f64 {
    let towards = position_deg.to_radians().sin_cos();
    let limb = |view: &EclipseView| SunFromMoon::at(view, t_s).limb_arcsec(towards);
    let here = limb(view);
    squares([
        HEIGHT_SIGMA_ARCSEC,
        SUN_REAL_SIGMA_ARCSEC,
        (limb(&turned(view)) - here) * view.delta_t_sigma_s(),
        limb(&north_of(view)) - here,
        limb(&east_of(view)) - here,
    ])
}

/// Distance of the limbs that touch, positive outside the phase.
fn gap_arcsec(d: &Discs, inner: bool) -> f64 {
    if inner {
        d.separation_arcsec - (d.sun_radius_arcsec - d.moon_inner_radius_arcsec).abs()
    } else {
        d.separation_arcsec - d.sun_radius_arcsec - d.moon_radius_arcsec
    }
}

fn through_parabola(sigma: f64, rate: f64, half_s: f64) -> f64 {
    let spread = 2.0 * sigma * half_s / rate.max(1e-6);
    let outwards = (half_s * half_s + spread).sqrt() - half_s;
    let inwards = half_s - (half_s * half_s - spread).max(0.0).sqrt();
    outwards.max(inwards)
}

/// Maximum does not feel the limbs; what is left is the turn of the Earth and, off the centre line, a second or so of
/// meaning: greatest coverage and least separation part there.
fn maximum_sigma_s(view: &EclipseView, t_s: f64, central: bool) -> f64 {
    let turn = view.delta_t_sigma_s() * 0.5;
    if central || view.discs(t_s).separation_arcsec < 60.0 {
        squares([0.1, turn])
    } else {
        squares([1.0, turn])
    }
}

/// The same view with the Earth a second of turn further back.
fn turned(view: &EclipseView) -> EclipseView {
    EclipseView::new(
        view.eclipse(),
        view.site(),
        view.radii(),
        Some(view.delta_t_s() + 1.0),
    )
}

fn north_of(view: &EclipseView) -> EclipseView {
    let site = view.site();
    let step = PLACE_SIGMA_M / METRES_PER_DEG;
    let lat_deg = if site.lat_deg > 0.0 {
        site.lat_deg - step
    } else {
        site.lat_deg + step
    };
    moved_to(view, Site { lat_deg, ..site })
}

fn east_of(view: &EclipseView) -> EclipseView {
    let site = view.site();
    let parallel = site.lat_deg.to_radians().cos().max(1e-3);
    let lon_deg = site.lon_deg + PLACE_SIGMA_M / METRES_PER_DEG / parallel;
    moved_to(view, Site { lon_deg, ..site })
}

fn moved_to(view: &EclipseView, site: Site) -> EclipseView {
    EclipseView::new(view.eclipse(), site, view.radii(), Some(view.delta_t_s()))
}

fn squares<const N: usize>(parts: [f64; N]) -> f64 {
    parts.iter().map(|p| p * p).sum::<f64>().sqrt()
}
