//! The page, section by section.

use std::fmt::Write as _;

use jiff::tz::TimeZone;

use super::beads::{DueLight, beads};
use super::cards::cards;
use super::clocks::clocks;
use super::curve::curves;
use super::films::films;
use super::markup::{
    base64, calendar_date, clock_time, counted, link, list, minutes, paragraph, safe, section,
    table, table_of,
};
use super::missed::missed;
use super::shots::{Thumb, Thumbs, bursts, shot_table};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{
    Contacts, Coverage, LocalKind, MoonLimb, Phase, SiteSource, SunMoon, Zone, safety_words,
};

/// Look of the page.
const STYLE: &str = include_str!("page.css");

/// Sorting and filtering of the table.
const SCRIPT: &str = include_str!("page.js");

/// What the page may load: what is in it, and pictures from the folder it lies in.
const POLICY: &str = "default-src 'none'; img-src 'self' file: data:; style-src 'unsafe-inline'; script-src \
     'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// Largest strip or corona taken onto the page, in bytes of JPEG; a larger one is only named.
pub const PICTURE_LIMIT_BYTES: usize = 600_000;

/// A file the run wrote.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WrittenFile {
    /// Path below OUT with `/` separators.
    pub name: String,
    /// What it is, in a few words.
    pub what: String,
    /// Size in bytes, where known.
    pub size_bytes: Option<u64>,
}

/// What the page is made from, besides the catalogue.
pub struct PageInput<'a> {
    /// Small picture of a shot, where it has one.
    pub thumb: &'a dyn Fn(&ShotRecord) -> Option<Thumb>,
    /// Whether those are files beside the page: more than [`super::THUMBS_BYTES`] are.
    pub thumbs_beside: bool,
    /// Strips of the beads at screen size as JPEG with the names of their files, at most [`PICTURE_LIMIT_BYTES`] each.
    pub beads: &'a [(String, Vec<u8>)],
    /// Strip at screen size as JPEG, at most [`PICTURE_LIMIT_BYTES`].
    pub strip: Option<&'a [u8]>,
    /// Corona at screen size as JPEG, at most [`PICTURE_LIMIT_BYTES`].
    pub corona: Option<&'a [u8]>,
    /// Sun and Moon over the eclipse, in time order; [`super::curve_moments`] names good instants.
    pub curve: &'a [SunMoon],
    /// The card against what was due, where that is known.
    pub coverage: Option<&'a Coverage>,
    /// The light due in frames near second and third contact, in time order.
    pub due_light: &'a [DueLight],
    /// Whether the page may tell the place.
    pub embed_location: bool,
    /// The files written below OUT.
    pub files: &'a [WrittenFile],
}

