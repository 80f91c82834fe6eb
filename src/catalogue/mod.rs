//! The record of a card: every file, what was found, what was not. Every making command works from it.
//!
//! Saved as JSON (`catalogue.json`, versioned) and as a table (`shots.csv`), both written beside their final names and
//! renamed when whole. It holds no time of writing, so the same card gives the same bytes.

mod atomic;
mod cards;
mod cells;
mod content;
mod films;
mod head;
mod older;
mod schema;
mod sources;
mod table;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use atomic::{WriteError, is_half_written, write_atomically, write_unless};
pub use cards::{CardRecord, FileRecord};
pub(crate) use content::digits;
pub use content::{content_id, pass_on, sha256, sha256_of_file};
pub use films::{FILM_COLUMNS, FILMS_FILE, FilmRecord, chief_phase, write_film_table};
pub use head::CatalogueHead;
pub use schema::schema;
pub use sources::SourceRecord;
pub use table::{CARD_COLUMN, COLUMNS, write_table};

use crate::domain::{
    BurstPlace, CameraId, Circle, ClockCorrection, ClockOutcome, ContactKind, Contacts, DiscFit,
    Flag, Flags, FrameLook, Limb, NoDisc, Notice, Phase, Role, Shot, Shown, SiteSource, StrayKind,
    SunMoon, Utc,
};

/// Layout version written to `catalogue.json`. Earlier ones are read too: see [`Catalogue::load`].
///
/// 1: program 0.1. 2: cards list their files by place and content, paths of shots are below them. 3: kinds and numbers where there
/// were sentences.
pub const VERSION: u32 = 3;

/// Name of the record below OUT.
pub const CATALOGUE_FILE: &str = "catalogue.json";

/// Name of the table below OUT.
pub const TABLE_FILE: &str = "shots.csv";

/// All that is known about one shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShotRecord {
    /// The file and its header.
    pub shot: Shot,
    /// Long lens or wide view, where it could be told.
    pub role: Option<Role>,
    /// True time of the start of the exposure.
    pub utc: Option<Utc>,
    /// One sigma of `utc` in seconds.
    pub utc_sigma_s: Option<f64>,
    /// Part of the eclipse.
    pub phase: Phase,
    /// The contact whose side is not certain.
    pub near_contact: Option<ContactKind>,
    /// Place in a burst.
    pub burst: Option<BurstPlace>,
    /// The discs found. On a totality frame `sun` is the Moon's centre moved by the computed offset.
    pub disc: Option<DiscFit>,
    /// Why no disc was found, where one was looked for.
    pub no_disc: Option<NoDisc>,
    /// Plain measures of the frame, where it was decoded.
    pub look: Option<FrameLook>,
    /// Angle of celestial north in degrees, anticlockwise from picture up.
    pub north_deg: Option<f64>,
    /// Whether the picture is mirrored.
    pub mirrored: Option<bool>,
    /// Where Sun and Moon stood at `utc`.
    pub predicted: Option<SunMoon>,
    /// 0 to 1, for ranking frames of one phase.
    pub quality: Option<f64>,
    /// What a careful person would want to know.
    pub flags: Flags,
    /// Name of the raw beside this JPEG, or of the JPEG beside this raw.
    pub sibling: Option<String>,
}

impl ShotRecord {
    /// The file's name on the card.
    pub fn name(&self) -> &str {
        &self.shot.file.name
    }

    /// Whether this is a frame of the long lens, bare of its filter, on which the Moon before the Sun was fitted: by the picture, not
    /// by its time.
    pub fn shows_totality(&self) -> bool {
        let moon = self
            .disc
            .is_some_and(|fit| fit.limb == Limb::Moon && fit.sun.is_some());
        let covered = self.flags.has(Flag::FilterOn) || self.flags.has(Flag::Capped);
        moon && !covered && self.role != Some(Role::Wide)
    }

    /// The word for the `disc` column.
    pub fn disc_word(&self) -> &'static str {
        match self.disc.map(|fit| fit.limb) {
            Some(Limb::Sun) => "sun",
            Some(Limb::Moon) => "moon",
            None => "none",
        }
    }
}

