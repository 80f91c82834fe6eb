//! Sunlight between the mountains: which stretches of the Moon's limb are lit around second and third contact.

use super::sun_limb::SunFromMoon;
use crate::domain::{ContactEvent, ContactKind, Contacts, MoonLimb, Utc};
use crate::ephemeris::EclipseView;
use crate::limb::{Arc, Sightline};

/// How long before second and after third contact is looked at, seconds.
const SPAN_S: f64 = 15.0;
/// Seconds between the instants looked at.
const STEP_S: f64 = 0.1;
/// Degrees of position angle between the points of the limb.
const STEP_DEG: f64 = 0.02;
/// Peaks and valleys depart from the mean limb by no more than this, seconds of arc.
const RELIEF_ARCSEC: f64 = 5.0;
/// A bead that stands alone for less than this, in seconds, is not told by itself (our choice: two frames of a fast camera).
const LEAST_ALONE_S: f64 = 0.2;
/// Where the diamond stands is read off the light this long from the contact, in seconds (our choice: the ring shows about then).
const DIAMOND_S: f64 = 1.0;

/// A stretch of the limb past which sunlight comes. Position angles are about the Moon's centre.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LitStretch {
    /// Where it begins, degrees from north through east, 0 to 360.
    pub from_deg: f64,
    /// Where it ends, going on through east, 0 to 360.
    pub to_deg: f64,
    /// Greatest height of the Sun's limb beyond the Moon's, seconds of arc.
    pub height_arcsec: f64,
    /// Position angle of that height.
    pub peak_deg: f64,
    /// Area of bare Sun in square seconds of arc.
    pub area_arcsec2: f64,
}

/// The limb at one instant.
#[derive(Clone, Debug, PartialEq)]
pub struct LitInstant {
    /// Seconds from the contact; negative before second contact.
    pub from_contact_s: f64,
    /// When.
    pub utc: Utc,
    /// What is lit, in order of position angle.
    pub lit: Vec<LitStretch>,
}

/// Light that stands alone for a while.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bead {
    /// Where its last or first light is, degrees.
    pub position_angle_deg: f64,
    /// The same from the zenith, degrees.
    pub vertex_angle_deg: f64,
    /// When it begins to stand alone, seconds from the contact: it parts from a neighbour (total: before C2; annular: after C3) or
    /// lights up (total: after C3; annular: before C2).
    pub from_s: f64,
    /// When that ends: it goes out, or joins a neighbour.
    pub to_s: f64,
    /// Height of the Sun's limb beyond the Moon's where it parts or joins, seconds of arc.
    pub height_arcsec: f64,
}

/// What is lit around one contact.
#[derive(Clone, Debug, PartialEq)]
pub struct Beads {
    /// C2 or C3.
    pub contact: ContactKind,
    /// The contact.
    pub utc: Utc,
    /// Parallactic angle then, degrees: vertex angle is position angle less this.
    pub parallactic_deg: f64,
    /// The last 15 s before second contact or the first after third, in time order.
    pub instants: Vec<LitInstant>,
    /// Single beads in time order of their end (C2) or beginning (C3).
    pub beads: Vec<Bead>,
    /// The last light of second contact, the first of third, where the ring is at its brightest 1 s from it: place of the
    /// stretch with the largest area of bare Sun, position angle in degrees.
    pub diamond_deg: f64,
    /// The Moon's limb: position angle in degrees and height above the mean of the arc in seconds of arc.
    pub limb: Vec<(f64, f64)>,
    /// Height of the Sun's limb above the same level at -10, -5, -3, -2, -1 and 0 s from the contact (after it for C3), in step with
    /// `limb`.
    pub sun: Vec<(f64, Vec<f64>)>,
}

/// Seconds from the contact at which the Sun's limb is drawn.
const DRAWN_S: [f64; 6] = [10.0, 5.0, 3.0, 2.0, 1.0, 0.0];

