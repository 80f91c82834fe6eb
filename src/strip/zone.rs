//! Local time for captions and comments.

use crate::catalogue::Catalogue;
use crate::domain::{Utc, Zone};

/// An instant in the catalogue's zone to the nearest second, as `format` (strftime) says; in UTC where there is no zone that can be read.
pub(super) fn local_time(catalogue: &Catalogue, utc: Utc, format: &str) -> String {
    Zone::rules_of(catalogue.zone.as_deref())
        .to_datetime(utc.nearest_second().timestamp())
        .strftime(format)
        .to_string()
}
