//! Second and third contact on the Moon's real limb: the instants of the last and the first sunlight.
//!
//! Seen from the Moon's centre the Sun's limb stands at `s(P) = d cos(P - Ps) + sqrt(R^2 - d^2 sin^2(P - Ps))` towards position
//! angle P, with the Sun's centre at distance `d` towards `Ps` and its radius `R`; the Moon's limb stands at `rho(P)`. Sunlight
//! passes wherever `s > rho`. Totality is while it passes nowhere, annularity while it passes everywhere.

use super::solve;
use super::sun_limb::SunFromMoon;
use super::uncertainty::limb_sigma_arcsec;
use crate::domain::{LimbMargin, LocalKind};
use crate::ephemeris::{Discs, EclipseView};
use crate::limb::{Arc, LimbProfile, Sightline};

/// No peak or valley stands farther than this from the mean limb, in seconds of arc (the highest, 9 km at 360,000 km, 5"; the
/// mean limb of the map and that of the IAU's k differ by 0.4"): where the discs overlap by less, the whole circle is looked at.
const SHALLOW_ARCSEC: f64 = 8.0;
/// Step of the first profile in degrees of position angle: 3 km on the Moon, some 1.6 points of the map.
const COARSE_DEG: f64 = 0.1;
/// Step of the last profile; five times coarser costs up to 0.1 s.
const FINE_DEG: f64 = 0.02;
/// The last profile is taken where the coarse one leaves the limbs within this of the closest, seconds of arc: between points
/// 0.1 degree apart the limb moves by less.
const NEAR_ARCSEC: f64 = 1.2;
/// The profile is taken anew until the contact moves by less than this: libration moves the limb by 0.1 s in a minute or so.
const SETTLED_S: f64 = 2.0;
/// Half the time about the least separation in which the deepest instant of a graze is sought.
const MIDDLE_S: f64 = 240.0;

/// What there is of a central phase.
#[derive(Clone, Copy, Debug)]
pub(super) struct Central {
    /// What the eclipse is.
    pub(super) kind: LocalKind,
    /// Second and third contact, where there are any.
    pub(super) ends: Option<(End, End)>,
    /// How narrowly, where it is narrow.
    pub(super) margin: Option<LimbMargin>,
}

/// The last or the first sunlight, or for an annular eclipse the closing or the breaking of the ring.
#[derive(Clone, Copy, Debug)]
pub(super) struct End {
    /// Seconds from the view's origin.
    pub(super) t_s: f64,
    /// Position angle in degrees.
    pub(super) position_deg: f64,
    /// One sigma in seconds.
    pub(super) sigma_s: f64,
}

/// Second and third contact, with `mean` those of the smooth Moon.
pub(super) fn central(view: &EclipseView, maximum_s: f64, mean: Option<(f64, f64)>) -> Central {
    let discs = view.discs(maximum_s);
    let depth = overlap_arcsec(&discs);
    if depth < -SHALLOW_ARCSEC {
        return Central::partial(None);
    }
    let total = discs.moon_radius_arcsec > discs.sun_radius_arcsec;
    if depth > SHALLOW_ARCSEC
        && let Some(mean) = mean
    {
        return deep(view, total, maximum_s, mean);
    }
    let first = shallow(view, total, maximum_s);
    // Discs of nearly one size: peaks one way and valleys the other decide which it is, if it is either.
    let alike = (discs.moon_radius_arcsec - discs.sun_radius_arcsec).abs() < SHALLOW_ARCSEC;
    if first.ends.is_none() && alike {
        let second = shallow(view, !total, maximum_s);
        if second.ends.is_some() {
            return second;
        }
    }
    first
}

impl Central {
    fn partial(margin: Option<LimbMargin>) -> Self {
        Self {
            kind: LocalKind::Partial,
            ends: None,
            margin,
        }
    }
}

/// How far the smaller disc is inside the larger one; negative where it sticks out.
fn overlap_arcsec(d: &Discs) -> f64 {
    (d.sun_radius_arcsec - d.moon_radius_arcsec).abs() - d.separation_arcsec
}

fn kind(total: bool) -> LocalKind {
    if total {
        LocalKind::Total
    } else {
        LocalKind::Annular
    }
}