/// The beads of a place's contacts on the real limb; empty on the mean one and where there is no central phase.
///
/// For an annular eclipse the stretches are those between the mountains that break the ring, the long rest of the ring among them.
pub fn beads(view: &EclipseView, contacts: &Contacts) -> Vec<Beads> {
    if contacts.limb == MoonLimb::Mean {
        return Vec::new();
    }
    let ends = [contacts.c2, contacts.c3];
    ends.iter().flatten().map(|end| about(view, end)).collect()
}

fn about(view: &EclipseView, end: &ContactEvent) -> Beads {
    let t_s = end.utc.seconds_since(view.origin());
    let hand = if end.kind == ContactKind::C2 {
        -1.0
    } else {
        1.0
    };
    let points = points(view, end, t_s, hand);
    let steps = (SPAN_S / STEP_S).round() as usize;
    // From the contact outwards; put in time order at the end.
    let mut instants: Vec<LitInstant> = (0..=steps)
        .map(|n| {
            let from_contact_s = hand * n as f64 * STEP_S;
            LitInstant {
                from_contact_s,
                utc: end.utc.plus_s(from_contact_s),
                lit: lit(&SunFromMoon::at(view, t_s + from_contact_s), &points),
            }
        })
        .collect();
    let edges = [
        points[0].position_deg,
        points[points.len() - 1].position_deg,
    ];
    let beads = tracked(&instants, edges, end);
    let near = (DIAMOND_S / STEP_S).round() as usize;
    let brightest = instants[near]
        .lit
        .iter()
        .max_by(|a, b| a.area_arcsec2.total_cmp(&b.area_arcsec2));
    let diamond_deg = brightest.map_or(end.position_angle_deg, |stretch| stretch.peak_deg);
    if hand < 0.0 {
        instants.reverse();
    }
    let level = points.iter().map(|p| p.radius_arcsec).sum::<f64>() / points.len().max(1) as f64;
    let sun = DRAWN_S.map(|off_s| {
        let sun = SunFromMoon::at(view, t_s + hand * off_s);
        let height = |p: &Point| sun.limb_arcsec(p.towards) - level;
        (hand * off_s, points.iter().map(height).collect())
    });
    Beads {
        contact: end.kind,
        utc: end.utc,
        parallactic_deg: end.sky.parallactic_deg,
        instants,
        beads,
        diamond_deg,
        limb: points
            .iter()
            .map(|p| (p.position_deg, p.radius_arcsec - level))
            .collect(),
        sun: sun.to_vec(),
    }
}

/// A point of the Moon's limb.
#[derive(Clone, Copy, Debug)]
struct Point {
    position_deg: f64,
    towards: (f64, f64),
    radius_arcsec: f64,
}

/// The limb as far round as the Sun's can pass it within the span.
fn points(view: &EclipseView, end: &ContactEvent, t_s: f64, hand: f64) -> Vec<Point> {
    let (here, out) = (view.discs(t_s), view.discs(t_s + hand * SPAN_S));
    let apart = (here.sun_radius_arcsec - here.moon_radius_arcsec).abs();
    let moved = (out.separation_arcsec - here.separation_arcsec).abs();
    let half = (1.0 - (moved + RELIEF_ARCSEC) / apart)
        .clamp(-1.0, 1.0)
        .acos();
    let middle_deg = sunward_deg(view, end);
    let arc = Arc::about(middle_deg, half.to_degrees().max(30.0));
    let line = Sightline::new(&view.moon_aspect(end.utc));
    let profile = line.profile(arc, STEP_DEG);
    let point = |(position_deg, radius_arcsec): (f64, f64)| Point {
        position_deg,
        towards: position_deg.to_radians().sin_cos(),
        radius_arcsec,
    };
    profile.points().map(point).collect()
}

/// Position angle at which the mean limbs are nearest to touching.
fn sunward_deg(view: &EclipseView, end: &ContactEvent) -> f64 {
    let moon_deg = end.sky.position_angle_deg();
    let discs = view.discs(end.utc.seconds_since(view.origin()));
    if discs.moon_radius_arcsec > discs.sun_radius_arcsec {
        (moon_deg + 180.0).rem_euclid(360.0)
    } else {
        moon_deg
    }
}

