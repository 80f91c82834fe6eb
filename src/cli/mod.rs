//! The command line: what was typed, what it means, what the person is told.

mod args;
mod choose;
mod common;
mod config;
mod contacts;
mod exit;
mod manual;
mod plan;
mod practice;
mod progress;
mod say;
mod topics;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, Result};
use clap::{CommandFactory as _, FromArgMatches as _};
use contactstrip::catalogue::Catalogue;
use contactstrip::domain::{Notice, Severity, Shown};
use contactstrip::pipeline::{
    self, CoronaLayers, CoronaWish, JoinTask, Made, MakingWish, ModelError, PipelineError,
    Settings, StripWish, Target,
};
use contactstrip::plan::STOPS_PER_DENSITY;
use contactstrip::strip::{By, RecipeEdit, Wish};

use args::{
    AllArgs, CardArgs, Cli, Command, CoronaArgs, DemoArgs, ExportArgs, JoinArgs, LayersOf, OutArgs,
    RehearseArgs, Steps, StripArgs, YesNo,
};
use common::Common;
use config::Config;
use exit::{COULD_NOT_RUN, DONE, INTERRUPTED, LOOK};
use progress::Bars;

/// Runs the program and returns its exit code.
pub(crate) fn run() -> ExitCode {
    Bars::heed_interrupts();
    heed_full_files();
    match read_and_carry_out() {
        Ok(code) => code,
        Err(error) if is_broken_pipe(&error) => ExitCode::from(DONE),
        Err(error) => {
            say::error(&error);
            let stopped = matches!(
                error.downcast_ref::<PipelineError>(),
                Some(PipelineError::Interrupted)
            );
            ExitCode::from(if stopped { INTERRUPTED } else { COULD_NOT_RUN })
        }
    }
}

/// Reads the settings, then the command line on top of them, and does what it asks. Help and misuse end the program here.
fn read_and_carry_out() -> Result<ExitCode> {
    let named = config::named(std::env::args_os().skip(1));
    let config = Config::load(named.as_deref())?;
    let matches = config.settled(Cli::command()).get_matches();
    let cli = Cli::from_arg_matches(&matches).unwrap_or_else(|error| error.exit());
    carry_out(&cli.command, &config)
}

/// A file that grows beyond what its system allows is an error of writing, said as such, and not the end of the program in the
/// middle of things. (A closed pipe is one already.)
fn heed_full_files() {
    #[cfg(unix)]
    {
        let told = std::sync::Arc::new(std::sync::atomic::AtomicBool::new(false));
        // Without it the system ends the program there; every write is atomic, so nothing is lost.
        let _ = signal_hook::flag::register(signal_hook::consts::SIGXFSZ, told);
    }
}

/// One line a command.
fn carry_out(command: &Command, config: &Config) -> Result<ExitCode> {
    match command {
        Command::All(args) => all(args, config),
        Command::Sort(args) => sort(args, config),
        Command::Strip(args) => make(&args.target, |target, bars| {
            pipeline::strip(target, &strip_wish(args, config), bars)
        }),
        Command::Choose(args) => choose::run(args),
        Command::Merge(args) => make(&args.target, |target, bars| {
            pipeline::merge(target, &corona_wish(&args.corona), bars)
        }),
        Command::Export(args) => export(args),
        Command::Join(args) => join(args, config),
        Command::Film(args) => make(args, pipeline::film),
        Command::Report(args) => make(args, pipeline::report),
        Command::Contacts(args) => contacts::run(args),
        Command::Clock(args) => clock(args),
        Command::Plan(args) => plan::run(args),
        Command::Rehearse(args) => rehearse(args),
        Command::Demo(args) => demo(args),
        Command::Help(args) => manual::help(args),
        Command::Completions(args) => manual::completions(args),
        Command::Man(args) => manual::man(args),
    }
}

fn sort(args: &CardArgs, config: &Config) -> Result<ExitCode> {
    let settings = resolve(args)?;
    let common = &args.common;
    let made = at_the_place(&settings, config, common, |settings, bars| {
        pipeline::sort(settings, bars)
    })?;
    close(&made, &settings.out, common)
}

