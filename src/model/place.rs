//! Which eclipse, and from where.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::{Given, ModelError};
use crate::contacts;
use crate::domain::{Contacts, GpsFix, Notice, Shot, Site, SiteSource};
use crate::ephemeris::{self, Eclipse, EclipseView, Radii};
use crate::phase::zone::{self, Zone};

/// The eclipse of a card, from the place of the card.
pub(crate) struct Place {
    /// Where the site came from.
    pub(crate) source: SiteSource,
    /// Contact times and circumstances.
    pub(crate) contacts: Contacts,
    /// Sun and Moon for any instant.
    pub(crate) view: EclipseView,
    /// Civil zone of the place.
    pub(crate) zone: Option<Zone>,
}

/// GPS fixes farther from the chosen one than this, in degrees, are spoken of: about 5 km.
const SAME_PLACE_DEG: f64 = 0.05;

/// Days either side of the eclipse whose pictures may still tell where it was seen: camera dates can be off by one.
const NEAR_DAYS: i32 = 1;

/// Finds the eclipse from the capture dates (or as given) and the site from GPS (or as given).
pub(crate) fn settle(
    given: &Given,
    shots: &[Shot],
    notices: &mut Vec<Notice>,
) -> Result<Place, ModelError> {
    let eclipse = eclipse_of(given.date, shots)?;
    let (site, source) = match given.site {
        Some(site) => (site, SiteSource::Given),
        None => (
            site_from_gps(shots, eclipse.date(), notices)?,
            SiteSource::Gps,
        ),
    };
    let contacts = contacts::at(&site, eclipse.date(), &contacts::ContactsOptions::default())?;
    Ok(Place {
        source,
        contacts,
        view: EclipseView::new(eclipse, site, Radii::default(), None),
        zone: zone::of_place(&site),
    })
}

/// The eclipse with most shots on its date or the day before or after.
fn eclipse_of(given: Option<Date>, shots: &[Shot]) -> Result<Eclipse, ModelError> {
    if let Some(date) = given {
        return ephemeris::eclipse_near(date).map_err(|none| ModelError::NoEclipse {
            asked: format!("on {date}"),
            near: neighbours(none.before, none.after),
        });
    }
    let dates = capture_dates(shots);
    let mut votes: BTreeMap<Date, (usize, Eclipse)> = BTreeMap::new();
    for (date, count) in &dates {
        if let Ok(eclipse) = ephemeris::eclipse_near(*date) {
            votes.entry(eclipse.date()).or_insert((0, eclipse)).0 += count;
        }
    }
    match votes.into_values().max_by_key(|(count, _)| *count) {
        Some((_, eclipse)) => Ok(eclipse),
        None => Err(no_eclipse_in(&dates)),
    }
}

fn no_eclipse_in(dates: &BTreeMap<Date, usize>) -> ModelError {
    let busiest = dates.iter().max_by_key(|(_, count)| **count);
    match busiest {
        None => ModelError::NoDates,
        Some((date, _)) => ModelError::NoEclipse {
            asked: format!(
                "on the capture dates ({} to {})",
                dates.keys().next().unwrap_or(date),
                dates.keys().next_back().unwrap_or(date)
            ),
            near: match ephemeris::eclipse_near(*date) {
                Ok(eclipse) => eclipse.date().to_string(),
                Err(none) => neighbours(none.before, none.after),
            },
        },
    }
}

fn neighbours(before: Option<Eclipse>, after: Option<Eclipse>) -> String {
    let dates: Vec<String> = [before, after]
        .into_iter()
        .flatten()
        .map(|e| e.date().to_string())
        .collect();
    dates.join(" and ")
}

/// Capture dates on the cameras' clocks and how many shots each has.
fn capture_dates(shots: &[Shot]) -> BTreeMap<Date, usize> {
    let mut dates = BTreeMap::new();
    for stamp in shots.iter().filter_map(|s| s.stamp) {
        *dates.entry(stamp.time.civil().date()).or_default() += 1;
    }
    dates
}

/// The place most of the fixes of the day agree on.
fn site_from_gps(
    shots: &[Shot],
    date: Date,
    notices: &mut Vec<Notice>,
) -> Result<Site, ModelError> {
    let fixes: Vec<GpsFix> = shots
        .iter()
        .filter(|shot| taken_near(shot, date))
        .filter_map(|shot| shot.gps)
        .collect();
    let Some(middle) = most_central(&fixes) else {
        return Err(ModelError::NoSite {
            date,
            elsewhere: shots.iter().filter(|s| s.gps.is_some()).count(),
        });
    };
    let far = fixes
        .iter()
        .filter(|fix| apart_deg(fix, &middle) > SAME_PLACE_DEG)
        .count();
    if far > 0 {
        notices.push(Notice::look(format!(
            "{far} of {} GPS positions of the day lie elsewhere; took the place most agree on; pass --site if it is wrong",
            fixes.len()
        )));
    }
    let elev_m = middle
        .elev_m
        .filter(|m| (Site::ELEV_MIN_M..=Site::ELEV_MAX_M).contains(m));
    if elev_m.is_none() {
        notices.push(Notice::note(
            "GPS gives no elevation; took 0 m, which costs up to about a second at 3,000 m; pass --site with it",
        ));
    }
    Site::new(middle.lat_deg, middle.lon_deg, elev_m.unwrap_or(0.0)).map_err(ModelError::Site)
}

fn taken_near(shot: &Shot, date: Date) -> bool {
    shot.stamp.is_some_and(|stamp| {
        stamp
            .time
            .civil()
            .date()
            .since(date)
            .is_ok_and(|span| span.get_days().abs() <= NEAR_DAYS)
    })
}

/// The fix with the least sum of distances to the others (of the first few hundred); the first of equals.
fn most_central(fixes: &[GpsFix]) -> Option<GpsFix> {
    /// Enough to find the place, few enough to compare all with all.
    const MOST: usize = 300;
    let some = &fixes[..fixes.len().min(MOST)];
    let spread = |fix: &GpsFix| -> f64 { some.iter().map(|other| apart_deg(fix, other)).sum() };
    let central = some.iter().min_by(|a, b| spread(a).total_cmp(&spread(b)))?;
    let mut heights: Vec<f64> = some
        .iter()
        .filter(|fix| apart_deg(fix, central) <= SAME_PLACE_DEG)
        .filter_map(|fix| fix.elev_m)
        .collect();
    heights.sort_by(f64::total_cmp);
    Some(GpsFix {
        elev_m: heights.get(heights.len() / 2).copied(),
        ..*central
    })
}

/// Distance of two fixes in degrees of a great circle, near enough for small ones.
fn apart_deg(a: &GpsFix, b: &GpsFix) -> f64 {
    let east = (a.lon_deg - b.lon_deg + 540.0).rem_euclid(360.0) - 180.0;
    (a.lat_deg - b.lat_deg).hypot(east * a.lat_deg.to_radians().cos())
}
