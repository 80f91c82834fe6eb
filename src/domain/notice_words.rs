//! The words for each kind of notice: what happened, what was done, what to try.

use std::fmt;

use super::clock::UNNAMED_BODY;
use super::clock_outcome::times_text;
use super::clock_words::{gross_text, offset_text, sigma_text, whole_error_text};
use super::{FrameShows, NamedOffset, NoticeKind, SizedFrame, ZoneReading};

/// Names told in one line before the rest is counted.
const NAMED: usize = 3;

impl fmt::Display for NoticeKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words = of_files(self)
            .or_else(|| of_films(self))
            .or_else(|| of_the_place(self))
            .or_else(|| of_clocks(self))
            .or_else(|| of_frames(self));
        f.write_str(&words.unwrap_or_default())
    }
}

/// On listing a card and reading its headers.
fn of_files(kind: &NoticeKind) -> Option<String> {
    use NoticeKind as K;
    Some(match kind {
        K::Words { text } => text.clone(),
        K::LinkAboveCard => "a link to a folder above the card; not followed".to_owned(),
        K::LinkOnCard => "a link to a folder of the card; read there, not here".to_owned(),
        K::LinkInACircle => {
            "a link that leads back to a folder around it; not followed".to_owned()
        }
        K::FolderReadBefore => "this folder was read before under another name".to_owned(),
        K::NotWalked { cause } => format!("cannot be read: {cause}; what is in it is left out"),
        K::NotOpened { cause } => format!("cannot be read: {cause}"),
        K::TimeOfAnotherTag { tag } => {
            let changed = if tag == "DateTime" {
                ", the time of the last change"
            } else {
                ""
            };
            format!("has no DateTimeOriginal; its time is taken from {tag}{changed}")
        }
        K::GpsTimeAway { days } => format!(
            "its GPS time is {days:.0} days away from the camera's clock; the place may be an old one, or the camera's date wrong; \
             pass --site if the place is not yours"
        ),
        K::MetadataDamaged { damage } => {
            format!("its metadata are damaged ({damage}); fields that could not be read are left blank")
        }
        K::HeaderNotRead => {
            "its header is of a kind that is not read (CRW and X3F files), so nothing is known of its time and exposure; put the \
             camera's JPEG beside it, or convert it to DNG"
                .to_owned()
        }
        K::SecondCopies { files, first, second } => format!(
            "{} hold{} the same bytes as others of the card, such as {first} and {second}; each is one shot with two places, \
             counted once",
            counted(*files, "file"),
            if *files == 1 { "s" } else { "" }
        ),
        K::Unreadable { reason } => format!("{reason}; listed as unreadable, kept"),
        K::PixelsNotRead { files, raw } => format!(
            "{files} {} files without a JPEG beside them were sorted by their headers; their pixels are not read, so no discs were \
             looked for in them; convert them to JPEG or 16-bit TIFF beside them to have them in the strip and the corona",
            if *raw { "raw or HEIF" } else { "HEIF" }
        ),
        _ => return None,
    })
}

/// On films.
fn of_films(kind: &NoticeKind) -> Option<String> {
    use NoticeKind as K;
    Some(match kind {
        K::FilmNotRead { lack } => format!("{lack}; it is listed in films.csv with what is known"),
        K::FilmTimeUnsettled { as_utc, as_local } => format!(
            "its creation time may be UTC or the camera's local time and nothing on the card says which: it began {} or {}; it is in \
             no phase. A film of the same camera between two of its stills, by their numbers, would settle it",
            as_utc.nearest_second(),
            as_local.nearest_second()
        ),
        K::FilmClockUnknown { camera, films } => format!(
            "{}: {} by a camera of which the card has no pictures, so that nothing checks its clock; its word was taken. --clock would \
             set it right",
            camera.as_deref().unwrap_or("films of no named camera"),
            counted(*films, "film")
        ),
        _ => return None,
    })
}

