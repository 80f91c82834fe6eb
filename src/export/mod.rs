//! Plans the per-phase folders, shows the plan, then carries it out; refuses to overwrite.
//!
//! Copies stand below `OUT/phases/`: one folder a phase, numbered in time, wide views under `wide/`. Originals are only
//! ever read. A copy is written apart, read back and compared with its source by SHA-256 (FIPS 180-4), given the times
//! of its source, and only then put under its name. [`MANIFEST_FILE`] lists what was made, so that [`undo()`] can take
//! back exactly that, the last copy of a picture excepted, and a later run goes on where an earlier one stopped.

mod carry;
mod manifest;
mod place;
mod plan;
mod sidecar;
mod undo;

use std::fmt::Write as _;
use std::path::PathBuf;

pub use carry::carry_out;
pub use manifest::MANIFEST_FILE;
pub use plan::{plan, plan_chosen};
pub use undo::undo;

use crate::catalogue::WriteError;
use crate::domain::{Notice, Shown, in_line};

/// Folder below OUT that holds the phase folders.
pub const PHASES_FOLDER: &str = "phases";

/// How to export. By default: copies, no sidecars.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ExportOptions {
    /// Hard links in place of copies. A link is the original under a second name: no room is taken, but a program that
    /// writes into the exported file writes into the original.
    pub link: bool,
    /// Small text files beside the exported pictures that carry phase, corrected time and rating (XMP, ISO 16684-1).
    pub sidecars: Option<SidecarNames>,
}

/// The two habits of naming a sidecar; editing programs look for one or the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SidecarNames {
    /// `DSC_0001.xmp`
    Stem,
    /// `DSC_0001.NEF.xmp`
    WholeName,
    /// Both files.
    Both,
}

/// What is to be done, in the order it will be done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ExportPlan {
    /// The folder of results.
    pub out: PathBuf,
    /// One entry a file, in time order of the shots.
    pub steps: Vec<Step>,
}

/// One file to export.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// The shot it belongs to, by its name on the card.
    pub name: String,
    /// What the file is made from.
    pub source: Source,
    /// Where it goes: below OUT, with `/` separators.
    pub below: String,
    /// What is to be done about it.
    pub action: Action,
}

/// What an exported file is made from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// A file on the card.
    File(PathBuf),
    /// Text of a sidecar.
    Text(String),
}

/// What is to be done about one file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Action {
    /// Copy it.
    Copy,
    /// Make a hard link.
    Link,
    /// Write the text.
    Write,
    /// Nothing: the same contents are there already.
    Keep,
    /// Nothing: something else has that name. It is never overwritten.
    Occupied,
    /// Nothing can be done: the source cannot be read, for this reason.
    Missing(String),
}

/// Where an export stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress<'a> {
    /// Steps behind it.
    pub done: usize,
    /// Steps in all.
    pub total: usize,
    /// The file in hand, below OUT.
    pub below: &'a str,
}

/// What an export did.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ExportOutcome {
    /// Files made.
    pub made: usize,
    /// Files that were there already with the same contents.
    pub kept: usize,
    /// Files that should be there and are not: name below OUT, and why.
    pub missing: Vec<(String, String)>,
    /// What a person should know.
    pub notices: Vec<Notice>,
}

/// What taking back an export did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct UndoOutcome {
    /// Files removed: names below OUT.
    pub removed: Vec<String>,
    /// Files left because they were changed since: names below OUT. They are no longer on record.
    pub changed: Vec<String>,
    /// Files left because their originals cannot be seen whole: they may be the last copies. They stay on record.
    pub last: Vec<String>,
    /// Files left because they could not be read or removed, or lie outside OUT, and why. They stay on record.
    pub failed: Vec<(String, String)>,
    /// Lines of the list that are damaged, by their number from 1: what they may have named was left.
    pub damaged: Vec<usize>,
}

/// An export, or its taking back, could not go on.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// OUT cannot be written to.
    #[error("cannot write below {out}: {cause}; check space and rights there", out = Shown(.out))]
    Out {
        /// The folder of results.
        out: PathBuf,
        /// Why.
        #[source]
        cause: std::io::Error,
    },
    /// The list of what was made cannot be read.
    #[error("cannot read {path}: {cause}; it lists what was exported and is needed to go on or to undo", path = Shown(.path))]
    Manifest {
        /// The list.
        path: PathBuf,
        /// Why.
        #[source]
        cause: std::io::Error,
    },
    /// The list of what was made cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// There is nothing to take back.
    #[error("nothing was exported to {out}, or it was taken back already", out = Shown(.0))]
    NothingMade(PathBuf),
}

