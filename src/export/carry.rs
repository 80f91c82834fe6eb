//! From a plan to files.

use std::fs::{File, FileTimes};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::manifest::{self, Made, Writer};
use super::{
    Action, ExportError, ExportOutcome, ExportPlan, PHASES_FOLDER, Progress, Source, Step,
};
use crate::catalogue::{pass_on, sha256, sha256_of_file};
use crate::domain::Notice;

/// Where copies are written until they are whole: a folder below `OUT/phases`, gone at the end.
const WORK_FOLDER: &str = ".contactstrip-writing";

/// First part of the names of files in it.
const PART: &str = "part-";

/// Does what a plan says. `progress` is told before each step.
///
/// Nothing is ever overwritten, not even what appeared since the plan was made. A file that cannot be made is listed as
/// missing and the next is tried; when the disk is full the rest is listed as missing at once. Run again, an export goes
/// on with what is missing.
///
/// # Errors
/// [`ExportError`] when OUT cannot be written to at all, or the list of an earlier export cannot be read.
pub fn carry_out(
    plan: &ExportPlan,
    progress: &mut dyn FnMut(Progress<'_>),
) -> Result<ExportOutcome, ExportError> {
    let made_before = manifest::read(&plan.out)?;
    let mut outcome = ExportOutcome {
        notices: super::damage_notice(&made_before.damaged)
            .into_iter()
            .collect(),
        ..ExportOutcome::default()
    };
    if plan.steps.iter().any(|step| step.action.makes()) {
        Work::open(&plan.out)?.all(plan, progress, &mut outcome);
        clear_work_folder(&plan.out);
        manifest::settle(&plan.out, &manifest::read(&plan.out)?)?;
    } else {
        plan.steps.iter().for_each(|step| outcome.note(step, None));
        clear_work_folder(&plan.out);
        manifest::settle(&plan.out, &made_before)?;
    }
    add_summary(plan, &mut outcome);
    Ok(outcome)
}

/// Removes what a stopped export left half-written, and nothing else that may be there.
pub(super) fn clear_work_folder(out: &Path) {
    let folder = out.join(PHASES_FOLDER).join(WORK_FOLDER);
    if folder.is_symlink() {
        return;
    }
    let entries = std::fs::read_dir(&folder).into_iter().flatten().flatten();
    for entry in entries.filter(|e| e.file_name().to_string_lossy().starts_with(PART)) {
        // What cannot be removed does no harm: names in it are never looked at.
        let _ = std::fs::remove_file(entry.path());
    }
    let _ = std::fs::remove_dir(folder);
}

impl Action {
    /// Whether a file is to appear.
    pub(super) fn makes(&self) -> bool {
        matches!(self, Self::Copy | Self::Link | Self::Write)
    }
}

impl ExportOutcome {
    /// Counts a step; `trouble` says why a file that was to appear did not.
    fn note(&mut self, step: &Step, trouble: Option<String>) {
        let why = match (&step.action, trouble) {
            (_, Some(why)) => why,
            (Action::Keep, None) => {
                self.kept += 1;
                return;
            }
            (Action::Occupied, None) => {
                "something else is there; it was not overwritten, move it away and export again"
                    .to_owned()
            }
            (Action::Missing(why), None) => format!("cannot be read: {why}"),
            (Action::Copy | Action::Link | Action::Write, None) => {
                self.made += 1;
                return;
            }
        };
        self.notices
            .push(Notice::look(format!("not exported to {}: {why}", step.below)).about(&step.name));
        self.missing.push((step.below.clone(), why));
    }
}

fn add_summary(plan: &ExportPlan, outcome: &mut ExportOutcome) {
    if plan.steps.iter().any(|step| step.action == Action::Link) {
        let text = "linked files are the originals under a second name: save edits as new files, or export copies";
        outcome.notices.push(Notice::note(text));
    }
    if !outcome.missing.is_empty() {
        let text = format!(
            "{} files are missing in {PHASES_FOLDER}; fix what is named and run `contactstrip export` again to go on",
            outcome.missing.len()
        );
        outcome.notices.push(Notice::look(text));
    }
}

struct Work<'a> {
    out: &'a Path,
    list: Writer,
    folder: PathBuf,
}

impl<'a> Work<'a> {
    /// Opens the list of what was made and an empty folder to write in.
    fn open(out: &'a Path) -> Result<Self, ExportError> {
        let trouble = |cause| ExportError::Out {
            out: out.to_owned(),
            cause,
        };
        std::fs::create_dir_all(out).map_err(trouble)?;
        clear_work_folder(out);
        let mut work = Self {
            out,
            list: Writer::open(out)?,
            folder: out.join(PHASES_FOLDER).join(WORK_FOLDER),
        };
        work.make_folder(PHASES_FOLDER).map_err(trouble)?;
        match std::fs::create_dir(&work.folder) {
            Err(e) if e.kind() != io::ErrorKind::AlreadyExists => return Err(trouble(e)),
            _ => {}
        }
        Ok(work)
    }

