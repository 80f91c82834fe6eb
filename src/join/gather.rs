//! One record from many, taken one after another.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::bodies::Bodies;
use crate::catalogue::{
    CameraRecord, CardRecord, Catalogue, FileRecord, FilmRecord, ShotRecord, SourceRecord, Stray,
    VERSION,
};
use crate::domain::{BurstPlace, CameraId, LocalKind};

/// A card that was sorted by itself.
pub struct SortedCard {
    /// The name it has among the others.
    pub name: String,
    /// The folder of its own results.
    pub out: PathBuf,
    /// Its record.
    pub record: Catalogue,
    /// The credit line of its own recipe.
    pub credit: Option<String>,
    /// Whether its own recipe lets files tell the place.
    pub embed_location: bool,
}

/// Records on their way into one. Each is let go of as soon as it was taken.
pub struct Joining<'a> {
    /// The folder for the joined results.
    out: &'a Path,
    /// The first file of each content.
    first: BTreeMap<String, String>,
    sources: Vec<SourceRecord>,
    cards: Vec<CardRecord>,
    bodies: Bodies,
    /// With the index of the card each is from.
    shots: Vec<(usize, ShotRecord)>,
    films: Vec<(usize, FilmRecord)>,
    strays: Vec<Stray>,
}

impl<'a> Joining<'a> {
    /// Nothing yet, for results in this folder.
    pub fn new(out: &'a Path) -> Self {
        Self {
            out,
            first: BTreeMap::new(),
            sources: Vec::new(),
            cards: Vec::new(),
            bodies: Bodies::default(),
            shots: Vec::new(),
            films: Vec::new(),
            strays: Vec::new(),
        }
    }

    /// Takes a card's record; gives how many shots it adds. One without an eclipse adds nothing.
    pub fn take(&mut self, card: SortedCard) -> usize {
        let SortedCard {
            name,
            out,
            record,
            credit,
            embed_location,
        } = card;
        let Some(contacts) = record.contacts else {
            return 0;
        };
        let number = self.sources.len();
        let named = |file: &str| format!("{name}/{file}");
        let mut known: BTreeMap<String, String> = BTreeMap::new();
        for card in record.cards {
            let files = card.files.into_iter();
            let files = files.map(|file| self.placed(file, &named, &mut known));
            let files = files.collect();
            self.cards
                .push(CardRecord::new(&card.path, self.out, files));
        }
        let before = self.shots.len();
        let new = |file: &str| !known.contains_key(&named(file));
        let shots = record.shots.into_iter().filter(|s| new(s.name()));
        let shots = shots.map(|shot| (number, renamed(shot, &named)));
        self.shots.extend(shots);
        let films = record.films.into_iter().filter(|f| new(f.name()));
        self.films.extend(films.map(|mut film| {
            film.film.file.name = named(film.name());
            (number, film)
        }));
        self.strays
            .extend(record.strays.into_iter().map(|stray| Stray {
                name: named(&stray.name),
                ..stray
            }));
        self.bodies.take(number, evidenced(record.cameras, &named));
        self.sources.push(SourceRecord {
            name,
            out,
            site_source: record.site_source,
            zone: record.zone,
            contacts,
            credit,
            embed_location,
            shared_files: known.len(),
        });
        self.shots.len() - before
    }

    /// A file under its new name. One whose contents another card has counts there: `known` learns of it.
    fn placed(
        &mut self,
        file: FileRecord,
        named: &dyn Fn(&str) -> String,
        known: &mut BTreeMap<String, String>,
    ) -> FileRecord {
        let name = named(&file.name);
        let within = file.same_as.as_deref().map(named);
        let within = within.map(|first| known.get(&first).cloned().unwrap_or(first));
        let elsewhere = match (&within, &file.content_id) {
            (None, Some(id)) => self.first.get(id).cloned(),
            _ => None,
        };
        match (&elsewhere, &within, &file.content_id) {
            (Some(first), ..) => {
                known.insert(name.clone(), first.clone());
            }
            (None, None, Some(id)) => {
                self.first.insert(id.clone(), name.clone());
            }
            _ => {}
        }
        FileRecord {
            name,
            same_as: within.or(elsewhere),
            ..file
        }
    }

