//! A film on the drawn card: its header alone, as a camera writes it that keeps local time. There are no pictures in it.

use mp4_atom::{Encode, Matrix, Mdhd, Mvhd, Stts, SttsEntry, Tkhd};

use super::body::Body;
use super::scenario::PlannedShot;
use crate::domain::Utc;

/// How long it lasts, in seconds, and how many pictures a second has.
const LENGTH_S: u32 = 40;
const RATE: u32 = 25;

/// Begins this long after the body's last still, in seconds.
const AFTER_LAST_S: f64 = 60.0;

/// Days from 1904-01-01, where films count from (ISO/IEC 14496-12, 8.2.2), to 1970-01-01.
const DAYS_1904: i64 = 24_107;

/// Name below the card and contents of a film by a body after its last shot; `None` for a body without shots.
pub(super) fn film(index: usize, body: &Body, shots: &[PlannedShot]) -> Option<(String, Vec<u8>)> {
    let own = shots.iter().filter(|shot| shot.body == index);
    let last = own.clone().next_back()?;
    let number = body.first_file as usize + own.count();
    let (folder, letters) = body.folder;
    let name = format!("DCIM/{folder}{letters}/MVI_{number:04}.MP4");
    Some((name, bytes(body, last.start.plus_s(AFTER_LAST_S))?))
}

/// A picture-less film that begins at an instant, by the body's clock.
fn bytes(body: &Body, begin: Utc) -> Option<Vec<u8>> {
    let reading = begin.plus_s(f64::from(body.zone_offset_s) + body.clock_error_s);
    let created = (reading.unix_s().floor() as i64 + DAYS_1904 * 86_400) as u64;
    let mut out = boxed(b"ftyp", b"mp42\0\0\0\0mp42isom");
    out.extend(boxed(b"mdat", &[0; 2048]));
    let media = [
        atom(&Mdhd {
            creation_time: created,
            modification_time: created,
            timescale: RATE,
            duration: u64::from(RATE * LENGTH_S),
            language: "und".to_owned(),
        })?,
        boxed(b"hdlr", b"\0\0\0\0\0\0\0\0vide\0\0\0\0\0\0\0\0\0\0\0\0\0"),
        boxed(b"minf", &boxed(b"stbl", &times()?)),
    ];
    let track = [
        atom(&Tkhd {
            creation_time: created,
            modification_time: created,
            track_id: 1,
            duration: u64::from(1000 * LENGTH_S),
            enabled: true,
            in_movie: true,
            matrix: upright(),
            width: 1920.into(),
            height: 1080.into(),
            ..Tkhd::default()
        })?,
        boxed(b"mdia", &media.concat()),
    ];
    let movie = [
        atom(&Mvhd {
            creation_time: created,
            modification_time: created,
            timescale: 1000,
            duration: u64::from(1000 * LENGTH_S),
            rate: 1.into(),
            volume: 1.into(),
            matrix: upright(),
            next_track_id: 2,
        })?,
        boxed(b"trak", &track.concat()),
        boxed(b"udta", &names(body)),
    ];
    out.extend(boxed(b"moov", &movie.concat()));
    Some(out)
}

fn times() -> Option<Vec<u8>> {
    atom(&Stts {
        entries: vec![SttsEntry {
            sample_count: RATE * LENGTH_S,
            sample_delta: 1,
        }],
    })
}

/// Make and model as user data: each behind its length and the language code of English (QuickTime File Format).
fn names(body: &Body) -> Vec<u8> {
    let text = |kind: &[u8; 4], text: &str| {
        let mut contents = (text.len() as u16).to_be_bytes().to_vec();
        contents.extend([0x15, 0xC7]); // "eng"
        contents.extend(text.as_bytes());
        boxed(kind, &contents)
    };
    let make = text(b"\xA9mak", &body.id.make);
    [make, text(b"\xA9mod", &body.id.model)].concat()
}

/// No turn: ones in 16.16, the last in 2.30 fixed point.
fn upright() -> Matrix {
    Matrix {
        a: 1 << 16,
        b: 0,
        u: 0,
        c: 0,
        d: 1 << 16,
        v: 0,
        x: 0,
        y: 0,
        w: 1 << 30,
    }
}

fn atom(atom: &impl Encode) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    atom.encode(&mut bytes).ok()?;
    Some(bytes)
}

fn boxed(kind: &[u8; 4], contents: &[u8]) -> Vec<u8> {
    let size = 8 + contents.len() as u32;
    [&size.to_be_bytes(), kind.as_slice(), contents].concat()
}
