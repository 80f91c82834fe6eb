//! Films of a card: when of the eclipse each was taken, and `films.csv`, one row a film.

use std::io::{self, Write};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::cells::{cell, fixed, text, write_rows};
use crate::domain::{CameraId, ContactKind, Film, FilmEvidence, FilmTime, Phase, Role, Utc};

/// Name of the table of films below OUT; there is none for a card without films.
pub const FILMS_FILE: &str = "films.csv";

/// All that is known about one film.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FilmRecord {
    /// The file and its header.
    pub film: Film,
    /// Name of its camera in outputs: the label of the body of the card whose clock it shares, else its own make and model; empty when
    /// the header names none.
    pub camera_label: String,
    /// The body of the card whose clock it shares.
    pub clock_of: Option<CameraId>,
    /// Long lens or wide view, where all shots of its body are one.
    pub role: Option<Role>,
    /// Where the true time comes from.
    pub time_from: FilmTime,
    /// What settled how the creation time is meant.
    pub settled_by: Option<FilmEvidence>,
    /// True time of its beginning.
    pub utc: Option<Utc>,
    /// One sigma of `utc` in seconds.
    pub utc_sigma_s: Option<f64>,
    /// The phase whose folder it goes to: of those it holds, see [`chief_phase`].
    pub phase: Phase,
    /// All phases it runs through, in order.
    pub phases: Vec<Phase>,
    /// The contact on whose side its beginning or its end is not certain.
    pub near_contact: Option<ContactKind>,
}

impl FilmRecord {
    /// The file's name on the card.
    pub fn name(&self) -> &str {
        &self.film.file.name
    }

    /// True time of its end, where its length is known.
    pub fn end(&self) -> Option<Utc> {
        Some(self.utc?.plus_s(self.film.duration_s?))
    }
}

/// The one phase a film of several goes by, given how long it holds each, in seconds: totality or annularity where it holds any; else
/// second or third contact; else the phase it holds longest. Of equals the first. `None` for none.
pub fn chief_phase(held: &[(Phase, f64)]) -> Option<Phase> {
    let rank = |phase: Phase| match phase {
        Phase::Totality | Phase::Annularity => 2,
        Phase::SecondContact | Phase::ThirdContact => 1,
        _ => 0,
    };
    let mut chief: Option<&(Phase, f64)> = None;
    for now in held {
        let better = chief.is_none_or(|best| {
            (rank(now.0), now.1).partial_cmp(&(rank(best.0), best.1))
                == Some(std::cmp::Ordering::Greater)
        });
        if better {
            chief = Some(now);
        }
    }
    chief.map(|(phase, _)| *phase)
}

/// Column names of `films.csv`, in their fixed order.
///
/// `clock`: the time as the camera wrote it, in its own tag or as the container's creation time. `utc`: of the beginning. `time_from` tells
/// which tag that is and how it was read; `unread` what could not be read.
pub const FILM_COLUMNS: [&str; 17] = [
    "file",
    "format",
    "camera",
    "role",
    "clock",
    "utc",
    "utc_sigma_s",
    "duration_s",
    "frame_rate",
    "width_px",
    "height_px",
    "codec",
    "phase",
    "phases",
    "near_contact",
    "time_from",
    "unread",
];

/// Writes the table of films; what is not known stays blank.
///
/// # Errors
/// Those of `out`.
pub fn write_film_table(films: &[FilmRecord], out: &mut dyn Write) -> io::Result<()> {
    write_rows(FILM_COLUMNS, films.iter().map(row), out)
}

fn row(record: &FilmRecord) -> [String; FILM_COLUMNS.len()] {
    let film = &record.film;
    let words: Vec<&str> = record.phases.iter().map(|phase| phase.word()).collect();
    let lacks: Vec<String> = film.lacks.iter().map(ToString::to_string).collect();
    let clock = film.stamp.map(|stamp| stamp.time).or(film.created);
    [
        cell(&film.file.name),
        film.file.container.word().to_owned(),
        cell(&record.camera_label),
        text(record.role.map(Role::word)),
        text(clock),
        text(record.utc),
        fixed(record.utc_sigma_s, 3),
        fixed(film.duration_s, 3),
        fixed(film.frame_rate, 3),
        text(film.width_px),
        text(film.height_px),
        cell(film.codec.as_deref().unwrap_or_default()),
        record.phase.word().to_owned(),
        words.join(" "),
        text(record.near_contact.map(ContactKind::word)),
        record.time_from.word().to_owned(),
        lacks.join("; "),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_film_of_several_phases_goes_by_what_it_was_made_for() {
        use Phase::{Egress, Ingress, SecondContact, ThirdContact, Totality};
        let chief = |held: &[(Phase, f64)]| chief_phase(held);
        assert_eq!(chief(&[]), None);
        assert_eq!(chief(&[(Ingress, 3.0)]), Some(Ingress));
        let all = [
            (Ingress, 600.0),
            (SecondContact, 25.0),
            (Totality, 1.0),
            (ThirdContact, 25.0),
        ];
        assert_eq!(chief(&all), Some(Totality));
        assert_eq!(chief(&all[..2]), Some(SecondContact));
        let short = [(SecondContact, 4.0), (ThirdContact, 25.0)];
        assert_eq!(chief(&short), Some(ThirdContact));
        assert_eq!(chief(&[(Ingress, 5.0), (Egress, 5.0)]), Some(Ingress));
    }
}
