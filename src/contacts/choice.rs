//! Which eclipse: from the days of capture, and over the years at a place.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::horizon::{self, Visible};
use super::{ContactsError, ContactsOptions, of_view};
use crate::domain::{Contacts, Site};
use crate::ephemeris::{Eclipse, EclipseView, eclipse_near, eclipses};

/// First and last year of the table.
pub const YEARS: std::ops::RangeInclusive<i16> = 1994..=2053;

/// The eclipse a set of capture dates belongs to: the one with most dates on it or a day beside it, the earliest of
/// equals. Dates without an eclipse are no hindrance as long as one has one.
///
/// # Errors
/// [`ContactsError::NoDates`] for an empty set; [`ContactsError::NoEclipse`] for the commonest date when none fits.
pub fn eclipse_of(dates: impl IntoIterator<Item = Date>) -> Result<Eclipse, ContactsError> {
    let mut counts: BTreeMap<Date, usize> = BTreeMap::new();
    for date in dates {
        *counts.entry(date).or_default() += 1;
    }
    let mut found: BTreeMap<Date, (usize, Eclipse)> = BTreeMap::new();
    for (date, count) in &counts {
        if let Ok(eclipse) = eclipse_near(*date) {
            found.entry(eclipse.date()).or_insert((0, eclipse)).0 += count;
        }
    }
    // `rev` lets the earliest win among equals, as `max_by_key` keeps the last.
    if let Some((_, eclipse)) = found.into_values().rev().max_by_key(|(count, _)| *count) {
        return Ok(eclipse);
    }
    let commonest = counts.iter().rev().max_by_key(|(_, count)| **count);
    let (date, _) = commonest.ok_or(ContactsError::NoDates)?;
    Err(eclipse_near(*date)
        .err()
        .map_or(ContactsError::NoDates, ContactsError::NoEclipse))
}

/// The eclipses of the years `first` to `last` with some part seen from a place with the Sun up, in time order, each ready
/// to be asked.
///
/// # Errors
/// [`ContactsError::Years`] when the years are out of order or beyond the table; options as in [`super::at`].
pub fn list(
    site: &Site,
    first: i16,
    last: i16,
    options: &ContactsOptions,
) -> Result<Vec<EclipseView>, ContactsError> {
    options.check()?;
    if first > last || !YEARS.contains(&first) || !YEARS.contains(&last) {
        return Err(ContactsError::Years(first, last));
    }
    let views = eclipses()
        .filter(|eclipse| (first..=last).contains(&eclipse.date().year()))
        .map(|eclipse| EclipseView::new(eclipse, *site, options.radii, options.delta_t_s));
    Ok(views.filter(|view| seen(view).is_some()).collect())
}

/// The first eclipse on or after `date` with some part seen from a place with the Sun up.
pub fn next_seen(site: &Site, date: Date, options: &ContactsOptions) -> Option<Contacts> {
    options.check().ok()?;
    eclipses()
        .filter(|eclipse| eclipse.date() >= date)
        .map(|eclipse| EclipseView::new(eclipse, *site, options.radii, options.delta_t_s))
        .find_map(|view| seen(&view))
}

/// The contacts where the Sun is up for some part of the eclipse.
pub fn seen(view: &EclipseView) -> Option<Contacts> {
    let contacts = of_view(view).ok()?;
    let crossings = horizon::crossings(view, &contacts);
    (horizon::visible(&contacts, &crossings) != Visible::No).then_some(contacts)
}
