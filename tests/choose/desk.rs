//! A small card with its record, drawn once for all tests of choosing; each works on a copy.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;
use std::sync::OnceLock;

use assert_cmd::Command;
use contactstrip::catalogue::{CATALOGUE_FILE, CardRecord, Catalogue};
use contactstrip::domain::Phase;

use crate::strip::drawn::{Scene, card, photograph};
use crate::support::header;

/// Seconds between its partials.
const STEP_S: f64 = 600.0;

/// A card and results of one's own.
pub(super) struct Desk {
    folder: tempfile::TempDir,
}

/// A record without a place, and its pictures as JPEGs by name.
type Drawn = (Catalogue, Vec<(String, Vec<u8>)>);

fn drawn() -> &'static Drawn {
    static DRAWN: OnceLock<Drawn> = OnceLock::new();
    DRAWN.get_or_init(|| {
        let (catalogue, takes) = card(&Scene::SMALL, STEP_S);
        let phase = |n: usize| catalogue.shots[n].phase;
        let jpeg = |n: usize, take| {
            let tile = photograph(&Scene::SMALL, take, phase(n));
            header::encoded(tile.frame(), 90)
        };
        let pictures = takes.iter().enumerate();
        let pictures = pictures.map(|(n, (name, take))| (name.clone(), jpeg(n, take)));
        let pictures = pictures.collect();
        (catalogue, pictures)
    })
}

impl Desk {
    /// The card with its record, and no recipe yet.
    pub(super) fn new() -> Self {
        let desk = Self {
            folder: tempfile::tempdir().unwrap(),
        };
        let (catalogue, pictures) = drawn();
        for (name, jpeg) in pictures {
            let path = desk.card().join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, jpeg).unwrap();
        }
        fs::create_dir_all(desk.out()).unwrap();
        let mut catalogue = catalogue.clone();
        catalogue.cards = vec![CardRecord::new(&desk.card(), &desk.out(), Vec::new())];
        for shot in &mut catalogue.shots {
            let meta = fs::metadata(desk.card().join(shot.name())).unwrap();
            shot.shot.file.size_bytes = meta.len();
        }
        desk.save(&catalogue);
        desk
    }

    /// The same with so many frames: most are the same few pictures under other names.
    pub(super) fn of_many(count: usize) -> Self {
        let desk = Self::new();
        let mut catalogue = desk.catalogue();
        let some = catalogue.shots.clone();
        for n in 0..count.saturating_sub(some.len()) {
            let mut shot = some[n % some.len()].clone();
            let name = format!("DCIM/101/MORE_{n:04}.JPG");
            let path = desk.card().join(&name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::hard_link(desk.card().join(shot.name()), path).unwrap();
            shot.utc = shot
                .utc
                .map(|utc| utc.plus_s(1.0 + (n / some.len()) as f64));
            shot.shot.file.name = name;
            catalogue.shots.push(shot);
        }
        catalogue.shots.sort_by_key(|s| s.utc);
        desk.save(&catalogue);
        desk
    }

    pub(super) fn save(&self, catalogue: &Catalogue) {
        let mut file = fs::File::create(self.out().join(CATALOGUE_FILE)).unwrap();
        catalogue.write_json(&mut file).unwrap();
    }

    pub(super) fn catalogue(&self) -> Catalogue {
        Catalogue::load(&self.out()).unwrap()
    }

    pub(super) fn card(&self) -> PathBuf {
        self.folder.path().join("card")
    }

    pub(super) fn out(&self) -> PathBuf {
        self.folder.path().join("out")
    }

    pub(super) fn read(&self, name: &str) -> String {
        fs::read_to_string(self.out().join(name)).unwrap()
    }

    pub(super) fn has(&self, name: &str) -> bool {
        self.out().join(name).exists()
    }

    /// Names of the frames of one phase, in time order.
    pub(super) fn frames(&self, phase: Phase) -> Vec<String> {
        let shots = self.catalogue().shots;
        let of_phase = shots.iter().filter(|s| s.phase == phase);
        of_phase.map(|s| s.name().to_owned()).collect()
    }

    /// Runs `strip` on the results.
    pub(super) fn strip(&self, more: &[&str]) -> Output {
        self.run("strip", more)
    }

    pub(super) fn run(&self, command: &str, more: &[&str]) -> Output {
        let mut program = Command::cargo_bin("contactstrip").unwrap();
        program
            .arg(command)
            .arg(self.out())
            .args(more)
            .output()
            .unwrap()
    }
}

/// What a run said, on either stream.
pub(super) fn said(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    text(&output.stdout) + &text(&output.stderr)
}

/// Width and height of a PNG.
pub(super) fn size(path: &Path) -> (u32, u32) {
    image::image_dimensions(path).unwrap()
}
