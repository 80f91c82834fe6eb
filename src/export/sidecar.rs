//! Phase, corrected time and rating for editing programs: XMP sidecars (ISO 16684-1:2019).

use std::fmt::Write as _;
use std::path::Path;

use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::Phase;

/// Stars at most (ISO 16684-1, `xmp:Rating`).
const MOST_STARS: f64 = 5.0;

/// First line of a sidecar (ISO 16684-1, 7.3.2). No picture begins like this.
const BEGIN: &str = "<?xpacket begin=\"\u{FEFF}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n";

/// The text of a shot's sidecar; `None` for files that could not be read.
///
/// Keywords (`dc:subject`): the phase, the contact that is near, the flags. Rating (`xmp:Rating`): the quality in fifths,
/// one star at least; absent where the quality is not known. Time (`exif:DateTimeOriginal`, `xmp:CreateDate`,
/// `photoshop:DateCreated`): the corrected time in the zone of the camera's clock, absent where not known.
pub(super) fn text(catalogue: &Catalogue, record: &ShotRecord) -> Option<String> {
    if record.phase == Phase::Unreadable {
        return None;
    }
    let mut out = String::from(BEGIN);
    out.push_str(concat!(
        "<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n",
        " <rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n",
        "  <rdf:Description rdf:about=\"\"\n",
        "    xmlns:dc=\"http://purl.org/dc/elements/1.1/\"\n",
        "    xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\"\n",
        "    xmlns:exif=\"http://ns.adobe.com/exif/1.0/\"\n",
        "    xmlns:photoshop=\"http://ns.adobe.com/photoshop/1.0/\">\n",
    ));
    let mut element = |name: &str, value: &str| {
        writeln!(out, "   <{name}>{value}</{name}>").expect("writing to a string cannot fail");
    };
    if let Some(time) = local_time(catalogue, record) {
        for name in [
            "exif:DateTimeOriginal",
            "xmp:CreateDate",
            "photoshop:DateCreated",
        ] {
            element(name, &time);
        }
    }
    if let Some(stars) = record.quality.and_then(stars) {
        element("xmp:Rating", &stars.to_string());
    }
    let keywords: String = keywords(record)
        .map(|word| format!("<rdf:li>{word}</rdf:li>"))
        .collect();
    element("dc:subject", &format!("<rdf:Bag>{keywords}</rdf:Bag>"));
    out.push_str("  </rdf:Description>\n </rdf:RDF>\n</x:xmpmeta>\n<?xpacket end=\"w\"?>\n");
    Some(out)
}

/// Whether a file holds a sidecar of this program: whatever it says is in the record too.
pub(super) fn is_ours(path: &Path) -> bool {
    std::fs::read(path).is_ok_and(|bytes| bytes.starts_with(BEGIN.as_bytes()))
}

fn keywords(record: &ShotRecord) -> impl Iterator<Item = &'static str> + '_ {
    std::iter::once(record.phase.word())
        .chain(record.near_contact.map(|contact| contact.word()))
        .chain(record.flags.iter().map(|flag| flag.word()))
}

/// One to five stars.
fn stars(quality: f64) -> Option<u8> {
    let stars = (quality * MOST_STARS).ceil().clamp(1.0, MOST_STARS);
    quality.is_finite().then_some(stars as u8)
}

/// The corrected time with its offset; in UTC where the camera's zone is not known.
fn local_time(catalogue: &Catalogue, record: &ShotRecord) -> Option<String> {
    let utc = record.utc?;
    let camera = record.shot.camera.as_ref();
    let known = camera.and_then(|id| catalogue.cameras.iter().find(|c| c.id == *id));
    let Some(offset_s) = known.map(|c| c.clock.zone_offset_s) else {
        return Some(utc.to_string());
    };
    let sign = if offset_s < 0 { '-' } else { '+' };
    let minutes = offset_s.unsigned_abs() / 60;
    let local = utc.plus_s(f64::from(offset_s)).to_string();
    let (hours, minutes) = (minutes / 60, minutes % 60);
    Some(format!(
        "{}{sign}{hours:02}:{minutes:02}",
        local.trim_end_matches('Z')
    ))
}
