//! Which eclipse, and from where.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::mountains::Mountains;
use super::{Given, ModelError};
use crate::contacts::{self, ContactsOptions};
use crate::domain::{
    Contacts, GpsFix, LocalKind, Notice, NoticeKind, Shot, Site, SiteSource, SunMoon, upper_median,
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

/// The eclipse of the capture dates; without one that of the GPS dates; without that one of a date that capture dates are easily
/// mistaken for.
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
    let site = probable_site(given, shots);
    let slips = site.map(|site| slips(&dates, &site)).unwrap_or_default();
    match slips.first() {
        Some(slip) => {
            notices.push(Notice::look(slip.told(&slips[1..])));
            Ok(slip.eclipse)
        }
        None => Err(no_eclipse_in(&dates)),
    }
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

/// The site as given, else where most GPS fixes lie, whatever their date.
fn probable_site(given: &Given, shots: &[Shot]) -> Option<Site> {
    let fixes: Vec<GpsFix> = shots.iter().filter_map(|shot| shot.gps).collect();
    let by_gps =
        || most_central(&fixes).and_then(|fix| Site::new(fix.lat_deg, fix.lon_deg, 0.0).ok());
    given.site.or_else(by_gps)
}

/// What a place saw of an eclipse; `None` where nothing, or the Sun was down.
fn seen_from(site: &Site, eclipse: &Eclipse) -> Option<Contacts> {
    let contacts = contacts::at(site, eclipse.date(), &ContactsOptions::default()).ok()?;
    let up = contacts.events().any(|event| event.sun_up);
    (up && contacts.kind != LocalKind::None).then_some(contacts)
}

/// An eclipse that the place saw on a day for which a capture date is easily set or read by mistake.
#[derive(Clone, Copy, Debug)]
struct Slip {
    /// The capture date.
    date: Date,
    /// Shots on it.
    count: usize,
    eclipse: Eclipse,
    /// Whether it was total or annular at the place.
    central: bool,
    kind: SlipKind,
}

/// What was mistaken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum SlipKind {
    /// The year, by so many.
    Year(i16),
    /// Day and month, one for the other.
    Order,
}

/// Years by which a clock is set wrong by mistake; farther off it shows what it was made with, and the year says nothing
/// (our choice).
const NEAR_YEARS: i16 = 3;

impl Slip {
    fn of((date, count): (Date, usize), eclipse: Eclipse, site: &Site) -> Option<Self> {
        let years = (eclipse.date().year() - date.year()).abs();
        let kind = if same_day(eclipse.date(), date) {
            SlipKind::Year(years)
        } else if years == 0 && swapped(date) == Some(eclipse.date()) {
            SlipKind::Order
        } else {
            return None;
        };
        Some(Self {
            date,
            count,
            eclipse,
            central: seen_from(site, &eclipse)?.c2.is_some(),
            kind,
        })
    }

    /// Likeliest first: the busiest day, then a year or two, then eclipses people travel for, then the nearest year. Eclipses of
    /// one day of the year come 19 years apart, so that a place sees several.
    fn rank(&self) -> (std::cmp::Reverse<usize>, bool, bool, i16) {
        let years = match self.kind {
            SlipKind::Year(years) => years,
            SlipKind::Order => 1,
        };
        let far = years > NEAR_YEARS;
        (
            std::cmp::Reverse(self.count),
            far,
            far && !self.central,
            years,
        )
    }

    /// What a person is told; `others` are less likely ones.
    fn told(&self, others: &[Self]) -> NoticeKind {
        let (date, eclipse) = (self.date, self.eclipse.date());
        let mut others: Vec<Date> = others.iter().map(|slip| slip.eclipse.date()).collect();
        others.retain(|other| *other != eclipse);
        others.sort();
        others.dedup();
        match self.kind {
            SlipKind::Year(_) => NoticeKind::EclipseOfAnotherYear {
                date,
                eclipse,
                others,
            },
            SlipKind::Order => NoticeKind::EclipseOfSwappedDate { date, eclipse },
        }
    }
}

/// All such eclipses, likeliest first.
fn slips(dates: &BTreeMap<Date, usize>, site: &Site) -> Vec<Slip> {
    let mut found: Vec<Slip> = dates
        .iter()
        .flat_map(|(date, count)| {
            ephemeris::eclipses().filter_map(|eclipse| Slip::of((*date, *count), eclipse, site))
        })
        .collect();
    found.sort_by_key(Slip::rank);
    found
}

/// The date with day and month one for the other, as where a camera asks for them in another order than its owner writes them.
fn swapped(date: Date) -> Option<Date> {
    Date::new(date.year(), date.day(), date.month()).ok()
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
    Some(GpsFix {
        elev_m: upper_median(&mut heights),
        ..*central
    })
}

/// Distance of two fixes in degrees of a great circle, near enough for small ones.
fn apart_deg(a: &GpsFix, b: &GpsFix) -> f64 {
    let east = (a.lon_deg - b.lon_deg + 540.0).rem_euclid(360.0) - 180.0;
    (a.lat_deg - b.lat_deg).hypot(east * a.lat_deg.to_radians().cos())
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn dates(all: &[(Date, usize)]) -> BTreeMap<Date, usize> {
        all.iter().copied().collect()
    }

    fn texas() -> Site {
        Site::new(32.44, -97.79, 220.0).unwrap()
    }

    #[test]
    fn a_year_off_is_the_nearest_year() {
        for year in [2023, 2025, 2022] {
            let found = slips(&dates(&[(date(year, 4, 8), 5)]), &texas());
            assert_eq!(found[0].eclipse.date(), date(2024, 4, 8), "{year}");
        }
    }

    /// Texas saw eclipses on 8 April 2005 (partial) and 2024 (total), and sees one on 9 April 2043 (partial).
    #[test]
    fn a_year_that_says_nothing_leaves_several_and_they_are_told() {
        let found = slips(&dates(&[(date(2010, 4, 8), 5)]), &texas());
        assert_eq!(found[0].eclipse.date(), date(2024, 4, 8));
        let NoticeKind::EclipseOfAnotherYear { others, .. } = found[0].told(&found[1..]) else {
            panic!("{found:?}");
        };
        assert!(others.contains(&date(2005, 4, 8)), "{others:?}");
    }

    #[test]
    fn day_and_month_may_be_one_for_the_other() {
        let found = slips(&dates(&[(date(2024, 8, 4), 5)]), &texas());
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].eclipse.date(), date(2024, 4, 8));
        assert_eq!(found[0].kind, SlipKind::Order);
    }

    #[test]
    fn dates_a_clock_starts_from_tell_nothing() {
        for start in [date(1970, 1, 1), date(1980, 1, 1), date(2000, 1, 1)] {
            assert!(slips(&dates(&[(start, 5)]), &texas()).is_empty(), "{start}");
        }
    }
}