/// The usual case: each contact by itself, from that of the mean limb.
fn deep(view: &EclipseView, total: bool, maximum_s: f64, (c2_s, c3_s): (f64, f64)) -> Central {
    let end = |mean_s: f64| {
        let about = towards_deg(view, total, mean_s);
        let arc = Arc::about(about, half_arc_deg(&view.discs(mean_s)));
        let coarse = Gap::at(view, total, mean_s, &[arc], COARSE_DEG);
        coarse.end(maximum_s, mean_s)
    };
    let (c2, c3) = rayon::join(|| end(c2_s), || end(c3_s));
    let ends = c2.zip(c3);
    match ends {
        Some(_) => Central {
            kind: kind(total),
            ends,
            margin: None,
        },
        None => shallow(view, total, maximum_s),
    }
}

/// From how far round from the contact of the mean limb on the mean limbs are so far apart that no valley or peak counts.
fn half_arc_deg(d: &Discs) -> f64 {
    let apart = (d.sun_radius_arcsec - d.moon_radius_arcsec).abs();
    (1.0 - SHALLOW_ARCSEC / apart)
        .clamp(-1.0, 1.0)
        .acos()
        .to_degrees()
}

/// Near a limit the contacts wander round the disc, and there may be none.
fn shallow(view: &EclipseView, total: bool, maximum_s: f64) -> Central {
    let coarse = Gap::at(view, total, maximum_s, &[Arc::WHOLE], COARSE_DEG);
    let middle_s = coarse.deepest_s(maximum_s);
    let fine = coarse.finer(middle_s);
    let middle_s = fine.deepest_s(middle_s);
    let (open, position_deg) = fine.widest(middle_s);
    let margin = Some(LimbMargin {
        covered_arcsec: -open,
        sigma_arcsec: limb_sigma_arcsec(view, middle_s, position_deg),
        position_angle_deg: position_deg,
    });
    if open >= 0.0 {
        return Central::partial(margin);
    }
    let end = |towards_s: f64| coarse.end(middle_s, middle_s + towards_s);
    match end(-30.0).zip(end(30.0)) {
        Some(ends) => Central {
            kind: kind(total),
            ends: Some(ends),
            margin,
        },
        None => Central::partial(margin),
    }
}

/// Position angle at which the mean limbs touch.
fn towards_deg(view: &EclipseView, total: bool, t_s: f64) -> f64 {
    let moon = view.at(view.origin().plus_s(t_s)).position_angle_deg();
    if total { moon + 180.0 } else { moon }
}

/// The limbs along some arcs: how far the phase is from being central there.
pub(super) struct Gap<'a> {
    view: &'a EclipseView,
    total: bool,
    points: Vec<Point>,
}

/// A point of the Moon's limb.
#[derive(Clone, Copy, Debug)]
struct Point {
    position_deg: f64,
    /// Unit vector towards east and north.
    towards: (f64, f64),
    radius_arcsec: f64,
}

impl<'a> Gap<'a> {
    fn at(view: &'a EclipseView, total: bool, t_s: f64, arcs: &[Arc], step_deg: f64) -> Self {
        let line = Sightline::new(&view.moon_aspect(view.origin().plus_s(t_s)));
        let profiles: Vec<LimbProfile> = arcs
            .iter()
            .map(|arc| line.profile(*arc, step_deg))
            .collect();
        let points = profiles.iter().flat_map(LimbProfile::points);
        Self {
            view,
            total,
            points: points.map(Point::new).collect(),
        }
    }

    /// How far the limbs are the wrong way round where they are most so, in seconds of arc, and the position angle: sunlight
    /// past the Moon against totality, the Moon past the Sun's limb against annularity.
    fn widest(&self, t_s: f64) -> (f64, f64) {
        let sun = SunFromMoon::at(self.view, t_s);
        let mut widest = (f64::NEG_INFINITY, 0.0);
        for point in &self.points {
            let open = self.hand() * (sun.limb_arcsec(point.towards) - point.radius_arcsec);
            if open > widest.0 {
                widest = (open, point.position_deg);
            }
        }
        widest
    }

    fn hand(&self) -> f64 {
        if self.total { 1.0 } else { -1.0 }
    }

