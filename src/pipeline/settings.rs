//! What a run was asked to do, resolved from what was typed.

use std::path::PathBuf;

use jiff::civil::Date;

use crate::domain::Site;
use crate::model::{Given, KnownClock};
use crate::phase::zone::Zone;

/// What to read and what is known beforehand.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    /// Folders to read.
    pub cards: Vec<PathBuf>,
    /// Folder for the results.
    pub out: PathBuf,
    /// Place of the camera.
    pub site: Option<Site>,
    /// Date of the eclipse.
    pub date: Option<Date>,
    /// How the camera clocks were set.
    pub zone: Option<Zone>,
    /// Known clock errors.
    pub clocks: Vec<KnownClock>,
    /// Whether the pictures are mirror images, as through a star diagonal; `None` lets them tell.
    pub mirrored: Option<bool>,
    /// Write small pictures with the fitted circles.
    pub overlays: bool,
    /// The card was drawn by this program for these results: an earlier drawing's record may be replaced.
    pub drawn: bool,
    /// Write nothing.
    pub dry_run: bool,
}

impl Settings {
    /// What is known beforehand.
    pub(crate) fn given(&self) -> Given {
        Given {
            site: self.site,
            date: self.date,
            zone: self.zone.clone(),
            clocks: self.clocks.clone(),
            mirrored: self.mirrored,
        }
    }
}

/// The results of an earlier run that a command works from.
#[derive(Clone, Debug, Default)]
pub struct Target {
    /// Their folder.
    pub out: PathBuf,
    /// Where the card, or each of several, is now, where that is not what the record says.
    pub cards: Vec<PathBuf>,
    /// Write nothing.
    pub dry_run: bool,
}
