//! Which eclipse, and from where.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::mountains::Mountains;
use super::{Given, ModelError};
use crate::contacts::{self, ContactsOptions};
use crate::domain::{
    Contacts, GpsFix, LocalKind, Notice, NoticeKind, Shot, Site, SiteSource, SunMoon,
};
use crate::ephemeris::{self, Eclipse, EclipseView};
use crate::phase::zone::{self, Zone};

/// The eclipse of a card, from the place of the card.
pub(crate) struct Place {
    /// Where the site came from.
    pub(crate) source: SiteSource,
    /// Contact times and circumstances, second and third contact on the Moon's real limb.
    pub(crate) contacts: Contacts,
    /// Sun and Moon for any instant.
    pub(crate) view: EclipseView,
    /// The Moon's limb over the eclipse.
    pub(crate) mountains: Mountains,
    /// Civil zone of the place.
    pub(crate) zone: Option<Zone>,
}

impl Place {
    /// Sun and Moon with the Moon where a circle fitted to all of its limb has it: mountains and valleys shift that by half a second
    /// of arc or so.
    pub(crate) fn fitted_whole(&self, sky: &SunMoon) -> SunMoon {
        let shift = self
            .mountains
            .whole_shift_arcsec(&self.contacts, &self.view, sky);
        SunMoon {
            moon_east_arcsec: sky.moon_east_arcsec + shift.east,
            moon_north_arcsec: sky.moon_north_arcsec + shift.north,
            ..*sky
        }
    }
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
    let eclipse = eclipse_of(given, shots, notices)?;
    let (site, source) = match given.site {
        Some(site) => (site, SiteSource::Given),
        None => (
            site_from_gps(shots, eclipse.date(), notices)?,
            SiteSource::Gps,
        ),
    };
    let options = ContactsOptions::real();
    let view = EclipseView::new(eclipse, site, options.radii, options.delta_t_s);
    Ok(Place {
        source,
        contacts: contacts::of_view_with(&view, options.limb)?,
        view,
        mountains: Mountains::default(),
        zone: zone::of_place(&site),
    })
}

/// The eclipse of the capture dates; without one that of the GPS dates; without that one of the same day of another year.
fn eclipse_of(
    given: &Given,
    shots: &[Shot],
    notices: &mut Vec<Notice>,
) -> Result<Eclipse, ModelError> {
    if let Some(date) = given.date {
        return ephemeris::eclipse_near(date).map_err(|none| ModelError::NoEclipse {
            asked: format!("on {date}"),
            near: neighbours(none.before, none.after),
        });
    }
    let dates = capture_dates(shots);
    if let Some(eclipse) = most_shots(&dates) {
        return Ok(eclipse);
    }
    if let Some(eclipse) = most_shots(&gps_dates(shots)) {
        notices.push(Notice::look(NoticeKind::EclipseByGps {
            eclipse: eclipse.date(),
        }));
        return Ok(eclipse);
    }
    let Some((date, eclipse)) = of_another_year(given, shots, &dates) else {
        return Err(no_eclipse_in(&dates));
    };
    notices.push(Notice::look(NoticeKind::EclipseOfAnotherYear {
        date,
        eclipse: eclipse.date(),
    }));
    Ok(eclipse)
}

/// The eclipse with most shots on its date or the day before or after.
fn most_shots(dates: &BTreeMap<Date, usize>) -> Option<Eclipse> {
    let mut votes: BTreeMap<Date, (usize, Eclipse)> = BTreeMap::new();
    for (date, count) in dates {
        if let Ok(eclipse) = ephemeris::eclipse_near(*date) {
            votes.entry(eclipse.date()).or_insert((0, eclipse)).0 += count;
        }
    }
    let most = votes.into_values().max_by_key(|(count, _)| *count)?;
    Some(most.1)
}

/// The eclipse that the place saw on the same day as the captures in the nearest other year, and the busiest of those dates; a
/// clock whose year was set wrong keeps its day.
fn of_another_year(
    given: &Given,
    shots: &[Shot],
    dates: &BTreeMap<Date, usize>,
) -> Option<(Date, Eclipse)> {
    let fixes: Vec<GpsFix> = shots.iter().filter_map(|shot| shot.gps).collect();
    let by_gps =
        || most_central(&fixes).and_then(|fix| Site::new(fix.lat_deg, fix.lon_deg, 0.0).ok());
    let site = given.site.or_else(by_gps)?;
    let seen = |eclipse: &Eclipse| {
        let contacts = contacts::at(&site, eclipse.date(), &ContactsOptions::default());
        contacts.is_ok_and(|contacts| contacts.kind != LocalKind::None && contacts.maximum.sun_up)
    };
    let mut found: Vec<(usize, i16, Date, Eclipse)> = Vec::new();
    for (date, count) in dates {
        for eclipse in ephemeris::eclipses().filter(|eclipse| same_day(eclipse.date(), *date)) {
            let years = (eclipse.date().year() - date.year()).abs();
            found.push((*count, years, *date, eclipse));
        }
    }
    found.sort_by_key(|(count, years, date, _)| (std::cmp::Reverse(*count), *years, *date));
    found
        .into_iter()
        .find(|(_, _, _, eclipse)| seen(eclipse))
        .map(|(_, _, date, eclipse)| (date, eclipse))
}

/// Whether two dates are the same day of the year, or neighbours.
fn same_day(a: Date, b: Date) -> bool {
    let moved = b.with().year(a.year()).build().or_else(|_| {
        // 29 February of a year that has none.
        b.with().year(a.year()).day(28).build()
    });
    moved.is_ok_and(|moved| {
        a.since(moved)
            .is_ok_and(|span| span.get_days().abs() <= NEAR_DAYS)
    })
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

/// Dates of the GPS fixes and how many shots each has.
fn gps_dates(shots: &[Shot]) -> BTreeMap<Date, usize> {
    let mut dates = BTreeMap::new();
    for utc in shots.iter().filter_map(|s| s.gps?.utc) {
        let date = jiff::tz::TimeZone::UTC.to_datetime(utc.timestamp()).date();
        *dates.entry(date).or_default() += 1;
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
        .filter(|shot| {
            shot.stamp
                .is_some_and(|stamp| same_day(date, stamp.time.civil().date()))
        })
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
        notices.push(Notice::look(NoticeKind::PositionsElsewhere {
            elsewhere: far,
            positions: fixes.len(),
        }));
    }
    let elev_m = middle
        .elev_m
        .filter(|m| (Site::ELEV_MIN_M..=Site::ELEV_MAX_M).contains(m));
    if elev_m.is_none() {
        notices.push(Notice::note(NoticeKind::NoElevation));
    }
    Site::new(middle.lat_deg, middle.lon_deg, elev_m.unwrap_or(0.0)).map_err(ModelError::Site)
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