impl ExportPlan {
    /// The plan as text: one line a file, then a line of counts.
    pub fn text(&self) -> String {
        self.lines(false) + &self.sum()
    }

    /// One line a file; those of a dry run say what would be written.
    pub fn lines(&self, dry_run: bool) -> String {
        let mut text = String::new();
        for step in &self.steps {
            if dry_run && step.action.makes() {
                text.push_str("would ");
            }
            writeln!(text, "{}", step.line(dry_run)).expect("writing to a string cannot fail");
        }
        text
    }

    /// A line of counts.
    pub fn sum(&self) -> String {
        let mut text = String::new();
        let count =
            |wanted: fn(&Action) -> bool| self.steps.iter().filter(|s| wanted(&s.action)).count();
        writeln!(
            text,
            "{} to copy, {} to link, {} sidecars to write, {} there already, {} in the way of other files, {} missing",
            count(|a| *a == Action::Copy),
            count(|a| *a == Action::Link),
            count(|a| *a == Action::Write),
            count(|a| *a == Action::Keep),
            count(|a| *a == Action::Occupied),
            count(|a| matches!(a, Action::Missing(_))),
        )
        .expect("writing to a string cannot fail");
        text
    }
}

impl ExportOutcome {
    /// What was done, in a line of counts.
    pub fn sum(&self) -> String {
        format!(
            "{} files written below {PHASES_FOLDER}, {} there already, {} missing\n",
            self.made,
            self.kept,
            self.missing.len()
        )
    }
}

impl UndoOutcome {
    /// What was done, or would be: one line a file that stays with the reason, then counts.
    pub fn text(&self, dry_run: bool) -> String {
        let mut text = String::new();
        let mut line = |below: &str, why: &str| {
            writeln!(text, "keep {} ({why})", in_line(below))
                .expect("writing to a string cannot fail");
        };
        for below in &self.last {
            line(below, "its original cannot be seen whole");
        }
        for below in &self.changed {
            line(below, "changed since it was exported");
        }
        for (below, why) in &self.failed {
            line(below, why);
        }
        let kept = self.last.len() + self.changed.len() + self.failed.len();
        let verb = if dry_run { "would remove" } else { "removed" };
        writeln!(text, "{verb} {} files, {kept} kept", self.removed.len())
            .expect("writing to a string cannot fail");
        text
    }

    /// What a person should know.
    pub fn notices(&self) -> Vec<Notice> {
        let mut notices = Vec::new();
        if !self.last.is_empty() {
            notices.push(Notice::look(format!(
                "{} exported files stay: their originals cannot be seen whole, so these may be the last copies; they are named \
                 above; with the card back (`--card` says where it is) the same command removes them",
                self.last.len()
            )));
        }
        let changed = self.changed.iter().map(|name| {
            Notice::look("changed since it was exported; left where it is").about(name)
        });
        let failed = self
            .failed
            .iter()
            .map(|(name, reason)| Notice::look(format!("not removed: {reason}")).about(name));
        notices.extend(changed.chain(failed));
        notices.extend(damage_notice(&self.damaged));
        notices
    }
}

/// Tells of lines of the list that cannot be read.
fn damage_notice(lines: &[usize]) -> Option<Notice> {
    let first = lines.first()?;
    let text = format!(
        "{} lines of it are damaged or name something outside {PHASES_FOLDER} (the first is line {first}); what they may stand for \
         was left as it is, and the list as it was is kept beside it",
        lines.len()
    );
    Some(Notice::look(text).about(MANIFEST_FILE))
}

impl Step {
    fn line(&self, dry_run: bool) -> String {
        let (name, below) = (in_line(&self.name), in_line(&self.below));
        match &self.action {
            Action::Copy if dry_run => format!("write {below} (a copy of {name})"),
            Action::Link if dry_run => format!("write {below} (a link to {name})"),
            Action::Copy => format!("copy {name} -> {below}"),
            Action::Link => format!("link {name} -> {below}"),
            Action::Write => format!("write {below}"),
            Action::Keep => format!("keep {below} (the same is there)"),
            Action::Occupied => format!("leave {below} (something else is there; not overwritten)"),
            Action::Missing(why) => format!("miss {name} -> {below} ({why})"),
        }
    }
}
