//! MOV and MP4: time, length, rate and size from their boxes.

use std::io::{self, Read, Seek};

use jiff::Timestamp;
use jiff::tz::TimeZone;
use mp4_atom::{Atom, Mdhd, Mvhd, Stts, Tkhd};

use super::boxes::{Span, Walk};
use super::tags::{FIRST_YEAR, Tags};
use crate::domain::{CameraTime, Film, FilmFile, FilmLack};
use crate::raster::{CANON_BOX, boxes};

/// Longest box of plain numbers or tags that is read, in bytes (small JPEGs inside are the longest; our choice).
const TAG_BYTES: u64 = 1 << 20;

/// Longest table of times that is read, in bytes: some hours of a telephone's uneven rate.
const TABLE_BYTES: u64 = 8 << 20;

/// Seconds from 1904-01-01, where these files count from (ISO/IEC 14496-12, 8.2.2), to 1970-01-01.
const EPOCH_1904_S: i64 = 2_082_844_800;

/// Rates that a camera films at, in pictures a second: time-lapses to the fastest slow motion.
const RATES: std::ops::RangeInclusive<f64> = 0.01..=100_000.0;

/// Reads a film of `length` bytes as far as its boxes tell.
pub(super) fn read(file: FilmFile, reader: impl Read + Seek, length: u64) -> io::Result<Film> {
    let mut reading = Reading {
        walk: Walk::new(reader),
        film: Film::bare(file),
        tags: Tags::default(),
    };
    // A file that ends early gives what was found until there.
    match reading.whole(length) {
        Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => {
            reading.film.lacks.push(FilmLack::EndsInside);
        }
        outcome => outcome?,
    }
    let Reading { mut film, tags, .. } = reading;
    film.camera = tags.camera();
    film.stamp = tags.stamp();
    film.by_android = tags.by_android();
    Ok(film)
}

struct Reading<R> {
    walk: Walk<R>,
    film: Film,
    tags: Tags,
}

impl<R: Read + Seek> Reading<R> {
    fn whole(&mut self, length: u64) -> io::Result<()> {
        let top = self.walk.between(0, length)?;
        for span in top.iter().filter(|span| &span.kind == b"meta") {
            self.sony(*span)?;
        }
        match top.iter().find(|span| &span.kind == b"moov") {
            Some(moov) => self.movie(*moov)?,
            None => self.film.lacks.push(FilmLack::NoIndex),
        }
        if top.iter().any(|span| span.cut) {
            self.film.lacks.push(FilmLack::EndsInside);
        }
        Ok(())
    }

    fn movie(&mut self, moov: Span) -> io::Result<()> {
        let mut tracks = Vec::new();
        let mut in_fragments = false;
        for span in self.walk.inside(moov)? {
            match &span.kind {
                b"mvhd" => self.movie_header(span)?,
                b"trak" => tracks.push(span),
                b"mvex" => in_fragments = true,
                b"udta" => {
                    let body = self.walk.contents(span, TAG_BYTES)?;
                    self.tags.add_user_data(&body);
                }
                b"meta" => {
                    let body = self.walk.contents(span, TAG_BYTES)?;
                    self.tags.add_meta(&body);
                }
                b"uuid" => self.canon(span)?,
                _ => {}
            }
        }
        let mut pictures = false;
        for track in tracks {
            if !pictures {
                pictures = self.track(track)?;
            }
        }
        if !pictures {
            self.film.lacks.push(FilmLack::NoPictures);
        }
        if in_fragments {
            // What the index says of length and rate is of the first fragment, or nothing.
            self.film.duration_s = None;
            self.film.frame_rate = None;
            self.film.lacks.push(FilmLack::Fragments);
        }
        Ok(())
    }

    /// A box of plain numbers, decoded; damage is told and leaves it out.
    fn decoded<T: Atom>(&mut self, span: Span, most: u64) -> io::Result<Option<T>> {
        let body = self.walk.contents(span, most)?;
        let decoded = T::decode_body(&mut body.as_slice()).ok();
        if decoded.is_none() {
            let part = String::from_utf8_lossy(&span.kind).into_owned();
            self.film.lacks.push(FilmLack::Damaged { part });
        }
        Ok(decoded)
    }

    fn movie_header(&mut self, span: Span) -> io::Result<()> {
        if let Some(header) = self.decoded::<Mvhd>(span, TAG_BYTES)? {
            self.film.created = created(header.creation_time);
            self.film.duration_s = seconds(header.duration, header.timescale);
        }
        Ok(())
    }

