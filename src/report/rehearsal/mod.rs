//! Practice shots of the ordinary filtered Sun, read for what to mend before the day.
//!
//! [`rehearsal()`] takes the records of a folder of such shots and gives, body by body, a verdict on each point: focus,
//! exposure, drift, size of the disc, clock, and the frames themselves. It looks at numbers only, never at pixels.

mod axis;
mod measured;
mod point;
mod points;
mod sun;

use std::collections::BTreeMap;
use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

pub use point::{Point, Verdict};

use crate::catalogue::ShotRecord;
use crate::domain::{LocalKind, Practice, Role, safety_words};

/// One body's rehearsal.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BodyRehearsal {
    /// The body's name, empty where the headers name none.
    pub body: String,
    /// Its frames.
    pub frames: usize,
    /// The points in a fixed order.
    pub points: Vec<Point>,
    /// The numbers a shooting sheet can use.
    pub measured: Practice,
}

/// What the practice shots say.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rehearsal {
    /// Body by body, by name; empty when there are no frames.
    pub bodies: Vec<BodyRehearsal>,
}

/// Reads the practice shots. Wide views are left out; the order of the records does not matter.
pub fn rehearsal(shots: &[ShotRecord]) -> Rehearsal {
    let mut by_body: BTreeMap<String, Vec<&ShotRecord>> = BTreeMap::new();
    for shot in shots.iter().filter(|s| s.role != Some(Role::Wide)) {
        let body = shot
            .shot
            .camera
            .as_ref()
            .map_or_else(String::new, ToString::to_string);
        by_body.entry(body).or_default().push(shot);
    }
    let bodies = by_body
        .into_iter()
        .map(|(body, mut frames)| {
            frames.sort_by_key(|s| (s.shot.stamp.map(|t| t.time), s.name().to_owned()));
            BodyRehearsal {
                frames: frames.len(),
                points: points::all(&frames),
                measured: measured::measured(&body, &frames),
                body,
            }
        })
        .collect();
    Rehearsal { bodies }
}

/// Layout version of a rehearsal's JSON.
const VERSION: u32 = 1;

/// The JSON form.
#[derive(Serialize)]
struct Document<'a> {
    version: u32,
    #[serde(flatten)]
    rehearsal: &'a Rehearsal,
}

/// What is read of the JSON form.
#[derive(Deserialize)]
struct Kept {
    version: u32,
    bodies: Vec<KeptBody>,
}

#[derive(Deserialize)]
struct KeptBody {
    measured: Practice,
}

/// The text is no rehearsal.
#[derive(Debug, thiserror::Error)]
pub enum RehearsalError {
    /// It is no JSON of a rehearsal.
    #[error("it is not what `rehearse --json` writes")]
    NotOne(#[from] serde_json::Error),
    /// It is of a program to come.
    #[error("it has layout {0}; this program reads layout {VERSION}")]
    Version(u32),
}

/// The numbers a shooting sheet can use, from a rehearsal's JSON, body by body.
///
/// # Errors
/// [`RehearsalError`] when the text is no rehearsal of this layout.
pub fn kept_practice(json: &str) -> Result<Vec<Practice>, RehearsalError> {
    let kept: Kept = serde_json::from_str(json)?;
    if kept.version != VERSION {
        return Err(RehearsalError::Version(kept.version));
    }
    Ok(kept.bodies.into_iter().map(|b| b.measured).collect())
}

impl Rehearsal {
    /// The rehearsal as JSON, ending in a newline; units stand in the names.
    pub fn json(&self) -> String {
        let whole = Document {
            version: VERSION,
            rehearsal: self,
        };
        let text = serde_json::to_string_pretty(&whole);
        text.expect("a rehearsal has only string keys") + "\n"
    }

    /// Points to mend, of all bodies.
    pub fn to_mend(&self) -> usize {
        self.bodies
            .iter()
            .flat_map(|b| &b.points)
            .filter(|p| p.verdict == Verdict::Mend)
            .count()
    }

    /// The rehearsal as plain text, ending in a newline, with the cautions.
    pub fn text(&self) -> String {
        let mut out = String::from("REHEARSAL\n");
        if self.bodies.is_empty() {
            out.push_str(
                "\nNo frames to read. Shoot the plain Sun through the filter, a frame every minute \
                 or so.\n",
            );
        }
        for body in &self.bodies {
            let name = if body.body.is_empty() {
                "camera not named"
            } else {
                &body.body
            };
            let noun = if body.frames == 1 { "frame" } else { "frames" };
            let _ = writeln!(out, "\n{name}: {} {noun}", body.frames);
            for point in &body.points {
                let _ = writeln!(
                    out,
                    "  {:<9} {:<10} {}",
                    point.name,
                    point.verdict.word(),
                    point.found
                );
                if !point.advice.is_empty() {
                    let _ = writeln!(out, "  {:<9} {:<10} -> {}", "", "", point.advice);
                }
            }
        }
        let _ = match self.to_mend() {
            0 => writeln!(out, "\nNothing to fix."),
            1 => writeln!(out, "\n1 point to fix."),
            n => writeln!(out, "\n{n} points to fix."),
        };
        // An ordinary day is no totality: these are the words that keep every filter on.
        out.push('\n');
        for words in safety_words(Some(LocalKind::None)).into_iter().take(2) {
            let _ = writeln!(out, "{words}");
        }
        out
    }
}