fn all(args: &AllArgs, config: &Config) -> Result<ExitCode> {
    let settings = resolve(&args.card)?;
    let common = &args.card.common;
    let wish = MakingWish {
        export: export_wish(args.link, false),
        corona: corona_wish(&args.corona),
        credit: config.credit.clone(),
    };
    let made = at_the_place(&settings, config, common, |settings, bars| {
        pipeline::all(settings, &wish, bars)
    })?;
    let code = close(&made, &settings.out, common)?;
    say::next(&settings.out, common)?;
    Ok(code)
}

/// Runs a stage; where neither the command line nor the pictures tell the place, once more with that of the settings.
fn at_the_place(
    settings: &Settings,
    config: &Config,
    common: &Common,
    stage: impl Fn(&Settings, &Bars) -> Result<Made, PipelineError> + Sync,
) -> Result<Made> {
    let told = with_threads(common, |bars| stage(settings, bars));
    let Err(error) = told else {
        return told;
    };
    let no_site = matches!(
        error.downcast_ref::<PipelineError>(),
        Some(PipelineError::Model(ModelError::NoSite { .. }))
    );
    match config.site()?.filter(|_| no_site) {
        Some(site) => {
            let settings = Settings {
                site: Some(site),
                ..settings.clone()
            };
            with_threads(common, |bars| stage(&settings, bars))
        }
        None => Err(error),
    }
}

/// A making command on an earlier run's folder.
fn make(
    args: &OutArgs,
    stage: impl FnOnce(&Target, &dyn pipeline::Watch) -> Result<Made, PipelineError> + Send,
) -> Result<ExitCode> {
    let common = &args.common;
    let made = with_threads(common, |bars| stage(&args.target(), bars))?;
    say::notices(&made.notices, common);
    say::result(&made.text)?;
    say::result(&say::files(&made.files, common.dry_run))?;
    Ok(code_for(&made.notices, None))
}

/// Frames are chosen anew when any of the options that say how is given.
fn strip_wish(args: &StripArgs, config: &Config) -> StripWish {
    let asked = args.each_side.is_some() || args.by.is_some();
    StripWish {
        recipe: args.recipe.clone().unwrap_or_default(),
        edits: strip_edits(args),
        credit: config.credit.clone(),
        time_lapse: args.time_lapse,
        choose: asked.then(|| Wish {
            each_side: args.each_side.map(usize::from),
            by: match args.by {
                Some(Steps::Obscuration) => By::Obscuration,
                Some(Steps::Time) | None => By::Time,
            },
        }),
    }
}

/// Frames leave before others come: one may stand in for another.
fn strip_edits(args: &StripArgs) -> Vec<RecipeEdit> {
    let drop = args.drop.iter().cloned().map(RecipeEdit::Drop);
    let add = args.add.iter().cloned().map(RecipeEdit::Take);
    let set = args.set.iter().cloned();
    let set = set.map(|(key, value)| RecipeEdit::Set { key, value });
    let without = args.corona_without.iter().cloned();
    let with = args.corona_with.iter().cloned();
    let corona = without.map(RecipeEdit::KeepFromCorona);
    let corona = corona.chain(with.map(RecipeEdit::GiveToCorona));
    drop.chain(add).chain(corona).chain(set).collect()
}

fn corona_wish(args: &CoronaArgs) -> CoronaWish {
    CoronaWish {
        layers: match args.layers {
            _ if args.no_layers => CoronaLayers::None,
            LayersOf::None => CoronaLayers::None,
            LayersOf::Exposures => CoronaLayers::Exposures,
            LayersOf::Frames => CoronaLayers::Frames,
        },
        strength: args.strength,
        credit: None,
        keep_sky: !args.subtract_sky,
        filter_density: args
            .filter_density
            .or_else(|| args.filter_stops.map(|stops| stops / STOPS_PER_DENSITY)),
    }
}

fn export_wish(link: bool, xmp: bool) -> pipeline::ExportWish {
    pipeline::ExportWish { link, xmp }
}

fn export(args: &ExportArgs) -> Result<ExitCode> {
    let common = &args.target.common;
    let target = args.target.target();
    let made = with_threads(common, |bars| {
        if args.undo {
            pipeline::undo_export(&target)
        } else {
            let wish = export_wish(args.link, args.xmp);
            pipeline::export(&target, &wish, bars)
        }
    })?;
    say::notices(&made.notices, common);
    if common.verbose || common.dry_run {
        say::result(&made.lines)?;
    }
    if !common.quiet {
        say::result(&made.text)?;
    }
    Ok(code_for(&made.notices, None))
}