    /// A track; whether it is one of pictures, which then is taken in.
    fn track(&mut self, track: Span) -> io::Result<bool> {
        let parts = self.walk.inside(track)?;
        let Some(media) = of_kind(&parts, b"mdia") else {
            return Ok(false);
        };
        let media = self.walk.inside(media)?;
        let Some(handler) = of_kind(&media, b"hdlr") else {
            return Ok(false);
        };
        let handler = self.walk.contents(handler, 12)?;
        if handler.get(8..12) != Some(b"vide") {
            return Ok(false);
        }
        let turned = match of_kind(&parts, b"tkhd") {
            Some(span) => self.track_header(span)?,
            None => false,
        };
        let header = match of_kind(&media, b"mdhd") {
            Some(span) => self.decoded::<Mdhd>(span, TAG_BYTES)?,
            None => None,
        };
        if let Some(header) = &header {
            let own = seconds(header.duration, header.timescale);
            self.film.duration_s = self.film.duration_s.or(own);
        }
        let Some(info) = of_kind(&media, b"minf") else {
            return Ok(true);
        };
        let info = self.walk.inside(info)?;
        let Some(table) = of_kind(&info, b"stbl") else {
            return Ok(true);
        };
        let tables = self.walk.inside(table)?;
        if let Some((span, header)) = of_kind(&tables, b"stts").zip(header) {
            self.rate(span, header.timescale)?;
        }
        if let Some(span) = of_kind(&tables, b"stsd") {
            let body = self.walk.contents(span, TAG_BYTES)?;
            self.description(&body, turned);
        }
        Ok(true)
    }

    /// Size as shown; gives whether the pictures stand on their side.
    fn track_header(&mut self, span: Span) -> io::Result<bool> {
        let Some(header) = self.decoded::<Tkhd>(span, TAG_BYTES)? else {
            return Ok(false);
        };
        let matrix = &header.matrix;
        let turned = matrix.a == 0 && matrix.d == 0 && matrix.b != 0 && matrix.c != 0;
        let size = [header.width.integer(), header.height.integer()].map(u32::from);
        if !header.size_is_aspect_ratio {
            self.size(size, turned);
        }
        Ok(turned)
    }

    fn size(&mut self, [width, height]: [u32; 2], turned: bool) {
        if width > 0 && height > 0 && self.film.width_px.is_none() {
            let (width, height) = if turned {
                (height, width)
            } else {
                (width, height)
            };
            self.film.width_px = Some(width);
            self.film.height_px = Some(height);
        }
    }

    /// Pictures a second: all samples over the sum of their times (ISO/IEC 14496-12, 8.6.1.2).
    fn rate(&mut self, span: Span, timescale: u32) -> io::Result<()> {
        let Some(table) = self.decoded::<Stts>(span, TABLE_BYTES)? else {
            return Ok(());
        };
        let samples = table.entries.iter().map(|e| f64::from(e.sample_count));
        let ticks = table
            .entries
            .iter()
            .map(|e| f64::from(e.sample_count) * f64::from(e.sample_delta));
        let rate = samples.sum::<f64>() * f64::from(timescale) / ticks.sum::<f64>();
        self.film.frame_rate = Some(rate).filter(|rate| RATES.contains(rate));
        Ok(())
    }

    /// Coding and, where the track does not say it, size (ISO/IEC 14496-12, 8.5.2 and 12.1.3): behind version and count, the first entry has
    /// its size, its kind, 24 bytes, then width and height.
    fn description(&mut self, body: &[u8], turned: bool) {
        let Some(kind) = body.get(12..16) else {
            return;
        };
        let plain = kind.iter().all(|b| b.is_ascii_graphic() || *b == b' ');
        let text = String::from_utf8_lossy(kind).trim().to_owned();
        self.film.codec = Some(text).filter(|text| plain && !text.is_empty());
        let side = |at: usize| {
            Some(u32::from(u16::from_be_bytes(
                *body.get(at..)?.first_chunk()?,
            )))
        };
        if let Some((width, height)) = side(40).zip(side(42)) {
            self.size([width, height], turned);
        }
    }

    /// Canon's box: blocks of TIFF as in its raw files.
    fn canon(&mut self, span: Span) -> io::Result<()> {
        let body = self.walk.contents(span, TAG_BYTES)?;
        if let Some(inside) = body.strip_prefix(CANON_BOX.as_slice()) {
            boxes(inside)
                .filter(|(kind, _)| matches!(kind, b"CMT1" | b"CMT2"))
                .for_each(|(_, block)| self.tags.add_block(block));
            self.tags.add_user_data(inside);
        }
        Ok(())
    }

    /// Sony's text beside the film, in a box `xml ` behind four bytes of version.
    fn sony(&mut self, meta: Span) -> io::Result<()> {
        let body = self.walk.contents(meta, TAG_BYTES)?;
        let inside = body.get(4..).unwrap_or_default();
        let xml = boxes(inside).find(|(kind, _)| kind == b"xml ");
        if let Some((_, text)) = xml {
            self.tags.add_sony(text.get(4..).unwrap_or_default());
        }
        Ok(())
    }
}

fn of_kind(spans: &[Span], kind: &[u8; 4]) -> Option<Span> {
    spans.iter().find(|span| &span.kind == kind).copied()
}

/// The creation time as it stands there; zero, and years no film is of, stand for nothing.
fn created(seconds: u64) -> Option<CameraTime> {
    let unix_s = i64::try_from(seconds).ok()?.checked_sub(EPOCH_1904_S)?;
    let civil = TimeZone::UTC.to_datetime(Timestamp::from_second(unix_s).ok()?);
    (civil.year() >= FIRST_YEAR).then(|| CameraTime::new(civil))
}

/// A length in seconds; all bits set stand for a length not known (ISO/IEC 14496-12, 8.2.2).
fn seconds(duration: u64, timescale: u32) -> Option<f64> {
    let known = duration > 0 && duration != u64::from(u32::MAX) && duration != u64::MAX;
    (known && timescale > 0).then(|| duration as f64 / f64::from(timescale))
}
