//! Transport streams, as AVCHD cameras write them: size and rate from the pictures' own header, length from the time stamps, date from
//! the maker's message. Four megabytes at the front and one at the end are read, whatever the length.

use std::collections::BTreeMap;
use std::io::{self, Read, Seek, SeekFrom};

use h264_reader::nal::sps::SeqParameterSet;
use h264_reader::nal::{Nal, RefNal};
use h264_reader::rbsp::decode_nal;
use jiff::civil::DateTime;

use super::tags::FIRST_YEAR;
use crate::domain::{CameraId, CameraStamp, CameraTime, Film, FilmFile, FilmLack};

/// How much is read at the front, in bytes: a second or so of the fastest AVCHD (28 Mbit/s).
const FRONT_BYTES: u64 = 4 << 20;

/// How much at the end.
const END_BYTES: u64 = 1 << 20;

/// Ticks a second of a time stamp (ISO/IEC 13818-1, 2.4.3.7), and after how many they start over.
const TICKS_PER_S: f64 = 90_000.0;
const TICKS_ROUND: u64 = 1 << 33;

/// Longest film by its stamps, in seconds: they start over after a day.
const LONGEST_S: f64 = 86_400.0;

/// The message of AVCHD cameras inside "user data not registered" (ITU-T H.264, D.1.7): this identifier, then `MDPM`, a count, and
/// entries of a tag and four bytes. Source: tag tables of ExifTool, "H264 Tags" (P. Harvey), as facts.
const MAKER_MESSAGE: &[u8] =
    b"\x17\xEE\x8C\x60\xF8\x4D\x11\xD9\x8C\xD6\x08\x00\x20\x0C\x9A\x66MDPM";

/// Reads a stream of `length` bytes.
pub(super) fn read(file: FilmFile, mut reader: impl Read + Seek, length: u64) -> io::Result<Film> {
    let mut film = Film::bare(file);
    let front = part(&mut reader, 0, FRONT_BYTES)?;
    let Some((start, step)) = rhythm(&front) else {
        film.lacks.push(FilmLack::NoIndex);
        return Ok(film);
    };
    let pictures = pictures(&front, start, step);
    let Some((kind, of_pictures)) = pictures else {
        film.lacks.push(FilmLack::NoPictures);
        return Ok(film);
    };
    film.codec = codec(kind).map(str::to_owned);
    let (stream, first) = gathered(&front, start, step, of_pictures);
    if kind == H264 {
        read_units(&stream, &mut film);
    }
    let behind = length.saturating_sub(END_BYTES);
    let packets = behind.saturating_sub(start as u64) / step as u64;
    let end = part(
        &mut reader,
        start as u64 + packets * step as u64,
        END_BYTES + step as u64,
    )?;
    let (_, last) = gathered(&end, 0, step, of_pictures);
    film.duration_s = length_s(&first, &last, film.frame_rate);
    if film.stamp.is_none() {
        film.lacks.push(FilmLack::NoDate);
    }
    Ok(film)
}

fn part(reader: &mut (impl Read + Seek), from: u64, most: u64) -> io::Result<Vec<u8>> {
    reader.seek(SeekFrom::Start(from))?;
    let mut bytes = Vec::new();
    reader.by_ref().take(most).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Where the first sync byte stands and after how many bytes the next: 188, or 192 with a time code before each packet.
fn rhythm(front: &[u8]) -> Option<(usize, usize)> {
    [(0, 188), (4, 192)].into_iter().find(|(start, step)| {
        let mut marks = front.iter().skip(*start).step_by(*step).take(4);
        front.len() > *start && marks.all(|b| *b == SYNC)
    })
}

/// First byte of a packet.
const SYNC: u8 = 0x47;

/// Stream types (ISO/IEC 13818-1, table 2-34).
const H264: u8 = 0x1B;
const H265: u8 = 0x24;
const MPEG2: u8 = 0x02;

fn codec(kind: u8) -> Option<&'static str> {
    match kind {
        H264 => Some("h264"),
        H265 => Some("hevc"),
        MPEG2 => Some("mpeg2"),
        _ => None,
    }
}

/// A packet's stream number, whether a unit begins in it, and what it carries (ISO/IEC 13818-1, 2.4.3.2).
struct Packet<'a> {
    number: u16,
    begins: bool,
    payload: &'a [u8],
}

