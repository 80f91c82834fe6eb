//! The cards behind a joined record: whose each was, where it was taken, and when the eclipse looked there as here.

use std::borrow::Cow;
use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Catalogue, ShotRecord};
use crate::domain::{Contacts, SiteSource, SunMoon, Utc, path_text};

/// A card that was sorted by itself and joined with others.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SourceRecord {
    /// Its name: that of each of its files begins with this and `/`.
    pub name: String,
    /// The folder of its own results, as an absolute path.
    #[serde(with = "path_text")]
    #[schemars(with = "String")]
    pub out: PathBuf,
    /// Where its site came from.
    pub site_source: Option<SiteSource>,
    /// IANA name or offset of the zone of its local times.
    pub zone: Option<String>,
    /// The eclipse at its place.
    pub contacts: Contacts,
    /// The credit line of its own recipe.
    pub credit: Option<String>,
    /// Whether its own recipe lets files tell the place.
    pub embed_location: bool,
    /// Its files that another card before it in the list has too: they count once, there.
    pub shared_files: usize,
}

impl SourceRecord {
    /// Whether a file of this name is from it.
    pub fn has(&self, name: &str) -> bool {
        let rest = name.strip_prefix(self.name.as_str());
        rest.is_some_and(|rest| rest.starts_with('/'))
    }
}

/// Places no farther apart than this, in kilometres, are one: the shadow passes such a distance in some ten seconds, and frames
/// within half a minute are one moment of a strip (our choice).
const ONE_PLACE_KM: f64 = 5.0;

impl Catalogue {
    /// Whether it is of several cards sorted by themselves.
    pub fn is_joined(&self) -> bool {
        !self.sources.is_empty()
    }

    /// The joined card that a file of this name is from; `None` in the record of a card by itself.
    pub fn source_of(&self, name: &str) -> Option<&SourceRecord> {
        self.sources.iter().find(|source| source.has(name))
    }

    /// The eclipse at the place a shot was taken at.
    pub fn contacts_of(&self, record: &ShotRecord) -> Option<&Contacts> {
        let own = self.source_of(record.name()).map(|source| &source.contacts);
        own.or(self.contacts.as_ref())
    }

    /// Whether a shot was taken at the place of [`Catalogue::contacts`].
    pub fn is_here(&self, record: &ShotRecord) -> bool {
        let there = self.contacts_of(record).map(|contacts| contacts.site);
        match (there, self.contacts.as_ref().map(|here| here.site)) {
            (Some(there), Some(here)) => there.distance_km(&here) <= ONE_PLACE_KM,
            _ => true,
        }
    }

    /// Whether everybody at the place of [`Catalogue::contacts`] lets files tell it, as far as their own recipes say.
    pub fn lets_tell_place(&self) -> bool {
        let site = self.contacts.as_ref().map(|here| here.site);
        let here = |source: &&SourceRecord| Some(source.contacts.site) == site;
        let mut all = self.sources.iter().filter(here);
        all.all(|source| source.embed_location)
    }

    /// When the eclipse looked at the place of [`Catalogue::contacts`] as it does in a shot: its own time where both are at one place,
    /// else the time at which as much of the Sun's diameter was covered there, before or after maximum as here. `None` without a time.
    pub fn sequence_utc(&self, record: &ShotRecord) -> Option<Utc> {
        let utc = record.utc?;
        let there = self
            .source_of(record.name())
            .filter(|_| !self.is_here(record));
        let (Some(there), Some(here)) = (there, &self.contacts) else {
            return Some(utc);
        };
        let sky = record.predicted.as_ref();
        Some(sky.map_or(utc, |sky| as_here(utc, sky, &there.contacts, here)))
    }

    /// The record with every shot at the time it has in the sequence, see [`Catalogue::sequence_utc`]: for drawings against the eclipse of
    /// one place.
    pub fn in_sequence(&self) -> Cow<'_, Self> {
        if self
            .sources
            .iter()
            .all(|source| Some(&source.contacts) == self.contacts.as_ref())
        {
            return Cow::Borrowed(self);
        }
        let mut timed = self.clone();
        for shot in &mut timed.shots {
            shot.utc = self.sequence_utc(shot);
        }
        Cow::Owned(timed)
    }
}

/// When the eclipse looks here as it does there at `utc`, when `sky` stands there.
///
/// Beyond first and fourth contact times count from these. Between them the distance of the centres is taken to grow from maximum as on a
/// straight way: `d^2 = d_max^2 + (d_1^2 - d_max^2) (t / t_1)^2`, for each side with its own contact, which holds to a minute
/// where it is held against the ephemeris.
fn as_here(utc: Utc, sky: &SunMoon, there: &Contacts, here: &Contacts) -> Utc {
    let (before, after) = (
        utc.seconds_since(there.c1.utc),
        utc.seconds_since(there.c4.utc),
    );
    if before <= 0.0 {
        return here.c1.utc.plus_s(before);
    }
    if after >= 0.0 {
        return here.c4.utc.plus_s(after);
    }
    let early = utc < there.maximum.utc;
    let outer = if early { &here.c1 } else { &here.c4 };
    let (middle, edge) = (
        here.maximum.sky.separation_arcsec(),
        outer.sky.separation_arcsec(),
    );
    let covered = (1.0 + sky.ratio()) * sky.sun_radius_arcsec - sky.separation_arcsec();
    let covered = covered / sky.sun_radius_arcsec;
    let nearest = &here.maximum.sky;
    let apart = (1.0 + nearest.ratio() - covered) * nearest.sun_radius_arcsec;
    let way = (apart.max(0.0).powi(2) - middle.powi(2)) / (edge.powi(2) - middle.powi(2));
    let away_s = outer.utc.seconds_since(here.maximum.utc) * way.clamp(0.0, 1.0).sqrt();
    here.maximum.utc.plus_s(away_s)
}
