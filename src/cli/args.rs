//! Arguments as typed.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use contactstrip::domain::Site;
use contactstrip::phase::zone::Zone;
use contactstrip::pipeline::{KnownClock, RecipeName, Target};
use jiff::civil::Date;

use super::common::Common;
use super::contacts::ContactsArgs;
use super::plan::{PlanArgs, stops};

/// From a card of solar-eclipse photographs to the finished sequence.
#[derive(Debug, Parser)]
#[command(version, about, after_help = exit_codes(), max_term_width = 100, disable_help_subcommand = true)]
pub(crate) struct Cli {
    /// File of settings (site, zone, credit) [default: contactstrip/settings.toml in your folder of settings]
    #[arg(long, value_name = "FILE", global = true, hide_short_help = true)]
    pub(crate) config: Option<PathBuf>,
    /// What to do.
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// The exit codes, for `--help`.
fn exit_codes() -> String {
    format!(
        "Exit codes: 0 done; 1 done, with warnings; 2 could not run; 130 interrupted.\n\n{}",
        contactstrip::domain::safety_words(None).join(" ")
    )
}

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Everything, in order, on one card: sort, merge, strip, export, report
    All(AllArgs),
    /// Read the card: headers, contacts, clock, phases, bursts, discs
    Sort(CardArgs),
    /// Draw the phase strip again from the catalogue and strip.toml
    Strip(StripArgs),
    /// Choose the strip's frames by eye, on a page this machine serves to itself
    Choose(ChooseArgs),
    /// Merge the totality brackets into an HDR corona
    Merge(MergeArgs),
    /// Make per-phase folders for editing
    Export(ExportArgs),
    /// Write the web page of the card
    Report(OutArgs),
    /// Make one sequence of several cards sorted before: cameras or people along the path
    Join(JoinArgs),
    /// Take stills from the card's films about the contacts and in totality, with ffmpeg
    Film(OutArgs),
    /// Contact times and circumstances of a place
    Contacts(Box<ContactsArgs>),
    /// The camera clocks: offset, error, evidence, residual plot
    Clock(OutArgs),
    /// Shooting sheet for a coming eclipse
    Plan(Box<PlanArgs>),
    /// Read practice shots of the ordinary filtered Sun and say what to mend before the day
    Rehearse(RehearseArgs),
    /// Draw a synthetic card and run everything on it
    Demo(DemoArgs),
    /// Help on a command or a topic: choosing, strip.toml, clocks, corona, files, flags and more
    Help(HelpArgs),
    /// Print the completions of a shell
    Completions(CompletionsArgs),
    /// Write the manual pages into a folder
    Man(ManArgs),
}

/// `help`.
#[derive(Debug, Clone, Args)]
pub(crate) struct HelpArgs {
    /// A command or a topic; without one everything there is help on
    #[arg(value_name = "TOPIC")]
    pub(crate) topic: Option<String>,
}

/// `completions`.
#[derive(Debug, Clone, Args)]
pub(crate) struct CompletionsArgs {
    /// The shell
    #[arg(value_name = "SHELL")]
    pub(crate) shell: clap_complete::Shell,
}

/// `man`.
#[derive(Debug, Clone, Args)]
pub(crate) struct ManArgs {
    /// The folder, such as ~/.local/share/man/man1
    #[arg(value_name = "DIR")]
    pub(crate) dir: PathBuf,
    /// Say which files would be written and write none
    #[arg(long)]
    pub(crate) dry_run: bool,
}

/// A card and what is known about it.
#[derive(Debug, Clone, Args)]
pub(crate) struct CardArgs {
    /// Folder with the pictures, searched in depth; several may be given. Never written to
    #[arg(required = true, value_name = "CARD")]
    pub(crate) cards: Vec<PathBuf>,
    /// Folder for the results [default: contactstrip-<card's name> here]
    #[arg(long, short, value_name = "OUT")]
    pub(crate) out: Option<PathBuf>,
    /// What is known beforehand.
    #[command(flatten)]
    pub(crate) known: KnownArgs,
    /// Also write small pictures with the fitted circles to OUT/overlays
    #[arg(long)]
    pub(crate) overlays: bool,
    /// Shared options.
    #[command(flatten)]
    pub(crate) common: Common,
}