/// The stretches past which the Sun's limb stands.
fn lit(sun: &SunFromMoon, points: &[Point]) -> Vec<LitStretch> {
    let open = |p: &Point| sun.limb_arcsec(p.towards) - p.radius_arcsec;
    let mut found: Vec<LitStretch> = Vec::new();
    let mut dark = true;
    for point in points {
        let height = open(point);
        if height <= 0.0 {
            dark = true;
            continue;
        }
        if dark {
            found.push(LitStretch {
                from_deg: point.position_deg,
                to_deg: point.position_deg,
                height_arcsec: height,
                peak_deg: point.position_deg,
                area_arcsec2: 0.0,
            });
            dark = false;
        }
        let last = found.last_mut().expect("one was begun");
        last.to_deg = point.position_deg;
        last.area_arcsec2 += height * point.radius_arcsec * STEP_DEG.to_radians();
        if height > last.height_arcsec {
            last.height_arcsec = height;
            last.peak_deg = point.position_deg;
        }
    }
    found
}

impl LitStretch {
    /// Whether a position angle lies within it.
    pub fn holds(&self, position_deg: f64) -> bool {
        let length = (self.to_deg - self.from_deg).rem_euclid(360.0);
        (position_deg - self.from_deg).rem_euclid(360.0) <= length + 1e-9
    }
}

/// Beads from the contact outwards. For a total eclipse what is lit only grows and joins that way, for an annular one it splits and
/// shrinks; either way each stretch without one inside it a step nearer to the
/// contact is a bead, followed outwards for as long as it stands alone. `edges` are the ends of the arc looked at.
fn tracked(outwards: &[LitInstant], edges: [f64; 2], end: &ContactEvent) -> Vec<Bead> {
    let mut beads = Vec::new();
    for (n, instant) in outwards.iter().enumerate() {
        for stretch in &instant.lit {
            let older = n > 0
                && outwards[n - 1]
                    .lit
                    .iter()
                    .any(|s| stretch.holds(s.peak_deg));
            // What reaches beyond the points looked at is the crescent or the rest of the ring.
            let ends = [stretch.from_deg, stretch.to_deg];
            if older || ends.iter().any(|deg| edges.contains(deg)) {
                continue;
            }
            let (joins, height_arcsec) = alone_until(outwards, n, stretch.peak_deg);
            let (on_s, joined_s) = (instant.from_contact_s, outwards[joins].from_contact_s);
            // The last light, where the diamond stands, is told however soon it joins its neighbours.
            let diamond = stretch.holds(end.position_angle_deg) && on_s.abs() < LEAST_ALONE_S;
            if !diamond && (joined_s - on_s).abs() < LEAST_ALONE_S - 1e-9 {
                continue;
            }
            beads.push(Bead {
                position_angle_deg: stretch.peak_deg,
                vertex_angle_deg: (stretch.peak_deg - end.sky.parallactic_deg).rem_euclid(360.0),
                from_s: on_s.min(joined_s),
                to_s: on_s.max(joined_s),
                height_arcsec,
            });
        }
    }
    if end.kind == ContactKind::C2 {
        beads.sort_by(|a, b| a.to_s.total_cmp(&b.to_s));
    }
    beads
}

/// The last instant, going outwards from the `first`, at which the stretch about a position angle holds no other stretch of the
/// instant before it, and how high it is then.
fn alone_until(outwards: &[LitInstant], first: usize, position_deg: f64) -> (usize, f64) {
    let find = |n: usize| outwards[n].lit.iter().find(|s| s.holds(position_deg));
    let mut last = (first, find(first).map_or(0.0, |s| s.height_arcsec));
    for n in first + 1..outwards.len() {
        let Some(stretch) = find(n) else { break };
        let inside = outwards[n - 1]
            .lit
            .iter()
            .filter(|s| stretch.holds(s.peak_deg));
        if inside.count() > 1 {
            break;
        }
        last = (n, stretch.height_arcsec);
    }
    last
}
