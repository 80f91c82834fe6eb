//! A file of settings that hold at every run.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result};
use clap::Command;
use contactstrip::domain::{Shown, Site};
use contactstrip::phase::zone::Zone;
use serde::Deserialize;

/// What the file may hold.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(crate) struct Config {
    /// The place, where the pictures carry none, as `--site` reads it.
    pub(crate) site: Option<String>,
    /// The zone camera clocks are set to, as `--zone` reads it.
    pub(crate) zone: Option<String>,
    /// The credit line of new recipes.
    pub(crate) credit: Option<String>,
}

impl Config {
    /// The file given, which must be there; else the one in its usual place, which need not.
    pub(crate) fn load(given: Option<&Path>) -> Result<Self> {
        let path = match given {
            Some(path) => path.to_owned(),
            None => match usual().filter(|path| path.is_file()) {
                Some(path) => path,
                None => return Ok(Self::default()),
            },
        };
        let text = std::fs::read_to_string(&path)
            .with_context(|| format!("cannot read the settings in {}", Shown(&path)))?;
        let words = || {
            format!(
                "{} does not hold settings; `contactstrip help settings` says what it may",
                Shown(&path)
            )
        };
        let config: Self = toml::from_str(&text).with_context(words)?;
        config.site().with_context(words)?;
        let zone = config.zone.as_deref().map(str::parse::<Zone>);
        zone.transpose().with_context(words)?;
        Ok(config)
    }

    /// The place.
    pub(crate) fn site(&self) -> Result<Option<Site>> {
        let site = self.site.as_deref().map(str::parse::<Site>);
        Ok(site.transpose()?)
    }

    /// The command line with what is settled here in place of what need not be said then.
    pub(crate) fn settled(&self, program: Command) -> Command {
        let mut program = program;
        for command in ["contacts", "plan"] {
            program = with_default(program, command, "site", self.site.as_deref());
        }
        for command in ["all", "sort"] {
            program = with_default(program, command, "zone", self.zone.as_deref());
        }
        program
    }
}

fn with_default(program: Command, command: &str, option: &str, value: Option<&str>) -> Command {
    let Some(value) = value else {
        return program;
    };
    // The description of the command line lives as long as the program.
    let value: &'static str = value.to_owned().leak();
    program.mut_subcommand(command, |c| {
        c.mut_arg(option, |arg| arg.required(false).default_value(value))
    })
}

/// The file a person names on the command line, before the rest of that is read.
pub(crate) fn named(args: impl Iterator<Item = OsString>) -> Option<PathBuf> {
    let mut args = args;
    while let Some(arg) = args.next() {
        let text = arg.to_string_lossy();
        if text == "--" {
            return None;
        }
        if text == "--config" {
            return args.next().map(PathBuf::from);
        }
        if let Some(path) = text.strip_prefix("--config=") {
            return Some(PathBuf::from(path));
        }
    }
    None
}

/// `contactstrip/settings.toml` in the person's folder of settings (XDG Base Directory Specification 0.8).
fn usual() -> Option<PathBuf> {
    let named = std::env::var_os("XDG_CONFIG_HOME").map(PathBuf::from);
    let named = named.filter(|path| path.is_absolute());
    let home = || Some(PathBuf::from(std::env::var_os("HOME")?).join(".config"));
    Some(named.or_else(home)?.join("contactstrip/settings.toml"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_is_found_on_the_command_line() {
        let found = |args: &[&str]| named(args.iter().map(OsString::from));
        assert_eq!(found(&["all", "--config", "a.toml"]), Some("a.toml".into()));
        assert_eq!(found(&["--config=b.toml", "all"]), Some("b.toml".into()));
        assert_eq!(found(&["all", "--", "--config", "c"]), None);
        assert_eq!(found(&["all", "card"]), None);
    }

    #[test]
    fn what_it_holds_is_checked_when_it_is_read() {
        let folder = tempfile::tempdir().unwrap();
        let load = |text: &str| {
            let path = folder.path().join("settings.toml");
            std::fs::write(&path, text).unwrap();
            Config::load(Some(&path))
        };
        let good =
            load("site = \"40.42,-3.70,650\"\nzone = \"Europe/Madrid\"\ncredit = \"A\"\n").unwrap();
        assert!(
            good.site()
                .unwrap()
                .is_some_and(|site| (site.lat_deg - 40.42).abs() < 1e-9)
        );
        for wrong in [
            "site = \"91,0\"",
            "zone = \"Mars/Olympus\"",
            "sight = \"1,2\"",
            "site = 3",
        ] {
            let error = format!("{:#}", load(wrong).unwrap_err());
            assert!(error.contains("help settings"), "{wrong}: {error}");
        }
        assert!(Config::load(Some(&folder.path().join("none"))).is_err());
    }
}