/// Writes the page: one self-contained HTML document that loads nothing. Same input, same bytes.
pub fn page(catalogue: &Catalogue, input: &PageInput<'_>) -> String {
    let zone = Zone::rules_of(catalogue.zone.as_deref());
    let contacts = catalogue.contacts.as_ref();
    let thumb: Thumbs<'_> = input.thumb;
    // What one made comes first, then how it is known, then every frame.
    let main = [
        pictures(input),
        cards(catalogue, &zone),
        contacts.map_or_else(no_eclipse, |c| {
            section(
                "curve",
                "Timeline",
                &curves(&catalogue.in_sequence(), c, input.curve, &zone),
            )
        }),
        contacts.map_or_else(String::new, |c| contact_section(c, &zone)),
        clocks(catalogue, &zone),
        missed(catalogue, input.coverage, &zone),
        beads(catalogue, input.due_light, thumb, &zone),
        bursts(catalogue, thumb, input.thumbs_beside, &zone),
        shot_table(catalogue, &zone),
        films(catalogue, &zone),
        files(input.files),
    ]
    .concat();
    let title = contacts.map_or_else(
        || "A card of photographs".to_owned(),
        |c| format!("Solar eclipse of {}", c.eclipse_date),
    );
    let mut out = String::with_capacity(main.len() + 32_768);
    out.push_str("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    out.push_str("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n");
    let _ = writeln!(
        out,
        "<meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">"
    );
    let _ = writeln!(
        out,
        "<link rel=\"icon\" href=\"data:,\">\n<title>{}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>",
        safe(&title)
    );
    out.push_str("<a class=\"skip\" href=\"#main\">Skip to the card</a>\n");
    out += &header(catalogue, &title, &zone, input.embed_location);
    out += &contents(catalogue, input);
    let _ = writeln!(out, "<main id=\"main\">\n{main}</main>");
    out += &footer(catalogue);
    let _ = writeln!(out, "<script>\n{SCRIPT}</script>\n</body>\n</html>");
    out
}

fn header(catalogue: &Catalogue, title: &str, zone: &TimeZone, embed_location: bool) -> String {
    let mut out = format!("<header>\n<h1>{}</h1>\n", safe(title));
    if let Some(c) = &catalogue.contacts {
        let _ = writeln!(out, "<p class=\"big\">{}</p>", safe(&eclipse_words(c)));
        out += &paragraph(&place_words(catalogue, c, zone, embed_location));
    }
    out += &paragraph(&card_words(catalogue));
    out.push_str("</header>\n");
    out
}

/// "Total here: 2 min 24.3 s, magnitude 1.017."
fn eclipse_words(c: &Contacts) -> String {
    let kind = match c.kind {
        LocalKind::Total => "Total here",
        LocalKind::Annular => "Annular here",
        LocalKind::Partial => "Partial here",
        LocalKind::None => "Not seen here",
    };
    match c.central_duration_s() {
        Some(s) => format!("{kind}: {}, magnitude {:.4}.", minutes(s), c.magnitude),
        None => format!(
            "{kind}: magnitude {:.4}, {:.1} % of the area covered.",
            c.magnitude,
            c.obscuration * 100.0
        ),
    }
}

fn place_words(catalogue: &Catalogue, c: &Contacts, zone: &TimeZone, told: bool) -> String {
    let from = match catalogue.site_source {
        Some(SiteSource::Gps) => ", from GPS in the pictures",
        Some(SiteSource::Given) => ", as given",
        None => "",
    };
    if !told {
        return format!(
            "On {}. Local times are UTC{}. The place is not told: strip.toml says embed_location = false.",
            calendar_date(c.maximum.utc, zone),
            zone.to_offset(c.maximum.utc.timestamp())
        );
    }
    format!(
        "Seen from {:.4}°, {:.4}°, {:.0} m{from}, on {}. Local times are {}, UTC{}.",
        c.site.lat_deg,
        c.site.lon_deg,
        c.site.elev_m,
        calendar_date(c.maximum.utc, zone),
        catalogue.zone.as_deref().unwrap_or("UTC"),
        zone.to_offset(c.maximum.utc.timestamp())
    )
}

/// "312 shots by 2 bodies: 40 ingress, …; 12 flagged."
fn card_words(catalogue: &Catalogue) -> String {
    let mut parts = Vec::new();
    for phase in Phase::ALL {
        let n = catalogue.shots.iter().filter(|s| s.phase == phase).count();
        if n > 0 {
            parts.push(format!("{n} {phase}"));
        }
    }
    let flagged = catalogue
        .shots
        .iter()
        .filter(|s| !s.flags.is_empty())
        .count();
    let bodies = match catalogue.cameras.len() {
        0 => "no named camera".to_owned(),
        1 => "1 camera".to_owned(),
        n => format!("{n} cameras"),
    };
    let phases = if parts.is_empty() {
        String::new()
    } else {
        format!(": {}", parts.join(", "))
    };
    let films = match catalogue.films.len() {
        0 => String::new(),
        n => format!(" {}.", counted(n, "film")),
    };
    format!(
        "{} by {bodies}{phases}. {flagged} flagged.{films}",
        counted(catalogue.shots.len(), "shot")
    )
}

fn contents(catalogue: &Catalogue, input: &PageInput<'_>) -> String {
    let eclipse = catalogue.contacts.is_some();
    let filmed = !catalogue.films.is_empty();
    let links = [
        (input.strip.is_some(), "strip", "Strip"),
        (input.corona.is_some(), "corona", "Corona"),
        (!input.beads.is_empty(), "beads", "Beads"),
        (catalogue.is_joined(), "cards", "Cards"),
        (eclipse, "curve", "Timeline"),
        (eclipse, "contacts", "Contacts"),
        (true, "clocks", "Clocks"),
        (true, "missed", "Gaps"),
        (!input.due_light.is_empty(), "due", "Light due"),
        (true, "frames", "Frames"),
        (true, "shots", "Shots"),
        (filmed, "films", "Films"),
        (true, "files", "Files"),
    ];
    let items: String = links
        .iter()
        .filter(|(there, ..)| *there)
        .map(|(_, id, name)| format!("<li><a href=\"#{id}\">{name}</a></li>\n"))
        .collect();
    format!("<nav aria-label=\"On this page\">\n<ul>\n{items}</ul>\n</nav>\n")
}

fn no_eclipse() -> String {
    section(
        "curve",
        "No eclipse found",
        "<p>No eclipse was found for the place and the dates of this card. Give the place with --site and \
             the day with --date, then run again.</p>\n",
    )
}

fn contact_section(c: &Contacts, zone: &TimeZone) -> String {
    let rows: Vec<Vec<String>> = c
        .events()
        .map(|e| {
            let utc = e.utc.to_string();
            vec![
                e.kind.word().to_owned(),
                clock_time(e.utc, zone),
                utc.get(11..21).unwrap_or(&utc).to_owned(),
                format!("± {:.1} s", e.sigma_s),
                if e.sun_up {
                    format!("{:.1}°", e.sky.sun_alt_refracted_deg)
                } else {
                    "Sun down".to_owned()
                },
                format!("{:.0}°", e.sky.sun_az_deg),
                format!("{:.0}°", e.position_angle_deg),
                format!("{:.0}°", e.vertex_angle_deg),
            ]
        })
        .collect();
    let columns = [
        "Contact",
        "Local",
        "UTC",
        "One sigma",
        "Altitude",
        "Azimuth",
        "P",
        "V",
    ];
    let mut body = table("Contacts", &columns, &rows);
    body += &paragraph(match c.limb {
        MoonLimb::Real => {
            "P is the place on the limb from celestial north through east, V the same from the zenith. C2 and C3 are those of the \
                 Moon's real limb: the last and the first sunlight past its mountains."
        }
        MoonLimb::Mean => {
            "P is the place on the Sun's limb from celestial north through east, V the same from the zenith. C2 and C3 are those \
                 of a smooth Moon; mountains move them by a second or two."
        }
    });
    let _ = write!(
        body,
        "<aside class=\"safety\" aria-label=\"Safety\">\n<h3>Safety</h3>\n{}</aside>\n",
        list(&safety_words(Some(c.kind)))
    );
    section("contacts", "Contacts", &body)
}

/// Strip, corona and beads, each leading to its file.
fn pictures(input: &PageInput<'_>) -> String {
    let there = |names: &[&str]| {
        let written = |name: &&&str| input.files.iter().any(|f| f.name == ***name);
        names.iter().find(written).map(|name| (*name).to_owned())
    };
    let mut out = String::new();
    if let Some(jpeg) = input.strip {
        let alt = "Strip of the eclipse: discs of the Sun side by side in time order, from the first bite to the last";
        let file = there(&["strip.png", "strip.jpg", "strip.tif"]);
        out += &section("strip", "The strip", &figure(jpeg, alt, file.as_deref()));
    }
    if let Some(jpeg) = input.corona {
        let alt = "The corona around the dark Moon, merged from the totality brackets";
        let file = there(&["corona.png", "corona.tif"]);
        out += &section("corona", "The corona", &figure(jpeg, alt, file.as_deref()));
    }
    if !input.beads.is_empty() {
        let each = input.beads.iter().map(|(file, jpeg)| {
            let at = if file.contains("c3") {
                "third"
            } else {
                "second"
            };
            let alt = format!("Beads and diamond ring at {at} contact, in time order");
            figure(jpeg, &alt, Some(file))
        });
        out += &section("beads", "Beads and ring", &each.collect::<String>());
    }
    out
}

/// A picture at screen size that leads to its file.
fn figure(jpeg: &[u8], alt: &str, file: Option<&str>) -> String {
    if jpeg.len() > PICTURE_LIMIT_BYTES {
        let words = file.map_or_else(|| "its file".to_owned(), safe);
        return format!("<p>It is too large for this page; open {words}.</p>\n");
    }
    let picture = format!(
        "<img class=\"large\" alt=\"{}\" src=\"data:image/jpeg;base64,{}\">",
        safe(alt),
        base64(jpeg)
    );
    let (picture, caption) = match file {
        Some(file) => (
            format!("<a href=\"{}\">{picture}</a>", safe(&link(file))),
            format!("At screen size; the picture leads to {}.", safe(file)),
        ),
        None => (picture, "At screen size.".to_owned()),
    };
    format!("<figure>\n{picture}\n<figcaption>{caption}</figcaption>\n</figure>\n")
}

fn files(files: &[WrittenFile]) -> String {
    if files.is_empty() {
        return section("files", "Files", "<p>No file was listed.</p>\n");
    }
    let size = |bytes: Option<u64>| match bytes {
        Some(b) if b >= 1_000_000 => format!("{:.1} MB", b as f64 / 1e6),
        Some(b) => format!("{:.1} kB", b as f64 / 1e3),
        None => String::new(),
    };
    let rows: String = files
        .iter()
        .map(|f| {
            format!(
                "<tr><td><a href=\"{}\">{}</a></td><td>{}</td><td>{}</td></tr>\n",
                safe(&link(&f.name)),
                safe(&f.name),
                safe(&f.what),
                size(f.size_bytes)
            )
        })
        .collect();
    let columns = ["File", "What it is", "Size"];
    section(
        "files",
        "Files",
        &table_of("Files written", &columns, &rows),
    )
}

fn footer(catalogue: &Catalogue) -> String {
    let words = safety_words(catalogue.contacts.as_ref().map(|c| c.kind)).join(" ");
    format!(
        "<footer>\n{}{}</footer>\n",
        paragraph(&words),
        paragraph(&format!("Written by {}.", catalogue.program))
    )
}
