//! `plan`: the shooting sheet for a coming eclipse.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, Result};
use clap::Args;
use contactstrip::catalogue::write_atomically;
use contactstrip::contacts::{self, ContactsOptions};
use contactstrip::domain::{Shown, Site};
use contactstrip::phase::zone::{self, Zone};
use contactstrip::plan::{
    self, CameraLimits, Gear, PlanInput, STOPS_PER_DENSITY, Sensor, Sheet, Skyline,
};
use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::say;

/// The place, the day and the gear.
#[derive(Debug, Clone, Args)]
pub(crate) struct PlanArgs {
    /// Place in degrees and metres, north and east positive
    #[arg(long, value_name = "LAT,LON[,ELEV_M]", allow_hyphen_values = true)]
    site: Site,
    /// Date of the eclipse
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Date,
    /// Zone of the local times: an IANA name or ±HH:MM [default: the zone of the place]
    #[arg(long, value_name = "ZONE", allow_hyphen_values = true)]
    zone: Option<Zone>,
    /// Focal length in millimetres
    #[arg(long, value_name = "MM", default_value = "600", value_parser = number)]
    focal: f64,
    /// Sensor: full-frame, aps-c, micro-four-thirds, medium-format, 1-inch, or its sides as MMxMM[,PXxPX]
    #[arg(long, value_name = "SENSOR", default_value = "full-frame")]
    sensor: Sensor,
    /// Stops the front filter takes, or its density as ND5.0
    #[arg(long, value_name = "STOPS", default_value = "16", value_parser = stops)]
    filter_stops: f64,
    /// ISO speed
    #[arg(long, value_name = "ISO", default_value = "100", value_parser = number)]
    iso: f64,
    /// Aperture as an f-number
    #[arg(long, value_name = "N", default_value = "8", value_parser = number)]
    aperture: f64,
    /// Frames of one bracket [default: the quickest bracket that reaches from beads to outer corona]
    #[arg(long, value_name = "N")]
    bracket_frames: Option<u32>,
    /// Stops between the frames of a bracket
    #[arg(long, value_name = "STOPS", value_parser = number)]
    bracket_step: Option<f64>,
    /// Frames a second the camera keeps up
    #[arg(long, value_name = "N", default_value = "5", value_parser = number)]
    fps: f64,
    /// The mount follows the Sun
    #[arg(long)]
    tracked: bool,
    /// Seconds before C2 that the lens's filter comes off, and after C3 that it goes on again, to have the beads and the ring: sunlight
    /// then falls on shutter and sensor [default: 0, inside totality]
    #[arg(long, value_name = "S", default_value = "0", hide_default_value = true, value_parser = number)]
    filter_off_s: f64,
    /// What the camera can do, in TOML: fastest_s, slowest_s, most_frames, widest_step_stops
    #[arg(long, value_name = "FILE.toml")]
    camera: Option<PathBuf>,
    /// The horizon as seen from the spot: a line each of azimuth, altitude in degrees; the sheet says what it hides
    #[arg(long, value_name = "FILE")]
    horizon: Option<PathBuf>,
    /// Print the sheet as JSON
    #[arg(long)]
    json: bool,
    /// Write the sheet as a page to print; without FILE it is printed
    #[arg(long, value_name = "FILE", num_args = 0..=1, default_missing_value = "-")]
    html: Option<PathBuf>,
    /// Print the sheet as plain text, as it is without --json and --html
    #[arg(long)]
    text: bool,
    /// Say what would be written and write nothing
    #[arg(long)]
    dry_run: bool,
    /// Results and errors only
    #[arg(long, short)]
    quiet: bool,
}

/// A number, with the unit or mark people write beside it: `600mm`, `f/8`, `ISO100`.
fn number(text: &str) -> Result<f64, String> {
    let lower = text.trim().to_lowercase();
    let bare = ["f/", "iso"]
        .iter()
        .fold(lower.as_str(), |t, mark| t.strip_prefix(mark).unwrap_or(t));
    let bare = bare.strip_suffix("mm").unwrap_or(bare).trim();
    bare.parse::<f64>()
        .ok()
        .filter(|v| v.is_finite())
        .ok_or_else(|| format!("'{text}' is not a number"))
}

