//! `contactstrip contacts`: contact times and circumstances of a place.

use std::io::Write as _;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Result, anyhow};
use clap::{Args, ValueEnum};
use contactstrip::catalogue::write_atomically;
use contactstrip::contacts::{
    self, Circumstances, CivilZone, ContactsError, ContactsOptions, Visible, Written,
};
use contactstrip::domain::{LocalKind, MoonLimb, Site, Utc};
use contactstrip::ephemeris::{EclipseView, Radii};
use contactstrip::phase::zone::{self, Zone};
use jiff::civil::Date;

use super::say;

/// `contacts`.
#[derive(Debug, Clone, Args)]
pub(crate) struct ContactsArgs {
    /// Place in degrees and metres, north and east positive
    #[arg(long, value_name = "LAT,LON[,ELEV_M]", allow_hyphen_values = true)]
    site: Site,
    /// Date of the eclipse, local or UTC: a day off is no matter [default: the next eclipses seen from the place are listed]
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = date)]
    date: Option<Date>,
    /// Zone of the local times: an IANA name or ±HH:MM [default: the zone of the place]
    #[arg(long, value_name = "ZONE", allow_hyphen_values = true)]
    zone: Option<Zone>,
    /// TT minus UT1 in seconds [default: the table's]
    #[arg(long, value_name = "S", allow_hyphen_values = true)]
    delta_t: Option<f64>,
    /// Write JSON instead of text
    #[arg(long)]
    json: bool,
    /// List the eclipses seen from the place, 1994 to 2053
    #[arg(long, value_name = "YEAR..YEAR", value_parser = years, conflicts_with_all = ["date", "ics", "diagram"])]
    list: Option<(i16, i16)>,
    /// Also write a calendar file
    #[arg(long, value_name = "FILE")]
    ics: Option<PathBuf>,
    /// Also draw the disc at the contacts seen, zenith up (SVG)
    #[arg(long, value_name = "FILE.svg", value_parser = svg)]
    diagram: Option<PathBuf>,
    /// Also tell the beads: what of the limb is lit in the 15 s before C2 and after C3 (real limb; in the diagram too)
    #[arg(long, conflicts_with = "list")]
    beads: bool,
    /// Moon's limb for C2 and C3: real mountains and valleys, or a smooth mean Moon [default: real, mean with --k or --k2]
    #[arg(long, value_name = "LIMB")]
    limb: Option<LimbArg>,
    /// Sizes of Moon and Sun.
    #[command(flatten)]
    radii: RadiiArgs,
    /// Say which files would be written and write none
    #[arg(long)]
    dry_run: bool,
}

/// Which limb.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum LimbArg {
    /// Mountains and valleys of the height map
    Real,
    /// A smooth circle
    Mean,
}

/// Sizes of Moon and Sun.
#[derive(Debug, Clone, Args)]
struct RadiiArgs {
    /// Moon's radius in Earth radii, all contacts [default: 0.2725076, IAU 1982]
    #[arg(long, value_name = "K")]
    k: Option<f64>,
    /// Moon's radius for C2 and C3 alone; 0.272281 lets the lunar valleys close (2 s off either end) [default: as --k]
    #[arg(long, value_name = "K2")]
    k2: Option<f64>,
    /// Sun's radius at 1 au in seconds of arc; 959.95 is measured at eclipses [default: 959.95 with the real limb, else 959.63]
    #[arg(long, value_name = "ARCSEC")]
    sun_radius: Option<f64>,
}

impl RadiiArgs {
    /// Radii for a limb. The real limb goes with the Sun measured at eclipses.
    fn radii(&self, limb: MoonLimb) -> Radii {
        let moon_k = self.k.unwrap_or(Radii::IAU.moon_k);
        let sun_arcsec = match limb {
            MoonLimb::Real => Radii::SUN_ECLIPSE_ARCSEC,
            MoonLimb::Mean => Radii::IAU.sun_arcsec,
        };
        Radii {
            moon_k,
            moon_k_inner: self.k2.unwrap_or(moon_k),
            sun_arcsec: self.sun_radius.unwrap_or(sun_arcsec),
        }
    }
}

/// What the times are to rest on. A radius of the Moon is one of a smooth Moon and is never mixed with the real limb.
fn options(args: &ContactsArgs) -> Result<ContactsOptions> {
    let smooth = args.radii.k.is_some() || args.radii.k2.is_some();
    if args.beads && (smooth || args.limb == Some(LimbArg::Mean)) {
        return Err(anyhow!(
            "a smooth Moon has no beads\n  try: --beads with --limb real, without --k and --k2"
        ));
    }
    let limb = match (args.limb, smooth) {
        (Some(LimbArg::Real), true) => {
            return Err(anyhow!(
                "--k and --k2 are radii of a smooth Moon and do not go with --limb real\n  try: --limb mean, or leave them out"
            ));
        }
        (Some(LimbArg::Mean), _) | (None, true) => MoonLimb::Mean,
        (Some(LimbArg::Real) | None, false) => MoonLimb::Real,
    };
    Ok(ContactsOptions {
        limb,
        radii: args.radii.radii(limb),
        delta_t_s: args.delta_t,
    })
}

/// A file name that says what the drawing is.
fn svg(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    let named = path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("svg"));
    named
        .then_some(path)
        .ok_or_else(|| "the diagram is an SVG: give it a name that ends in .svg".to_owned())
}

fn date(text: &str) -> Result<Date, String> {
    text.trim()
        .parse()
        .map_err(|_| "a date is written YYYY-MM-DD, such as 2027-08-02".to_owned())
}