    /// The instant at which the limbs are least the wrong way round, by golden section: towards each position angle the gap
    /// falls and rises nearly evenly, so that the widest of them has one least value.
    fn deepest_s(&self, about_s: f64) -> f64 {
        let golden = (5_f64.sqrt() - 1.0) / 2.0;
        let (mut a, mut b) = (about_s - MIDDLE_S, about_s + MIDDLE_S);
        while b - a > 0.02 {
            let (left, right) = (b - golden * (b - a), a + golden * (b - a));
            if self.widest(left).0 < self.widest(right).0 {
                b = right;
            } else {
                a = left;
            }
        }
        (a + b) / 2.0
    }

    /// The end of the central phase that lies from `middle_s` towards `side_s`: found on this profile, then on finer ones taken
    /// at the instant found.
    fn end(&self, middle_s: f64, side_s: f64) -> Option<End> {
        let coarse_s = self.crossing(middle_s, side_s, 0.0)?;
        let mut end_s = coarse_s;
        for _ in 0..4 {
            let fine = self.finer(end_s);
            let next_s = fine.crossing(middle_s, side_s, 0.0)?;
            let moved_s = (next_s - end_s).abs();
            end_s = next_s;
            if moved_s < SETTLED_S {
                let (_, position_deg) = fine.widest(end_s);
                return Some(End {
                    t_s: end_s,
                    position_deg,
                    sigma_s: self.sigma_s(middle_s, coarse_s, position_deg),
                });
            }
        }
        None
    }

    /// When the limbs are the wrong way round by `open_arcsec`, going from the middle to one side.
    fn crossing(&self, middle_s: f64, side_s: f64, open_arcsec: f64) -> Option<f64> {
        let gap = |t_s: f64| self.widest(t_s).0 - open_arcsec;
        if gap(middle_s) >= 0.0 {
            return None;
        }
        solve::side(&gap, middle_s, side_s - middle_s)
    }

    /// One sigma of a contact: how far it moves where the limbs are off by one sigma either way, on the profile itself; no
    /// contact at all one way counts as far as the middle.
    fn sigma_s(&self, middle_s: f64, end_s: f64, position_deg: f64) -> f64 {
        let sigma = limb_sigma_arcsec(self.view, end_s, position_deg);
        let side_s = end_s;
        let moved = |open: f64| self.crossing(middle_s, side_s, open);
        let outwards = moved(sigma).map_or(0.0, |t_s| (t_s - end_s).abs());
        let inwards = moved(-sigma).map_or((middle_s - end_s).abs(), |t_s| (t_s - end_s).abs());
        outwards.max(inwards)
    }

    /// A fine profile taken at an instant, of the stretches that may decide.
    fn finer(&self, t_s: f64) -> Gap<'a> {
        let sun = SunFromMoon::at(self.view, t_s);
        let widest = self.widest(t_s).0;
        let near = |point: &&Point| {
            let open = self.hand() * (sun.limb_arcsec(point.towards) - point.radius_arcsec);
            open > widest - NEAR_ARCSEC
        };
        let near = self.points.iter().filter(near).map(|p| p.position_deg);
        Gap::at(self.view, self.total, t_s, &arcs_about(near), FINE_DEG)
    }
}

/// Arcs that hold the neighbourhood of each position angle, those that meet joined; the angles come in order round the circle.
fn arcs_about(positions_deg: impl Iterator<Item = f64>) -> Vec<Arc> {
    let mut arcs: Vec<Arc> = Vec::new();
    for deg in positions_deg {
        let from_deg = (deg - COARSE_DEG).rem_euclid(360.0);
        let last = arcs.last_mut();
        match last
            .filter(|arc| (from_deg - arc.from_deg).rem_euclid(360.0) <= arc.length_deg + 1e-9)
        {
            Some(arc) => {
                let reach = (deg + COARSE_DEG - arc.from_deg).rem_euclid(360.0);
                arc.length_deg = arc.length_deg.max(reach);
            }
            None => arcs.push(Arc::about(deg, COARSE_DEG)),
        }
    }
    arcs
}

impl Point {
    fn new((position_deg, radius_arcsec): (f64, f64)) -> Self {
        Self {
            position_deg,
            towards: position_deg.to_radians().sin_cos(),
            radius_arcsec,
        }
    }
}