/// On eclipse, place and zones.
fn of_the_place(kind: &NoticeKind) -> Option<String> {
    use NoticeKind as K;
    Some(match kind {
        K::EclipseByGps { eclipse } => format!(
            "no eclipse on the capture dates; GPS dates have that of {eclipse}: the camera's date is wrong then; pass --date if it \
             was another eclipse"
        ),
        K::EclipseOfAnotherYear {
            date,
            eclipse,
            others,
        } => format!(
            "no eclipse on the capture dates; {date} was taken for {eclipse}, the same day of the year of an eclipse that the place \
             saw: the camera's year is wrong then; pass --date if it was another eclipse{}",
            of_that_day(others)
        ),
        K::EclipseOfSwappedDate { date, eclipse } => format!(
            "no eclipse on the capture dates; {date} was taken for {eclipse}, day and month one for the other: the camera's date is \
             wrong then; pass --date if it was another eclipse"
        ),
        K::PositionsElsewhere { elsewhere, positions } => format!(
            "{elsewhere} of {positions} GPS positions of the day lie elsewhere; took the place most agree on; pass --site if it is \
             wrong"
        ),
        K::NoElevation => {
            "GPS gives no elevation; took 0 m, which costs up to about a second at 3,000 m; pass --site with it".to_owned()
        }
        K::OddZone { offset_s } => format!(
            "its header says the zone {}, unlike the shots about it; read like those",
            offset_text(*offset_s)
        ),
        K::ClockReadIn { camera, zone } => format!("{}: {zone}", body(camera)),
        _ => return None,
    })
}

/// Other eclipses of a day of the year, as an end of a sentence.
fn of_that_day(others: &[jiff::civil::Date]) -> String {
    match others {
        [] => String::new(),
        all => {
            let all: Vec<String> = all.iter().map(ToString::to_string).collect();
            format!(" ({})", all.join(", "))
        }
    }
}

/// On clocks and mirrors.
fn of_clocks(kind: &NoticeKind) -> Option<String> {
    use NoticeKind as K;
    Some(match kind {
        K::PartialLeftOut { camera } => format!(
            "its discs do not fit the other partials of {}; left out of the clock",
            body(camera)
        ),
        K::MirrorDoubtful { camera } => format!(
            "{}: its pictures may be mirror images, as through a star diagonal; taken as they are, pass --mirrored yes or no",
            body(camera)
        ),
        K::Mirrored { camera } => format!(
            "{}: its pictures are mirror images, as through a star diagonal, and are turned back; pass --mirrored no if that is wrong",
            body(camera)
        ),
        K::TotalityImpossible { camera, frames } => format!(
            "{}: {} seem to show totality, and there is none at this place on that day; pass --site or --date if \
             the place or the eclipse is wrong",
            body(camera),
            counted(*frames, "frame")
        ),
        K::ClockUnknown {
            camera,
            why,
            sigma_s,
        } => format!(
            "{}: clock not known ({why}); its word is taken ± {} s, pass --clock if its error is known",
            body(camera),
            sigma_text(*sigma_s)
        ),
        K::ClockSetWrong {
            camera,
            mistake,
            read_as_s,
        } => format!(
            "{}: {}; corrected by its pictures, pass --zone or --clock if that is wrong",
            body(camera),
            gross_text(mistake, *read_as_s)
        ),
        K::ClockAmbiguous {
            camera,
            best_s,
            others_s,
            sigma_s,
            crescent,
        } => format!(
            "{}: {}; its times are told ± {} s. {}",
            body(camera),
            times_text(*best_s, others_s),
            sigma_text(*sigma_s),
            what_settles(*crescent)
        ),
        K::ClockAgainstGiven {
            camera,
            given_s,
            found_s,
            sigma_s,
        } => format!(
            "{}: the clock error given was used ({}); the pictures say {} ± {} s",
            body(camera),
            whole_error_text(*given_s),
            whole_error_text(*found_s),
            sigma_text(*sigma_s)
        ),
        K::StampNotBelieved { camera, shows } => format!(
            "shows {}, which its stamp does not allow by the other pictures of {}; its stamp is not believed",
            look(*shows),
            body(camera)
        ),
        K::MoreStampsNotBelieved { camera, frames } => format!(
            "{}: {} contradict its clock",
            body(camera),
            counted(*frames, "more frame")
        ),
        _ => return None,
    })
}