/// All that is known about one body.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CameraRecord {
    /// The body.
    pub id: CameraId,
    /// Name used in outputs: make and model, and `#serial` where two bodies share a model.
    pub label: String,
    /// How its clock becomes true time.
    pub clock: ClockCorrection,
    /// Scale of the long lens in seconds of arc per pixel, where discs were found.
    pub arcsec_per_px: Option<f64>,
    /// How the clock came about.
    pub clock_outcome: ClockOutcome,
    /// Evidence point by point, for the residual plot.
    pub clock_points: Vec<ClockPoint>,
    /// What is known of the clock's error, for drawing; empty where nothing told.
    #[serde(default)]
    pub clock_curve: ClockCurve,
}

impl CameraRecord {
    /// The line on its clock: which way it is off and by how much, how sure that is, and what it rests on.
    pub fn clock_words(&self) -> String {
        self.clock_outcome.words(&self.clock)
    }
}

/// What is known of a clock's error: pairs of an error in seconds, the zone taken out, and its density over the largest, in
/// order of error.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct ClockCurve(
    /// The pairs.
    pub Vec<(f64, f64)>,
);

/// One frame's word on its camera's clock.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClockPoint {
    /// The frame.
    pub file: String,
    /// Solved true time of the frame.
    pub utc: Utc,
    /// Camera minus true time by this frame alone, minus the solved error, in seconds.
    pub residual_s: f64,
    /// One sigma of `residual_s` in seconds.
    pub sigma_s: f64,
    /// Whether the frame was left out as an outlier.
    pub outlier: bool,
}

/// The record of a card.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Catalogue {
    /// Layout version, [`VERSION`].
    pub version: u32,
    /// Program and version that wrote it.
    pub program: String,
    /// The folders read, with every picture's place on them.
    pub cards: Vec<CardRecord>,
    /// The cards it was joined from, each sorted by itself before; none in the record of a card. Site, zone and contacts below are then
    /// those of one of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sources: Vec<SourceRecord>,
    /// Where the site came from, where there is one.
    pub site_source: Option<SiteSource>,
    /// IANA name or offset of the zone local times are shown in.
    pub zone: Option<String>,
    /// The eclipse at the site, where one was found.
    pub contacts: Option<Contacts>,
    /// The merged corona, once there is one.
    #[serde(default)]
    pub corona: Option<CoronaRecord>,
    /// The bodies, in order of their labels.
    pub cameras: Vec<CameraRecord>,
    /// Every shot, in time order (those without a time last, by name).
    pub shots: Vec<ShotRecord>,
    /// Every film, in time order (those without a time last, by name).
    #[serde(default)]
    pub films: Vec<FilmRecord>,
    /// Files on the card that are not pictures: name and what they are.
    pub strays: Vec<Stray>,
    /// What a person should know.
    pub notices: Vec<Notice>,
}

/// What is in the corona's pictures.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CoronaRecord {
    /// The Sun, in pixels of `corona.tif`.
    pub sun: Circle,
    /// The Moon at the chosen instant, in pixels of `corona.tif`.
    pub moon: Circle,
    /// Angle of celestial north in degrees, anticlockwise from picture up.
    pub north_deg: Option<f64>,
    /// Whether the picture is mirrored.
    pub mirrored: bool,
    /// Names of the frames merged.
    pub frames: Vec<String>,
}

/// A file on the card that is not a picture.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
pub struct Stray {
    /// Path below the card.
    pub name: String,
    /// What it is, or why it was left.
    pub reason: StrayKind,
}

