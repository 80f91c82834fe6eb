//! Whose pictures they are, where and when: what every picture made from a card says of itself.

use crate::catalogue::Catalogue;
use crate::domain::{Site, SiteSource};
use crate::phase::zone::Zone;
use crate::raster::PictureInfo;
use crate::strip::Recipe;

/// What the pictures of a card say besides what they show, as the recipe allows.
pub(crate) struct Imprint {
    credit: Option<String>,
    place: Option<(Site, SiteSource)>,
    zone: Option<Zone>,
}

impl Imprint {
    /// As the recipe says; without one there is no credit and the place is not told.
    pub(crate) fn of(catalogue: &Catalogue, recipe: Option<&Recipe>) -> Self {
        let site = catalogue
            .contacts
            .as_ref()
            .map(|c| (c.site, catalogue.site_source.unwrap_or(SiteSource::Given)));
        Self {
            credit: recipe.and_then(|r| r.credit.clone()),
            place: site.filter(|_| {
                recipe.is_some_and(|r| r.embed_location) && catalogue.lets_tell_place()
            }),
            zone: catalogue.zone.as_deref().and_then(|z| z.parse().ok()),
        }
    }

    /// Adds it to what a picture says.
    pub(crate) fn on(&self, info: PictureInfo) -> PictureInfo {
        let first = info.captured.map(|(first, _)| first);
        let offset_s = self
            .zone
            .as_ref()
            .zip(first)
            .map(|(z, utc)| z.offset_s(utc));
        PictureInfo {
            credit: self.credit.clone(),
            place: self.place,
            // EXIF has no seconds in an offset: then the times stay on UTC.
            offset_s: offset_s.filter(|s| s % 60 == 0).unwrap_or(0),
            ..info
        }
    }

    /// The same in words, a line each, for files without fields for it.
    pub(crate) fn words(&self) -> String {
        let credit = self
            .credit
            .iter()
            .map(|credit| format!("\nCredit: {credit}"));
        let place = self.place.iter().map(|(site, _)| {
            format!(
                "\nPlace: {:.4}, {:.4}, {:.0} m",
                site.lat_deg, site.lon_deg, site.elev_m
            )
        });
        credit.chain(place).collect()
    }
}