/// On what the frames show.
fn of_frames(kind: &NoticeKind) -> Option<String> {
    use NoticeKind as K;
    Some(match kind {
        K::ManySizes {
            camera,
            sizes,
            least_px,
            most_px,
        } => format!(
            "{}: the Sun shows in {sizes} sizes, {least_px:.0} to {most_px:.0} px in radius, and no header says so: cut out or \
             enlarged after they were taken, or at an eyepiece or a zoom; each is fitted with the size about its own time",
            camera.as_deref().unwrap_or("pictures that name no camera")
        ),
        K::SizeSteps {
            camera,
            before,
            after,
            focal_mm,
        } => {
            let focal = match focal_mm {
                Some(mm) => format!("its headers say {mm} mm throughout"),
                None => "its headers do not say so".to_owned(),
            };
            format!(
                "{}: the Sun's radius steps from {:.1} px to {:.1} px between {} and {}, and {focal}: the zoom slipped or the lens \
                 was changed; discs before and after are fitted with their own size",
                camera.as_deref().unwrap_or("a camera without a name"),
                before.radius_px,
                after.radius_px,
                at(before),
                at(after)
            )
        }
        K::CloudInTotality { files, frames } => format!(
            "cloud in totality: in {} of {frames} frames the corona is short of its light: {}",
            files.len(),
            named(files)
        ),
        K::SunsUntimed { files } => format!(
            "{} of the Sun without a usable time, put apart as untimed: {}",
            counted(files.len(), "frame"),
            named(files)
        ),
        K::NoDisc { why } => format!("no solar limb found: {why}; kept, not centred"),
        K::NoDiscs { why, files } => format!(
            "no solar limb found in {}: {}; kept, not centred: {}",
            counted(files.len(), "frame"),
            why.family(),
            named(files)
        ),
        _ => return None,
    })
}

impl fmt::Display for ZoneReading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Given { zone } => write!(f, "camera clock read as {zone}, as given"),
            Self::Place { zone } => write!(
                f,
                "no zone in the headers: camera clock read as {zone}, the zone of the place; pass --zone if it was set otherwise"
            ),
            Self::Nothing => f.write_str(
                "no zone in the headers and none known for the place: camera clock read as UTC; pass --zone",
            ),
            Self::Headers { offset_s, others, overruled } => {
                let offset = offset_text(*offset_s);
                write!(f, "camera clock read as {offset}, as its headers say")?;
                if *others > 0 {
                    write!(f, " ({others} of its shots say otherwise and keep their own)")?;
                }
                match overruled {
                    Some(zone) => write!(
                        f,
                        "; the zone given, {zone}, was not used: use --clock to overrule a header"
                    ),
                    None => Ok(()),
                }
            }
        }
    }
}

impl fmt::Display for NamedOffset {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({})", self.name, offset_text(self.offset_s))
    }
}

/// A body in words.
fn body(camera: &Option<String>) -> &str {
    camera.as_deref().unwrap_or(UNNAMED_BODY)
}

fn what_settles(crescent: bool) -> &'static str {
    if crescent {
        "Another crescent some minutes away, a frame of totality, or --clock would settle it"
    } else {
        "A crescent of either side, a second frame of totality, or --clock would settle it"
    }
}

fn look(shows: FrameShows) -> &'static str {
    match shows {
        FrameShows::Corona => "the corona",
        FrameShows::BeadsOrRing => "beads or a ring",
        FrameShows::Moon => "the Moon before the corona",
        FrameShows::AnotherTime => "another time",
    }
}

fn at(frame: &SizedFrame) -> String {
    match frame.clock {
        Some(clock) => format!("{} ({clock})", frame.file),
        None => frame.file.clone(),
    }
}

/// "1 frame", "3 frames".
pub fn counted(count: usize, noun: &str) -> String {
    let s = if count == 1 { "" } else { "s" };
    format!("{count} {noun}{s}")
}

/// "a, b, c and 4 more".
fn named(names: &[String]) -> String {
    let shown = names[..names.len().min(NAMED)].join(", ");
    match names.len().saturating_sub(NAMED) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}