fn join(args: &JoinArgs, config: &Config) -> Result<ExitCode> {
    let common = &args.common;
    let task = JoinTask {
        outs: args.outs.clone(),
        out: args.out.clone(),
        cards: args.card.clone(),
        dry_run: common.dry_run,
    };
    let wish = MakingWish {
        credit: config.credit.clone(),
        ..MakingWish::default()
    };
    let made = with_threads(common, |bars| pipeline::join(&task, &wish, bars))?;
    let code = close(&made, &task.out, common)?;
    say::next(&task.out, common)?;
    Ok(code)
}

fn clock(args: &OutArgs) -> Result<ExitCode> {
    make(args, pipeline::clock)
}

fn rehearse(args: &RehearseArgs) -> Result<ExitCode> {
    let made = with_threads(&args.common, |bars| pipeline::rehearse(&args.folder, bars))?;
    say::notices(&made.notices, &args.common);
    say::result(&if args.json {
        made.rehearsal.json()
    } else {
        made.rehearsal.text()
    })?;
    Ok(code_for(&made.notices, None))
}

fn demo(args: &DemoArgs) -> Result<ExitCode> {
    let made = with_threads(&args.common, |bars| {
        pipeline::demo(&args.dir, args.common.dry_run, bars)
    })?;
    if let Some(catalogue) = &made.catalogue {
        say::notices(&made.notices, &args.common);
        say::result(&say::summary(catalogue, &made.files, &args.dir, false))?;
    }
    say::result(&made.text)?;
    say::next(&args.dir.join(pipeline::OUT_FOLDER), &args.common)?;
    Ok(ExitCode::from(DONE))
}

/// Settings from what was typed.
fn resolve(args: &CardArgs) -> Result<Settings> {
    let out = match &args.out {
        Some(out) => out.clone(),
        None => default_out(&args.cards)?,
    };
    Ok(Settings {
        cards: args.cards.clone(),
        out,
        site: args.known.site,
        date: args.known.date,
        zone: args.known.zone.clone(),
        clocks: args.known.clock.clone(),
        mirrored: args.known.mirrored.map(|answer| answer == YesNo::Yes),
        overlays: args.overlays,
        drawn: false,
        dry_run: args.common.dry_run,
    })
}

/// `contactstrip-<name of the first card>` in the folder we stand in.
fn default_out(cards: &[PathBuf]) -> Result<PathBuf> {
    let card = cards.first().context("no card given")?;
    let whole = card
        .canonicalize()
        .with_context(|| format!("cannot find the card {}", Shown(card)))?;
    let name = whole
        .file_name()
        .map_or_else(|| "card".into(), |n| n.to_string_lossy().into_owned());
    Ok(PathBuf::from(format!("contactstrip-{name}")))
}

/// Runs a stage with as many threads as asked for.
fn with_threads<T: Send>(
    common: &Common,
    work: impl FnOnce(&Bars) -> Result<T, PipelineError> + Send,
) -> Result<T> {
    let bars = Bars::new(common.quiet);
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(common.jobs.map_or(0, usize::from))
        .build()
        .context("cannot start worker threads")?;
    Ok(pool.install(|| work(&bars))?)
}

/// Notices, summary and exit code of a run over a card.
fn close(made: &Made, out: &Path, common: &Common) -> Result<ExitCode> {
    say::notices(&made.notices, common);
    if let Some(catalogue) = &made.catalogue {
        say::result(&say::summary(catalogue, &made.files, out, common.dry_run))?;
    }
    say::result(&made.lines)?;
    say::result(&made.text)?;
    Ok(code_for(&made.notices, made.catalogue.as_ref()))
}

/// 1 when there is something to look at, else 0.
fn code_for(notices: &[Notice], catalogue: Option<&Catalogue>) -> ExitCode {
    let told = notices.iter().any(|n| n.severity == Severity::Look);
    let flagged = catalogue.is_some_and(|c| c.shots.iter().any(|s| !s.flags.is_empty()));
    ExitCode::from(if told || flagged { LOOK } else { DONE })
}

fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause
            .downcast_ref::<std::io::Error>()
            .is_some_and(|e| e.kind() == std::io::ErrorKind::BrokenPipe)
    })
}
