//! `contactstrip choose`: the page is served until the person ends it.

use std::process::{Command, ExitCode, Stdio};

use anyhow::{Result, bail};
use contactstrip::choose::Server;
use contactstrip::domain::Shown;

use super::args::ChooseArgs;
use super::exit::DONE;
use super::progress::Bars;
use super::say;

/// Serves the page and opens the browser; an interrupt ends it, which is how it is meant to end.
pub(crate) fn run(args: &ChooseArgs) -> Result<ExitCode> {
    let target = args.target.target();
    if target.dry_run {
        bail!("choose serves a page and changes what one changes there\n  try: without --dry-run");
    }
    let common = &args.target.common;
    let server = Server::open(&target, args.port)?;
    let away: Vec<_> = server.away().cloned().into_iter().collect();
    say::notices(&away, common);
    let address = server.address();
    say::result(&format!("{address}\n"))?;
    if !common.quiet {
        say::aside(&format!(
            "the page of {} is at that address, for this machine alone; Ctrl-C ends it\n",
            Shown(&target.out)
        ));
    }
    if !args.no_browser && !opened(&address) && !common.quiet {
        say::aside("no browser could be opened: open that address in one yourself\n");
    }
    server.serve(Bars::stopped)?;
    Ok(ExitCode::from(DONE))
}

/// Asks the system to open an address in the person's browser; whether it could be asked.
fn opened(address: &str) -> bool {
    let (program, before): (&str, &[&str]) = if cfg!(target_os = "macos") {
        ("open", &[])
    } else if cfg!(windows) {
        ("rundll32", &["url.dll,FileProtocolHandler"])
    } else {
        ("xdg-open", &[])
    };
    let mut command = Command::new(program);
    command.args(before).arg(address);
    let silent = command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    silent.spawn().is_ok()
}