/// What the person knows beforehand.
#[derive(Debug, Clone, Args)]
pub(crate) struct KnownArgs {
    /// Place of the camera in degrees and metres, north and east positive [default: GPS in the pictures]
    #[arg(long, value_name = "LAT,LON[,ELEV_M]", allow_hyphen_values = true)]
    pub(crate) site: Option<Site>,
    /// Date of the eclipse [default: from the capture dates]
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub(crate) date: Option<Date>,
    /// Zone the camera clocks were set to: an IANA name or ±HH:MM [default: header, else the zone of the place]
    #[arg(long, value_name = "ZONE", allow_hyphen_values = true)]
    pub(crate) zone: Option<Zone>,
    /// Known clock error, camera minus true, in seconds; of all bodies or of one [repeatable]
    #[arg(long, value_name = "[CAMERA=]±S", allow_hyphen_values = true)]
    pub(crate) clock: Vec<KnownClock>,
    /// Whether the pictures are mirror images, as through a star diagonal [default: told from the pictures]
    #[arg(long, value_name = "yes|no")]
    pub(crate) mirrored: Option<YesNo>,
}

/// A plain answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum YesNo {
    /// They are
    Yes,
    /// They are not
    No,
}

/// `all`.
#[derive(Debug, Clone, Args)]
pub(crate) struct AllArgs {
    /// The card.
    #[command(flatten)]
    pub(crate) card: CardArgs,
    /// Make hard links instead of copies in the phase folders
    #[arg(long)]
    pub(crate) link: bool,
    /// How to merge the corona.
    #[command(flatten)]
    pub(crate) corona: CoronaArgs,
}

/// A command on an earlier run's folder.
#[derive(Debug, Clone, Args)]
pub(crate) struct OutArgs {
    /// Folder an earlier `sort` or `all` wrote
    #[arg(value_name = "OUT")]
    pub(crate) out: PathBuf,
    /// Where the card is now, if it was moved or is mounted elsewhere; repeat it for several cards
    #[arg(long, value_name = "NEWPATH")]
    pub(crate) card: Vec<PathBuf>,
    /// Shared options.
    #[command(flatten)]
    pub(crate) common: Common,
}

impl OutArgs {
    /// What a making command works on.
    pub(crate) fn target(&self) -> Target {
        Target {
            out: self.out.clone(),
            cards: self.card.clone(),
            dry_run: self.common.dry_run,
        }
    }
}

/// `strip`.
#[derive(Debug, Clone, Args)]
pub(crate) struct StripArgs {
    /// The folder.
    #[command(flatten)]
    pub(crate) target: OutArgs,
    /// Also make a steady time-lapse of the partial phases and of totality: numbered frames and an animated PNG
    #[arg(long)]
    pub(crate) time_lapse: bool,
    /// Choose the frames anew, N on either side of the middle; the rest of strip.toml stays
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=200))]
    pub(crate) each_side: Option<u16>,
    /// Choose the frames anew, at even steps of time or of covered Sun; the rest of strip.toml stays
    #[arg(long, value_name = "STEPS")]
    pub(crate) by: Option<Steps>,
    /// Follow strip-NAME.toml instead and draw strip-NAME.tif and so on; where there is none it begins as a copy of strip.toml
    #[arg(long, value_name = "NAME")]
    pub(crate) recipe: Option<RecipeName>,
    /// Take a frame out of the strip; strip.toml keeps its comments [repeatable]
    #[arg(long, value_name = "FRAME", conflicts_with_all = ["each_side", "by"])]
    pub(crate) drop: Vec<String>,
    /// Take a frame into the strip, at its time [repeatable]
    #[arg(long, value_name = "FRAME", conflicts_with_all = ["each_side", "by"])]
    pub(crate) add: Vec<String>,
    /// Have the corona merged without a frame of totality from now on [repeatable]
    #[arg(long, value_name = "FRAME", conflicts_with_all = ["each_side", "by"])]
    pub(crate) corona_without: Vec<String>,
    /// Have the corona merged with it again [repeatable]
    #[arg(long, value_name = "FRAME", conflicts_with_all = ["each_side", "by"])]
    pub(crate) corona_with: Vec<String>,
    /// Give a key of strip.toml a value, such as paper="12x18 in" [repeatable]
    #[arg(long, value_name = "KEY=VALUE", conflicts_with_all = ["each_side", "by"], value_parser = key_and_value)]
    pub(crate) set: Vec<(String, String)>,
}

/// Reads `KEY=VALUE`.
fn key_and_value(text: &str) -> Result<(String, String), String> {
    let (key, value) = text.split_once('=').ok_or("it is written KEY=VALUE")?;
    Ok((key.trim().to_owned(), value.trim().to_owned()))
}

/// `choose`.
#[derive(Debug, Clone, Args)]
pub(crate) struct ChooseArgs {
    /// The folder.
    #[command(flatten)]
    pub(crate) target: OutArgs,
    /// Port of this machine to serve the page on [default: any that is free]
    #[arg(long, value_name = "PORT", value_parser = clap::value_parser!(u16).range(1..))]
    pub(crate) port: Option<u16>,
    /// Only print the page's address; open no browser
    #[arg(long)]
    pub(crate) no_browser: bool,
}