    /// The joined record. Site, zone and contacts are those of the first card that saw most: totality before annularity before less.
    /// `None` without a card.
    pub fn finish(self, program: &str) -> Option<Catalogue> {
        let here = of_the_fullest(&self.sources)?;
        let (site_source, zone) = (here.site_source, here.zone.clone());
        let contacts = Some(here.contacts.clone());
        let names: Vec<String> = self.sources.iter().map(|s| s.name.clone()).collect();
        let apart = self.bodies.apart(&names);
        let cameras = self.bodies.records(&apart);
        let mut films: Vec<FilmRecord> = self
            .films
            .into_iter()
            .map(|(card, film)| of_body(card, film, &apart, &cameras))
            .collect();
        films.sort_by_key(|film| (film.utc.is_none(), film.utc));
        Some(Catalogue {
            version: VERSION,
            program: program.to_owned(),
            cards: self.cards,
            sources: self.sources,
            site_source,
            zone,
            contacts,
            corona: None,
            cameras,
            shots: in_order(self.shots, &apart),
            films,
            strays: self.strays,
            notices: Vec::new(),
        })
    }
}

/// The first of the cards whose place saw most of the eclipse.
fn of_the_fullest(sources: &[SourceRecord]) -> Option<&SourceRecord> {
    let rank = |source: &SourceRecord| match source.contacts.kind {
        LocalKind::Total => 0,
        LocalKind::Annular => 1,
        LocalKind::Partial => 2,
        LocalKind::None => 3,
    };
    sources.iter().min_by_key(|source| rank(source))
}

fn renamed(mut shot: ShotRecord, named: &dyn Fn(&str) -> String) -> ShotRecord {
    shot.shot.file.name = named(shot.name());
    shot.sibling = shot.sibling.as_deref().map(named);
    shot
}

/// The evidence of clocks names its frames as they are called now.
fn evidenced(mut cameras: Vec<CameraRecord>, named: &dyn Fn(&str) -> String) -> Vec<CameraRecord> {
    for point in cameras.iter_mut().flat_map(|c| &mut c.clock_points) {
        point.file = named(&point.file);
    }
    cameras
}

/// A film whose camera is called as it is now.
fn of_body(
    card: usize,
    mut film: FilmRecord,
    apart: &BTreeMap<(usize, CameraId), CameraId>,
    cameras: &[CameraRecord],
) -> FilmRecord {
    let now = |id: CameraId| {
        let key = (card, id);
        apart.get(&key).cloned().unwrap_or(key.1)
    };
    film.film.camera = film.film.camera.map(now);
    film.clock_of = film.clock_of.map(now);
    let body = film.clock_of.as_ref();
    if let Some(body) = body.and_then(|id| cameras.iter().find(|camera| camera.id == *id)) {
        film.camera_label = body.label.clone();
    }
    film
}

/// All shots in time order, those without a time last, bodies called as they are now, bursts numbered anew.
fn in_order(
    mut shots: Vec<(usize, ShotRecord)>,
    apart: &BTreeMap<(usize, CameraId), CameraId>,
) -> Vec<ShotRecord> {
    shots.sort_by_key(|(_, shot)| (shot.utc.is_none(), shot.utc));
    let mut bursts: BTreeMap<(usize, u32), u32> = BTreeMap::new();
    let shots = shots.into_iter().map(|(card, mut shot)| {
        let camera = shot.shot.camera.take().map(|id| (card, id));
        shot.shot.camera = camera.map(|key| apart.get(&key).cloned().unwrap_or(key.1));
        shot.burst = shot.burst.map(|burst| {
            let next = bursts.len() as u32 + 1;
            let id = *bursts.entry((card, burst.id)).or_insert(next);
            BurstPlace { id, ..burst }
        });
        shot
    });
    shots.collect()
}