    /// A file to write into until it is whole.
    fn part(&self) -> io::Result<NamedTempFile> {
        tempfile::Builder::new()
            .prefix(PART)
            .tempfile_in(&self.folder)
    }

    fn all(
        &mut self,
        plan: &ExportPlan,
        progress: &mut dyn FnMut(Progress<'_>),
        outcome: &mut ExportOutcome,
    ) {
        let mut full = false;
        for (done, step) in plan.steps.iter().enumerate() {
            progress(Progress {
                done,
                total: plan.steps.len(),
                below: &step.below,
            });
            let trouble = match step.action.makes() {
                true if full => Some("the disk was full before its turn".to_owned()),
                true => self.one(step).err().map(|e| {
                    full = e.kind() == io::ErrorKind::StorageFull;
                    advice(step, &e)
                }),
                false => None,
            };
            outcome.note(step, trouble);
        }
    }

    /// Makes one file; one that was put on record and did not appear is taken off it.
    fn one(&mut self, step: &Step) -> io::Result<()> {
        let outcome = self.make(step);
        if outcome.is_err() {
            self.list.add(&Made::Not(step.below.clone()))?;
        }
        outcome
    }

    fn make(&mut self, step: &Step) -> io::Result<()> {
        if let Some((folder, _)) = step.below.rsplit_once('/') {
            self.make_folder(folder)?;
        }
        let target = self.out.join(&step.below);
        match (&step.source, &step.action) {
            (Source::File(source), Action::Link) => {
                let source = source.canonicalize()?; // a link to a file: the file itself
                self.record(&step.below, sha256_of_file(&source)?)?;
                std::fs::hard_link(source, target)
            }
            (Source::File(source), _) => {
                let (copy, sha256) = self.copy(source)?;
                self.record(&step.below, sha256)?;
                place(copy, &target)
            }
            (Source::Text(text), _) => {
                let mut file = self.part()?;
                file.write_all(text.as_bytes())?;
                readable(file.as_file())?;
                self.record(&step.below, sha256(text.as_bytes()))?;
                place(file, &target)
            }
        }
    }

    /// A copy with the times of its source, read back and compared.
    fn copy(&self, source: &Path) -> io::Result<(NamedTempFile, String)> {
        let mut from = File::open(source)?;
        let mut copy = self.part()?;
        let sha256 = pass_on(&mut from, copy.as_file_mut())?;
        copy.as_file().sync_data()?;
        if sha256_of_file(copy.path())? != sha256 {
            let text = "the copy differs from its source; the disk or its connection is not sound";
            return Err(io::Error::other(text));
        }
        let meta = from.metadata()?;
        let mut times = FileTimes::new().set_modified(meta.modified()?);
        if let Ok(accessed) = meta.accessed() {
            times = times.set_accessed(accessed);
        }
        readable(copy.as_file())?;
        copy.as_file().set_times(times)?;
        Ok((copy, sha256))
    }

    /// Puts a file on record, just before it appears.
    fn record(&mut self, below: &str, sha256: String) -> io::Result<()> {
        self.list.add(&Made::File {
            below: below.to_owned(),
            sha256,
        })
    }

    /// Makes a folder below OUT and those above it; each new one is put on record.
    fn make_folder(&mut self, below: &str) -> io::Result<()> {
        let ends = below.match_indices('/').map(|(at, _)| at);
        for end in ends.chain([below.len()]) {
            let folder = self.out.join(&below[..end]);
            if !folder.is_dir() {
                self.list.add(&Made::Folder(below[..end].to_owned()))?;
                std::fs::create_dir(folder)?;
            }
        }
        Ok(())
    }
}

/// Gives a finished file its name, which must be free.
fn place(file: NamedTempFile, target: &Path) -> io::Result<()> {
    match file.persist_noclobber(target) {
        Ok(_) => Ok(()),
        Err(e) if e.error.kind() == io::ErrorKind::AlreadyExists => Err(e.error),
        // File systems of cards know neither links nor a rename that spares what is there.
        Err(e) if !target.exists() => e.file.persist(target).map(drop).map_err(|e| e.error),
        Err(e) => Err(e.error),
    }
}

/// Temporary files are private; finished ones get the usual rights.
fn readable(file: &File) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        file.set_permissions(std::fs::Permissions::from_mode(0o644))?;
    }
    let _ = file;
    Ok(())
}

/// What went wrong with a step, and what to try.
fn advice(step: &Step, error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::AlreadyExists => {
            "something else is there; it was not overwritten".to_owned()
        }
        io::ErrorKind::CrossesDevices if step.action == Action::Link => {
            "a link cannot lead to another disk; export without --link to copy".to_owned()
        }
        _ if step.action == Action::Link => format!("{error}; export without --link to copy"),
        _ => error.to_string(),
    }
}
