//! Help, manual pages and completions, all from the one description of the command line.

use std::io::Write as _;
use std::path::Path;
use std::process::ExitCode;

use anyhow::{Result, bail};
use clap::{Command, CommandFactory as _};
use clap_mangen::roff::{Roff, roman};
use contactstrip::catalogue::write_atomically;
use contactstrip::domain::Shown;

use super::args::{Cli, CompletionsArgs, HelpArgs, ManArgs};
use super::exit::DONE;
use super::say;
use super::topics::{TOPICS, Topic};

/// `help`: a command's page, a topic's, or what there is.
pub(crate) fn help(args: &HelpArgs) -> Result<ExitCode> {
    let mut program = Cli::command();
    program.build();
    let Some(name) = args.topic.as_deref() else {
        let text = format!("{}\n{}", program.render_long_help(), listed());
        say::result(&text)?;
        return Ok(ExitCode::from(DONE));
    };
    if let Some(topic) = TOPICS.iter().find(|topic| topic.name == name) {
        say::result(&topic.text())?;
    } else if let Some(command) = program.find_subcommand_mut(name) {
        let text = format!("{}\n", command.render_long_help());
        say::result(&text)?;
    } else {
        bail!("no help on {name}\n  try: a command, or one of {}", names());
    }
    Ok(ExitCode::from(DONE))
}

fn names() -> String {
    let names: Vec<&str> = TOPICS.iter().map(|topic| topic.name).collect();
    names.join(", ")
}

/// The topics, a line each.
fn listed() -> String {
    let line = |topic: &Topic| format!("  {:<12} {}\n", topic.name, topic.about);
    let lines: String = TOPICS.iter().map(line).collect();
    format!("Topics, for `contactstrip help TOPIC`:\n{lines}")
}

/// `completions`: the script of a shell, to standard output.
pub(crate) fn completions(args: &CompletionsArgs) -> Result<ExitCode> {
    let mut script = Vec::new();
    let mut program = Cli::command();
    clap_complete::generate(args.shell, &mut program, "contactstrip", &mut script);
    say::result(&String::from_utf8_lossy(&script))?;
    Ok(ExitCode::from(DONE))
}

/// `man`: a page for the program, for each command, and for each topic.
pub(crate) fn man(args: &ManArgs) -> Result<ExitCode> {
    let mut program = Cli::command().disable_help_subcommand(true);
    program.build();
    let mut pages = vec![("contactstrip.1".to_owned(), page(program.clone())?)];
    for command in program.get_subcommands().filter(|c| !c.is_hide_set()) {
        // The description of the command line lives as long as the program.
        let name: &'static str = format!("contactstrip-{}", command.get_name()).leak();
        let named = command.clone().name(name).bin_name(name.replace('-', " "));
        pages.push((format!("{name}.1"), page(named)?));
    }
    for topic in TOPICS {
        pages.push((format!("contactstrip-{}.7", topic.name), topic_page(topic)));
    }
    for (name, text) in &pages {
        put(&args.dir, name, text, args.dry_run)?;
    }
    Ok(ExitCode::from(DONE))
}

fn put(dir: &Path, name: &str, text: &[u8], dry_run: bool) -> Result<()> {
    let path = dir.join(name);
    if !dry_run {
        write_atomically(&path, |file| file.write_all(text))?;
    }
    let verb = if dry_run { "would write" } else { "wrote" };
    Ok(say::result(&format!("{verb} {}\n", Shown(&path)))?)
}

fn page(command: Command) -> Result<Vec<u8>> {
    let mut text = Vec::new();
    clap_mangen::Man::new(command).render(&mut text)?;
    Ok(text)
}

/// A topic as a manual page: its lines as they are.
fn topic_page(topic: &Topic) -> Vec<u8> {
    let mut page = Roff::new();
    let title = format!("contactstrip-{}", topic.name);
    page.control("TH", [title.as_str(), "7"]);
    page.control("SH", ["NAME"]);
    page.text([roman(format!("{title} - {}", topic.about))]);
    page.control("SH", ["DESCRIPTION"]);
    page.control("nf", []);
    for line in topic.text().lines() {
        page.text([roman(line)]);
    }
    page.control("fi", []);
    page.render().into_bytes()
}