fn packets(bytes: &[u8], start: usize, step: usize) -> impl Iterator<Item = Packet<'_>> {
    bytes
        .get(start..)
        .unwrap_or_default()
        .chunks(step)
        .filter_map(|chunk| packet(chunk.get(..188)?))
}

fn packet(bytes: &[u8]) -> Option<Packet<'_>> {
    let [sync, high, low, control] = *bytes.first_chunk::<4>()?;
    if sync != SYNC || high & 0x80 != 0 {
        return None; // out of step, or damaged on the way
    }
    let skipped = match (control >> 4) & 0b11 {
        0b01 => 4,
        0b11 => 5 + usize::from(*bytes.get(4)?),
        _ => return None,
    };
    Some(Packet {
        number: u16::from_be_bytes([high & 0x1F, low]),
        begins: high & 0x40 != 0,
        payload: bytes.get(skipped..)?,
    })
}

/// Kind and number of the first stream of pictures, by the tables at the front (ISO/IEC 13818-1, 2.4.4).
fn pictures(front: &[u8], start: usize, step: usize) -> Option<(u8, u16)> {
    let table = |wanted: u16| {
        packets(front, start, step)
            .filter(|p| p.begins && p.number == wanted)
            .find_map(|p| section(p.payload))
    };
    let programs = table(0)?;
    let map = programs
        .get(8..)?
        .as_chunks::<4>()
        .0
        .iter()
        .find(|entry| entry[0] != 0 || entry[1] != 0)
        .map(|entry| u16::from_be_bytes([entry[2] & 0x1F, entry[3]]))?;
    let streams = table(map)?;
    let info = usize::from(u16::from_be_bytes([
        streams.get(10)? & 0x0F,
        *streams.get(11)?,
    ]));
    let mut rest = streams.get(12 + info..)?;
    while let Some([kind, high, low, more_high, more_low]) = rest.first_chunk::<5>() {
        if codec(*kind).is_some() {
            return Some((*kind, u16::from_be_bytes([high & 0x1F, *low])));
        }
        let more = usize::from(u16::from_be_bytes([more_high & 0x0F, *more_low]));
        rest = rest.get(5 + more..)?;
    }
    None
}

/// A table that lies whole in one packet, without its check sum.
fn section(payload: &[u8]) -> Option<&[u8]> {
    let begin = 1 + usize::from(*payload.first()?);
    let table = payload.get(begin..)?;
    let length = usize::from(u16::from_be_bytes([table.get(1)? & 0x0F, *table.get(2)?]));
    table.get(..(3 + length).checked_sub(4)?)
}

/// The bytes of one stream, and the time stamps in it.
fn gathered(bytes: &[u8], start: usize, step: usize, number: u16) -> (Vec<u8>, Vec<u64>) {
    let mut stream = Vec::new();
    let mut stamps = Vec::new();
    for packet in packets(bytes, start, step).filter(|p| p.number == number) {
        let mut payload = packet.payload;
        if packet.begins {
            let Some((stamp, rest)) = unit(payload) else {
                continue;
            };
            stamps.extend(stamp);
            payload = rest;
        }
        stream.extend_from_slice(payload);
    }
    (stream, stamps)
}

/// The head of a unit: its time stamp, where it has one, and what follows (ISO/IEC 13818-1, 2.4.3.6).
fn unit(payload: &[u8]) -> Option<(Option<u64>, &[u8])> {
    if !payload.starts_with(&[0, 0, 1]) {
        return None;
    }
    let rest = payload.get(9 + usize::from(*payload.get(8)?)..)?;
    let stamp = payload.get(9..14).filter(|_| payload[7] & 0x80 != 0);
    let stamp = stamp.map(|b| {
        let part = |n: usize| u64::from(b[n]);
        ((part(0) >> 1) & 0b111) << 30
            | part(1) << 22
            | (part(2) >> 1) << 15
            | part(3) << 7
            | part(4) >> 1
    });
    Some((stamp, rest))
}

/// From the first stamp to the last, and one picture more.
fn length_s(first: &[u64], last: &[u64], rate: Option<f64>) -> Option<f64> {
    let begin = *first.iter().min()?;
    let since = |stamp: &u64| stamp.wrapping_sub(begin) % TICKS_ROUND;
    let ticks = last.iter().map(since).max()?;
    let length = ticks as f64 / TICKS_PER_S + rate.map_or(0.0, |rate| 1.0 / rate);
    (length > 0.0 && length < LONGEST_S).then_some(length)
}