/// What the strip's frames are evenly spaced in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Steps {
    /// Even steps of time
    Time,
    /// Even steps of the covered part of the Sun
    Obscuration,
}

/// `merge`.
#[derive(Debug, Clone, Args)]
pub(crate) struct MergeArgs {
    /// The folder.
    #[command(flatten)]
    pub(crate) target: OutArgs,
    /// How.
    #[command(flatten)]
    pub(crate) corona: CoronaArgs,
}

/// The corona's layers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum LayersOf {
    /// One for each exposure, its frames averaged in register
    Exposures,
    /// One for each frame, in register
    Frames,
    /// None
    None,
}

/// A strength from 0 to 3.
fn density(text: &str) -> Result<f64, String> {
    let value: Option<f64> = text.parse().ok();
    value
        .filter(|v| (0.0..=10.0).contains(v))
        .ok_or_else(|| "it is an optical density from 0 to 10, such as 5.0".to_owned())
}

fn strength(text: &str) -> Result<f64, String> {
    let value: Option<f64> = text.parse().ok();
    value
        .filter(|v| (0.0..=3.0).contains(v))
        .ok_or_else(|| "it is a number from 0 to 3".to_owned())
}

/// How to merge the corona.
#[derive(Debug, Clone, Args)]
pub(crate) struct CoronaArgs {
    /// Layers to write to OUT/layers for blending by hand
    #[arg(long, value_name = "WHICH", default_value = "exposures")]
    pub(crate) layers: LayersOf,
    /// The same as `--layers none`
    #[arg(long, conflicts_with = "layers")]
    pub(crate) no_layers: bool,
    /// Strength of streamers and fine structure in corona.png and .tif: 0 as light falls, 1 usual, up to 3 [default: strip.toml's]
    #[arg(long, value_name = "N", value_parser = strength)]
    pub(crate) strength: Option<f64>,
    /// Stops the front filter takes, or its density as ND5.0: corona.exr is then in units of the mean solar disc
    #[arg(long, value_name = "STOPS", value_parser = stops)]
    pub(crate) filter_stops: Option<f64>,
    /// The same as the filter's optical density, 5.0 for most
    #[arg(long, value_name = "DENSITY", conflicts_with = "filter_stops", value_parser = density)]
    pub(crate) filter_density: Option<f64>,
    /// Take the even light of the sky off corona.exr (the pictures to look at have it off either way)
    #[arg(long)]
    pub(crate) subtract_sky: bool,
}

/// `export`.
#[derive(Debug, Clone, Args)]
pub(crate) struct ExportArgs {
    /// The folder.
    #[command(flatten)]
    pub(crate) target: OutArgs,
    /// Make hard links instead of copies
    #[arg(long)]
    pub(crate) link: bool,
    /// Remove exactly what an earlier export made
    #[arg(long, conflicts_with = "link")]
    pub(crate) undo: bool,
    /// Write XMP sidecars beside the exported files
    #[arg(long)]
    pub(crate) xmp: bool,
}

/// `join`.
#[derive(Debug, Clone, Args)]
pub(crate) struct JoinArgs {
    /// Folders an earlier `sort` or `all` wrote, one a card; they are only read
    #[arg(required = true, num_args = 2.., value_name = "OUT")]
    pub(crate) outs: Vec<PathBuf>,
    /// Folder for the joined results; every other command works on it as on that of a card
    #[arg(long, short, value_name = "OUT")]
    pub(crate) out: PathBuf,
    /// Where a card is now, if it was moved or is mounted elsewhere; repeat it for several cards
    #[arg(long, value_name = "NEWPATH")]
    pub(crate) card: Vec<PathBuf>,
    /// Shared options.
    #[command(flatten)]
    pub(crate) common: Common,
}

/// `rehearse`.
#[derive(Debug, Clone, Args)]
pub(crate) struct RehearseArgs {
    /// Folder with the practice shots
    #[arg(value_name = "FOLDER")]
    pub(crate) folder: PathBuf,
    /// Print it as JSON, which `plan --from-rehearsal` reads
    #[arg(long)]
    pub(crate) json: bool,
    /// Shared options.
    #[command(flatten)]
    pub(crate) common: Common,
}

/// `demo`.
#[derive(Debug, Clone, Args)]
pub(crate) struct DemoArgs {
    /// Folder for the card, its truth and the results
    #[arg(value_name = "DIR", default_value = "contactstrip-demo")]
    pub(crate) dir: PathBuf,
    /// Shared options.
    #[command(flatten)]
    pub(crate) common: Common,
}