/// Stops, or a density: `16`, `ND5.0`.
pub(crate) fn stops(text: &str) -> Result<f64, String> {
    let lower = text.trim().to_lowercase();
    match lower.strip_prefix("nd") {
        Some(density) => Ok(number(density)? * STOPS_PER_DENSITY),
        None => number(lower.strip_suffix("stops").unwrap_or(&lower)),
    }
}

/// Makes the sheet and prints or writes it.
pub(crate) fn run(args: &PlanArgs) -> Result<ExitCode> {
    let sheet = sheet(args)?;
    if let Some(path) = &args.html {
        give(&sheet.html(), path, args)?;
    }
    if args.json {
        say::result(&sheet.json())?;
    }
    if args.text || !args.json && args.html.is_none() {
        say::result(&sheet.text())?;
    }
    Ok(ExitCode::SUCCESS)
}

fn sheet(args: &PlanArgs) -> Result<Sheet> {
    let options = ContactsOptions::real();
    let view = contacts::view(&args.site, args.date, &options)?;
    let contacts = contacts::of_view_with(&view, options.limb)?;
    let zone = args.zone.clone().or_else(|| zone::of_place(&args.site));
    let input = PlanInput {
        contacts: &contacts,
        sky: &|t| view.at(t),
        zone: zone.map_or(TimeZone::UTC, |z| z.rules),
        near_path: contacts::near_path(&view, &contacts),
        limb_lights: contacts::limb_lights(&view, &contacts),
        skyline: skyline(args)?,
        gear: Gear {
            focal_mm: args.focal,
            f_number: args.aperture,
            iso: args.iso,
            filter_stops: args.filter_stops,
            sensor: args.sensor,
            bracket_frames: args.bracket_frames,
            bracket_step_stops: args.bracket_step,
            frames_per_s: args.fps,
            tracked: args.tracked,
            filter_off_s: args.filter_off_s,
            limits: limits(args)?,
        },
    };
    Ok(plan::sheet(&input)?)
}

/// The horizon from its file.
fn skyline(args: &PlanArgs) -> Result<Option<Skyline>> {
    let Some(path) = &args.horizon else {
        return Ok(None);
    };
    let text = std::fs::read_to_string(path)
        .with_context(|| format!("cannot read the horizon from {}", Shown(path)))?;
    let skyline = text.parse();
    Ok(Some(skyline.with_context(|| {
        format!("{} does not describe a horizon", Shown(path))
    })?))
}

/// The camera's limits from their file; the usual ones without it.
fn limits(args: &PlanArgs) -> Result<CameraLimits> {
    let Some(path) = &args.camera else {
        return Ok(CameraLimits::default());
    };
    let text = std::fs::read_to_string(path)
        .with_context(|| format!("cannot read the camera's limits from {}", path.display()))?;
    toml::from_str(&text).with_context(|| {
        format!(
            "{} does not describe a camera; it holds lines such as fastest_s = 0.00025 and most_frames = 7",
            path.display()
        )
    })
}

/// Writes the page to a file, or prints it where the file is `-`.
fn give(html: &str, path: &Path, args: &PlanArgs) -> Result<()> {
    if path == Path::new("-") {
        return Ok(say::result(html)?);
    }
    if !args.dry_run {
        write_atomically(path, |file| file.write_all(html.as_bytes()))?;
    }
    if args.quiet {
        return Ok(());
    }
    let verb = if args.dry_run { "would write" } else { "wrote" };
    say::result(&format!("{verb} {}\n", Shown(path))).context("cannot print")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_people_write_them() {
        for (text, value) in [
            ("600mm", 600.0),
            ("f/8", 8.0),
            ("ISO 100", 100.0),
            ("5.6", 5.6),
        ] {
            assert!((number(text).unwrap() - value).abs() < 1e-12, "{text}");
        }
        assert!((stops("ND5").unwrap() - 16.61).abs() < 0.01);
        assert!((stops("16 stops").unwrap() - 16.0).abs() < 1e-12);
        for wrong in ["", "f/", "nan", "inf", "eight", "ND"] {
            assert!(number(wrong).is_err() && stops(wrong).is_err(), "{wrong}");
        }
    }
}