/// Size, rate, date and maker from the units of an H.264 stream.
fn read_units(stream: &[u8], film: &mut Film) {
    for nal in units(stream) {
        match nal.first().map(|head| head & 0x1F) {
            Some(7) if film.width_px.is_none() => {
                let bits = RefNal::new(nal, &[], true);
                let Ok(set) = SeqParameterSet::from_bits(bits.rbsp_bits()) else {
                    continue;
                };
                if let Ok((width, height)) = set.pixel_dimensions() {
                    film.width_px = Some(width);
                    film.height_px = Some(height);
                }
                film.frame_rate = set.fps().filter(|rate| (0.01..=1000.0).contains(rate));
            }
            Some(6) if film.stamp.is_none() => {
                let Ok(plain) = decode_nal(nal) else {
                    continue;
                };
                let entries = maker_entries(&plain);
                film.stamp = recorded(&entries);
                film.camera = film.camera.take().or_else(|| maker(&entries));
            }
            _ => {}
        }
    }
}

/// The units between start codes (ITU-T H.264, annex B).
fn units(stream: &[u8]) -> impl Iterator<Item = &[u8]> {
    let starts: Vec<usize> = memchr::memmem::find_iter(stream, &[0, 0, 1])
        .map(|at| at + 3)
        .collect();
    let ends = starts
        .iter()
        .skip(1)
        .map(|next| next - 3)
        .chain([stream.len()])
        .collect::<Vec<_>>();
    starts
        .into_iter()
        .zip(ends)
        .filter_map(|(from, to)| stream.get(from..to))
        .filter(|unit| !unit.is_empty())
}

/// The entries of the maker's message.
fn maker_entries(unit: &[u8]) -> BTreeMap<u8, [u8; 4]> {
    let Some(at) = memchr::memmem::find(unit, MAKER_MESSAGE) else {
        return BTreeMap::new();
    };
    let rest = &unit[at + MAKER_MESSAGE.len()..];
    let count = usize::from(rest.first().copied().unwrap_or(0));
    rest.get(1..)
        .unwrap_or_default()
        .as_chunks::<5>()
        .0
        .iter()
        .take(count)
        .map(|[tag, a, b, c, d]| (*tag, [*a, *b, *c, *d]))
        .collect()
}

/// When it was recorded: tags 0x18 (zone, century, year, month) and 0x19 (day, hour, minute, second), two decimal digits a byte.
///
/// The zone's byte: 0x40 summer time, 0x20 west, 0x1E hours, 0x01 half an hour. It counts only where it says something plain: cameras
/// without a zone leave it at zero, and whether summer time is in the hours differs.
fn recorded(entries: &BTreeMap<u8, [u8; 4]>) -> Option<CameraStamp> {
    let digits = |byte: u8| {
        let (tens, ones) = (byte >> 4, byte & 0x0F);
        (tens < 10 && ones < 10).then_some((tens * 10 + ones) as i8)
    };
    let [zone, century, year, month] = *entries.get(&0x18)?;
    let [day, hour, minute, second] = *entries.get(&0x19)?;
    let year = i16::from(digits(century)?) * 100 + i16::from(digits(year)?);
    let time = DateTime::new(
        year,
        digits(month)?,
        digits(day)?,
        digits(hour)?,
        digits(minute)?,
        digits(second)?,
        0,
    );
    let time = time.ok().filter(|time| time.year() >= FIRST_YEAR)?;
    let hours = i32::from((zone >> 1) & 0x0F);
    let offset_s =
        (hours * 60 + 30 * i32::from(zone & 1)) * if zone & 0x20 != 0 { -60 } else { 60 };
    let plain = zone != 0 && zone & 0xC0 == 0 && hours <= 14;
    Some(CameraStamp {
        time: CameraTime::new(time),
        has_subsec: false,
        offset_s: plain.then_some(offset_s),
        of_change: false,
    })
}

/// The maker, by the number in tag 0xE0; models have numbers that no table at hand explains.
fn maker(entries: &BTreeMap<u8, [u8; 4]>) -> Option<CameraId> {
    let [high, low, ..] = *entries.get(&0xE0)?;
    let make = match u16::from_be_bytes([high, low]) {
        0x0103 => "Panasonic",
        0x0108 => "Sony",
        0x1011 => "Canon",
        0x1104 => "JVC",
        _ => return None,
    };
    Some(CameraId {
        make: make.to_owned(),
        ..CameraId::default()
    })
}