/// Trouble with the record.
#[derive(Debug, thiserror::Error)]
pub enum CatalogueError {
    /// There is none.
    #[error("no {CATALOGUE_FILE} in {out}; run `contactstrip sort CARD -o {out}` first", out = Shown(.0))]
    Missing(PathBuf),
    /// It cannot be read.
    #[error("cannot read {path}: {1}", path = Shown(.0))]
    Read(PathBuf, #[source] std::io::Error),
    /// It is not a catalogue.
    #[error("{path} is not a catalogue this program can read ({1}); move it away and run `contactstrip sort` again", path = Shown(.0))]
    Parse(PathBuf, #[source] serde_json::Error),
    /// It was written by another version.
    #[error("{path} has layout version {found}, this program reads 1 to {VERSION}; read it with a newer contactstrip, or move it away and run `contactstrip sort` again", path = Shown(.path))]
    Version {
        /// The file.
        path: PathBuf,
        /// Version found.
        found: u32,
    },
}

/// Why a record of an earlier layout cannot be read.
enum OlderError {
    Parse(serde_json::Error),
    Version(u32),
}

impl OlderError {
    fn of(self, path: &Path) -> CatalogueError {
        let path = path.to_owned();
        match self {
            Self::Parse(e) => CatalogueError::Parse(path, e),
            Self::Version(found) => CatalogueError::Version { path, found },
        }
    }
}

/// A record of an earlier layout, brought to today's step by step.
fn older_record(version: u32, text: &[u8]) -> Result<serde_json::Value, OlderError> {
    if !(1..VERSION).contains(&version) {
        return Err(OlderError::Version(version));
    }
    let record = serde_json::from_slice(text).map_err(OlderError::Parse)?;
    (version..VERSION).try_fold(record, |record, version| {
        older::next(version, record).ok_or(OlderError::Version(version))
    })
}

impl Catalogue {
    /// Reads `OUT/catalogue.json`. A record of an earlier layout is brought to today's in memory; the file changes only when a
    /// run writes its record.
    ///
    /// # Errors
    /// [`CatalogueError`] when it is missing, unreadable, not a catalogue or of a layout this program does not know.
    pub fn load(out: &Path) -> Result<Self, CatalogueError> {
        #[derive(Deserialize)]
        struct Head {
            version: u32,
        }
        let path = out.join(CATALOGUE_FILE);
        let text = match std::fs::read(&path) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
                return Err(CatalogueError::Missing(out.to_owned()));
            }
            Err(e) => return Err(CatalogueError::Read(path, e)),
        };
        let head: Head =
            serde_json::from_slice(&text).map_err(|e| CatalogueError::Parse(path.clone(), e))?;
        let parsed = if head.version == VERSION {
            serde_json::from_slice(&text)
        } else {
            let record = older_record(head.version, &text).map_err(|e| e.of(&path))?;
            serde_json::from_value(record)
        };
        let mut catalogue: Self = parsed.map_err(|e| CatalogueError::Parse(path, e))?;
        catalogue.place_files();
        Ok(catalogue)
    }

    /// Gives every shot and film the path its card says, as the cards are placed now.
    pub fn place_files(&mut self) {
        let paths: BTreeMap<String, PathBuf> = self
            .paths()
            .into_iter()
            .map(|(name, path)| (name.to_owned(), path))
            .collect();
        let root = self.cards.first().map(|card| card.path.clone());
        let place = |name: &str| {
            let unlisted = || root.clone().unwrap_or_default().join(name);
            paths.get(name).cloned().unwrap_or_else(unlisted)
        };
        for record in &mut self.shots {
            record.shot.file.path = place(&record.shot.file.name);
        }
        for record in &mut self.films {
            record.film.file.path = place(&record.film.file.name);
        }
    }

    /// Where each file of the cards is by its name, those beside a shot included.
    pub fn paths(&self) -> BTreeMap<&str, PathBuf> {
        let of_card = |card: &'_ CardRecord| -> Vec<PathBuf> {
            card.files
                .iter()
                .map(|f| card.path.join(&f.below))
                .collect()
        };
        self.cards
            .iter()
            .flat_map(|card| {
                card.files
                    .iter()
                    .map(|f| f.name.as_str())
                    .zip(of_card(card))
            })
            .collect()
    }

    /// Writes the record as JSON.
    ///
    /// # Errors
    /// Those of `out`.
    pub fn write_json(&self, out: &mut dyn std::io::Write) -> std::io::Result<()> {
        let mut buffered = std::io::BufWriter::new(out);
        serde_json::to_writer_pretty(&mut buffered, self)?;
        std::io::Write::write_all(&mut buffered, b"\n")?;
        std::io::Write::flush(&mut buffered)
    }

    /// The label of a shot's body, empty when the header names none.
    pub fn camera_label(&self, shot: &Shot) -> &str {
        shot.camera
            .as_ref()
            .and_then(|id| self.cameras.iter().find(|c| c.id == *id))
            .map_or("", |c| c.label.as_str())
    }

    /// The record of a file, by its name on the card.
    pub fn shot(&self, name: &str) -> Option<&ShotRecord> {
        self.shots.iter().find(|s| s.name() == name)
    }
}