/// Reads `YEAR..YEAR` or one `YEAR`.
fn years(text: &str) -> Result<(i16, i16), String> {
    let (first, last) = text.split_once("..").unwrap_or((text, text));
    let year = |part: &str| part.trim().trim_start_matches('=').parse::<i16>();
    match (year(first), year(last)) {
        (Ok(first), Ok(last)) => Ok((first, last)),
        _ => Err("years are written 2024..2034, or as one year".to_owned()),
    }
}

/// Prints the circumstances and writes what was asked for.
pub(crate) fn run(args: &ContactsArgs) -> Result<ExitCode> {
    let options = options(args)?;
    let zone = civil_zone(args);
    if let Some(years) = args.list {
        return list(args, &options, &zone, years);
    }
    let Some(date) = args.date else {
        return list(args, &options, &zone, coming_years());
    };
    let view =
        contacts::view(&args.site, date, &options).map_err(|e| advised(e, args, date, &options))?;
    match contacts::circumstances_with(&view, options.limb, zone.clone()) {
        Ok(all) => {
            let all = if args.beads {
                all.with_beads(&view)
            } else {
                all
            };
            say::result(&told(args, &all, &options))?;
            write_files(args, &all)?;
            Ok(ExitCode::SUCCESS)
        }
        Err(error) => Err(missed(error, args, &view, &zone, &options)?),
    }
}

/// The result as JSON or words; where the Sun is down throughout the words end with the nearest right thing.
fn told(args: &ContactsArgs, all: &Circumstances, options: &ContactsOptions) -> String {
    if args.json {
        return contacts::json(all);
    }
    let mut text = contacts::text(all);
    if all.visible == Visible::No {
        text += &advice(args, all.contacts.eclipse_date, options);
        text.push('\n');
    }
    text
}

/// The zone given, else the zone of the place, else whole hours by its longitude.
fn civil_zone(args: &ContactsArgs) -> CivilZone {
    let known = args.zone.clone().or_else(|| zone::of_place(&args.site));
    known.map_or_else(
        || CivilZone::nautical(&args.site),
        |zone| CivilZone {
            name: zone.name,
            rules: zone.rules,
        },
    )
}

/// Years whose eclipses are listed where no date is given: some twenty, which hold a central eclipse of the region at least.
const LISTED_YEARS: i16 = 20;

/// From this year on, within the table.
fn coming_years() -> (i16, i16) {
    let (first, last) = contacts::YEARS.into_inner();
    let today = jiff::tz::TimeZone::UTC.to_datetime(jiff::Timestamp::now());
    let now = today.year().clamp(first, last);
    (now, (now + LISTED_YEARS).min(last))
}

fn list(
    args: &ContactsArgs,
    options: &ContactsOptions,
    zone: &CivilZone,
    years: (i16, i16),
) -> Result<ExitCode> {
    let seen = contacts::list(&args.site, years.0, years.1, options)?;
    let all: Vec<Circumstances> = seen
        .iter()
        .filter_map(|view| contacts::circumstances_with(view, options.limb, zone.clone()).ok())
        .collect();
    let text = if args.json {
        contacts::json_list(&args.site, zone, years, &all)
    } else {
        contacts::list_text(&args.site, zone, years, &all)
    };
    say::result(&text)?;
    Ok(ExitCode::SUCCESS)
}

fn write_files(args: &ContactsArgs, all: &Circumstances) -> Result<()> {
    let calendar = args.ics.as_ref().map(|path| {
        let now = Utc::new(jiff::Timestamp::now());
        let earlier = std::fs::read_to_string(path).ok();
        let written = Written::after(now, earlier.as_deref());
        (path, contacts::calendar(all, written))
    });
    let diagram = args.diagram.as_ref();
    let diagram = diagram.map(|path| (path, contacts::diagram(all)));
    for (path, drawn) in calendar.into_iter().chain(diagram) {
        if !args.dry_run {
            write_atomically(path, |file| file.write_all(drawn.as_bytes()))?;
        }
        if !args.json {
            say::result(&say::files(std::slice::from_ref(path), args.dry_run))?;
        }
    }
    Ok(())
}

/// The Moon misses the Sun: the JSON says so too, and the error what would be seen.
fn missed(
    error: ContactsError,
    args: &ContactsArgs,
    view: &EclipseView,
    zone: &CivilZone,
    options: &ContactsOptions,
) -> Result<anyhow::Error> {
    if args.json {
        say::result(&contacts::json_missed(view, zone))?;
    }
    Ok(advised(error, args, view.eclipse().date(), options))
}

/// The error with the nearest right thing.
fn advised(
    error: ContactsError,
    args: &ContactsArgs,
    date: Date,
    options: &ContactsOptions,
) -> anyhow::Error {
    anyhow!("{error}{}", advice(args, date, options))
}

/// The place with its numbers swapped, where the eclipse is seen there; the next eclipse seen from here. A line each.
fn advice(args: &ContactsArgs, date: Date, options: &ContactsOptions) -> String {
    let mut text = String::new();
    if let Some((other, kind)) = swapped(args, date, options) {
        text += &format!(
            "\n  try: --site={},{} if the two were swapped; there it is {}",
            other.lat_deg,
            other.lon_deg,
            contacts::local_word(kind)
        );
    }
    if let Some(next) = contacts::next_seen(&args.site, date, options) {
        text += &format!(
            "\n  try: --date {}, the next eclipse seen from here ({})",
            next.eclipse_date,
            contacts::local_word(next.kind)
        );
    }
    text
}

fn swapped(
    args: &ContactsArgs,
    date: Date,
    options: &ContactsOptions,
) -> Option<(Site, LocalKind)> {
    let other = Site::new(args.site.lon_deg, args.site.lat_deg, args.site.elev_m).ok()?;
    let view = contacts::view(&other, date, options).ok()?;
    let seen = contacts::seen(&view)?;
    Some((other, seen.kind))
}
