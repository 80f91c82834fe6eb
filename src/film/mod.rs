//! Turns a film's header into a [`Film`]: what camera, when by its clock, how long, how fast, how large. The pictures in it are not read,
//! nor the whole of it: boxes are passed over by their sizes, and of streams only the ends are looked at.
//!
//! Boxes are decoded by `mp4-atom`, parameters of pictures by `h264-reader`; walking them is ours, so that damaged sizes cost neither
//! memory nor time. Containers: ISO/IEC 14496-12 and Apple's QuickTime File Format; ISO/IEC 13818-1 with ITU-T H.264.

mod boxes;
mod movie;
mod stream;
mod tags;

use std::fs::File;
use std::io::{self, BufReader};

use crate::domain::{Film, FilmContainer, FilmFile, FilmLack, IoCause};
use crate::raster::contained;

/// Reads one film's header. Trouble is among what it lacks; what can be told is told all the same.
pub fn read(file: &FilmFile) -> Film {
    let lacking = |lack: FilmLack| Film {
        lacks: vec![lack],
        ..Film::bare(file.clone())
    };
    let mut film = match contained(|| opened(file)) {
        None => lacking(FilmLack::ReaderBrokeDown),
        Some(Ok(film)) => film,
        Some(Err(e)) if e.kind() == io::ErrorKind::UnexpectedEof => lacking(FilmLack::EndsInside),
        Some(Err(e)) => lacking(FilmLack::NotRead {
            cause: IoCause::from(&e),
        }),
    };
    film.lacks.sort();
    film.lacks.dedup();
    film
}

fn opened(file: &FilmFile) -> io::Result<Film> {
    let opened = File::open(&file.path)?;
    let length = opened.metadata()?.len();
    let reader = BufReader::new(opened);
    match file.container {
        FilmContainer::Quicktime | FilmContainer::Mp4 => movie::read(file.clone(), reader, length),
        FilmContainer::TransportStream => stream::read(file.clone(), reader, length),
        FilmContainer::ProgramStream | FilmContainer::Avi => Ok(Film {
            lacks: vec![FilmLack::Container],
            ..Film::bare(file.clone())
        }),
    }
}
