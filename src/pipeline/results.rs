//! What this program wrote below OUT, remembered by its hash, so that work of a person is told from it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::catalogue::{WriteError, sha256_of_file, write_atomically, write_unless};
use crate::domain::Notice;

/// Name below OUT of the list of what was written: one JSON object a line.
const LIST_FILE: &str = ".contactstrip-written";

/// Files up to this size are brought to the disk itself before they take their name (our choice: the record and the recipe are
/// among them, layers of hundreds of megabytes are not, which can be made again).
const MOST_SYNCED_BYTES: u64 = 8 << 20;

/// Names of stale results told one by one.
const NAMES_TOLD: usize = 4;

/// SHA-256 of a file in hexadecimal.
type Hash = String;

/// One line of the list, added just before a file takes its name.
#[derive(Serialize, Deserialize)]
struct Line {
    /// Below OUT, with `/` separators.
    name: String,
    sha256: Hash,
}

/// The results of a folder: which are ours, and what there is to tell.
#[derive(Debug)]
pub(super) struct Results {
    out: PathBuf,
    /// Hashes a file may have that this program wrote. More than one where a run was killed between two of them.
    known: BTreeMap<String, BTreeSet<Hash>>,
    /// Names written since the folder was opened, with the hash.
    fresh: BTreeMap<String, Hash>,
    list: Option<File>,
    told: Vec<Notice>,
}

impl Results {
    /// Reads what earlier runs wrote. A line that cannot be read makes a file count as somebody's, which loses nothing.
    pub(super) fn of(out: &Path) -> Self {
        let mut known: BTreeMap<String, BTreeSet<Hash>> = BTreeMap::new();
        let text = fs::read(out.join(LIST_FILE)).unwrap_or_default();
        for line in text.split(|b| *b == b'\n') {
            if let Ok(Line { name, sha256 }) = serde_json::from_slice(line) {
                known.entry(name).or_default().insert(sha256);
            }
        }
        Self {
            out: out.to_owned(),
            known,
            fresh: BTreeMap::new(),
            list: None,
            told: Vec::new(),
        }
    }

    /// Gives a whole file its name. A file of that name that this program did not write, or that was changed since, is kept
    /// under the next free numbered name. The same bytes are left as they are. `true` when there is nothing more to do.
    fn settle_name(&mut self, name: &str, whole: &Path) -> io::Result<bool> {
        let sha256 = sha256_of_file(whole)?;
        let target = self.out.join(name);
        let there = match fs::symlink_metadata(&target) {
            Err(e) if e.kind() == io::ErrorKind::NotFound => None,
            Err(e) => return Err(e),
            Ok(meta) if meta.is_file() => Some(sha256_of_file(&target)?),
            Ok(_) => Some(Hash::new()), // a link or a folder: never ours
        };
        self.record(name, &sha256)?;
        if there.as_ref() == Some(&sha256) {
            return Ok(true);
        }
        if there.is_some_and(|hash| !self.is_ours(name, &hash)) {
            let kept = keep_aside(&target)?;
            self.told.push(
                Notice::note(format!(
                    "what was there is not what this program wrote; it was kept as {}",
                    kept.file_name().unwrap_or_default().to_string_lossy()
                ))
                .about(name),
            );
        }
        if fs::metadata(whole)?.len() <= MOST_SYNCED_BYTES {
            File::open(whole)?.sync_all()?;
        }
        Ok(false)
    }

    /// Keeps what is there under a numbered name, whoever wrote it.
    pub(super) fn keep(&mut self, name: &str) -> io::Result<()> {
        let path = self.out.join(name);
        if path.exists() {
            let kept = keep_aside(&path)?;
            self.told.push(
                Notice::note(format!(
                    "most pictures the earlier one knew are not on the card any more; it was kept as {}",
                    kept.file_name().unwrap_or_default().to_string_lossy()
                ))
                .about(name),
            );
        }
        Ok(())
    }

    /// Names written since the folder was opened, or that stand as if they had been.
    pub(super) fn written(&self) -> Vec<String> {
        self.fresh.keys().cloned().collect()
    }

    /// The hash of a result written since the folder was opened, or that stands as if it had been.
    pub(super) fn written_as(&self, name: &str) -> Option<Hash> {
        self.fresh.get(name).cloned()
    }

    /// Takes results of an earlier run for this one's; `false`, and nothing taken, where one is not known for certain.
    pub(super) fn stand<'n>(&mut self, names: impl Iterator<Item = &'n String>) -> bool {
        let certain = |name: &String| {
            let own = self.known.get(name).filter(|own| own.len() == 1)?;
            Some((name.clone(), own.first()?.clone()))
        };
        let Some(all) = names.map(certain).collect::<Option<Vec<_>>>() else {
            return false;
        };
        self.fresh.extend(all);
        true
    }

    fn is_ours(&self, name: &str, hash: &Hash) -> bool {
        self.known.get(name).is_some_and(|own| own.contains(hash))
    }

    /// Puts a file on the list, just before it appears.
    fn record(&mut self, name: &str, sha256: &Hash) -> io::Result<()> {
        self.fresh.insert(name.to_owned(), sha256.clone());
        let own = self.known.entry(name.to_owned()).or_default();
        if !own.insert(sha256.clone()) {
            return Ok(());
        }
        let line = Line {
            name: name.to_owned(),
            sha256: sha256.clone(),
        };
        let list = match &mut self.list {
            Some(list) => list,
            none => none.insert(open_list(&self.out.join(LIST_FILE))?),
        };
        list.write_all(&text_of(&line))
    }

    /// Removes results of earlier runs that `stale` names and this run did not write, where they are as they were written;
    /// both what was removed and what was left is told.
    pub(super) fn clear(&mut self, stale: &dyn Fn(&str) -> bool) {
        let (mut removed, mut left) = (Vec::new(), Vec::new());
        let names: Vec<String> = self
            .known
            .keys()
            .filter(|name| !self.fresh.contains_key(*name) && stale(name))
            .cloned()
            .collect();
        for name in names {
            let path = self.out.join(&name);
            let is_file = fs::symlink_metadata(&path).is_ok_and(|meta| meta.is_file());
            let ours =
                is_file && sha256_of_file(&path).is_ok_and(|hash| self.is_ours(&name, &hash));
            if ours && fs::remove_file(&path).is_ok() {
                removed.push(name.clone());
            } else if path.exists() {
                left.push(name.clone());
            }
            self.known.remove(&name);
        }
        for (names, what) in [
            (
                removed,
                "removed, as this program wrote them and nobody changed them",
            ),
            (left, "left, as they were changed since"),
        ] {
            if !names.is_empty() {
                let text = format!(
                    "results of an earlier run that this one does not make were {what}: {}",
                    listed(&names)
                );
                self.told.push(Notice::note(text));
            }
        }
    }

    /// A file has its name: whatever else it may have been is over.
    fn has_name(&mut self, name: &str) {
        if let Some(hash) = self.fresh.get(name) {
            self.known
                .insert(name.to_owned(), BTreeSet::from([hash.clone()]));
        }
    }

    /// What there is to tell since it was asked last.
    pub(super) fn told(&mut self) -> Vec<Notice> {
        std::mem::take(&mut self.told)
    }

    /// Writes the list anew, each name once and in order, so that runs that were stopped leave the same one.
    pub(super) fn close(&mut self) {
        let lines = self.known.iter().flat_map(|(name, own)| {
            own.iter().map(|sha256| {
                text_of(&Line {
                    name: name.clone(),
                    sha256: sha256.clone(),
                })
            })
        });
        let text: Vec<u8> = lines.flatten().collect();
        let path = self.out.join(LIST_FILE);
        let there = fs::read(&path).unwrap_or_default();
        if text != there {
            // A list that cannot be written says more than it need, or less: then files count as somebody's.
            let _ = write_atomically(&path, |file| file.write_all(&text));
        }
    }
}

/// Writes a result; see [`Results::settle_name`]. The list is locked only while the file takes its name.
pub(super) fn write(
    results: &std::sync::Mutex<Results>,
    name: &str,
    fill: impl FnOnce(&mut File) -> io::Result<()>,
) -> Result<PathBuf, WriteError> {
    let lock = || {
        results
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner)
    };
    let path = lock().out.join(name);
    write_unless(&path, fill, |whole| lock().settle_name(name, whole))?;
    lock().has_name(name);
    Ok(path)
}

/// Opens the list for adding; a last line that was cut off is ended, and counts for nothing.
fn open_list(path: &Path) -> io::Result<File> {
    let whole = fs::read(path).map_or(true, |text| text.is_empty() || text.ends_with(b"\n"));
    let mut list = File::options().create(true).append(true).open(path)?;
    if !whole {
        list.write_all(b"\n")?;
    }
    Ok(list)
}

fn text_of(line: &Line) -> Vec<u8> {
    let mut text = serde_json::to_vec(line).expect("texts can be written as JSON");
    text.push(b'\n');
    text
}

/// Gives what is at `path` the next free numbered name: `strip-1.tif`.
fn keep_aside(path: &Path) -> io::Result<PathBuf> {
    let stem = path.file_stem().unwrap_or_default();
    for number in 1_u32.. {
        let mut name = stem.to_owned();
        name.push(format!("-{number}"));
        if let Some(ending) = path.extension() {
            name.push(".");
            name.push(ending);
        }
        let aside = path.with_file_name(name);
        if fs::symlink_metadata(&aside).is_ok() {
            continue;
        }
        match fs::hard_link(path, &aside) {
            Ok(()) => return Ok(aside),
            Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {}
            // Folders, and file systems of cards, know no second names.
            Err(_) => return fs::rename(path, &aside).map(|()| aside),
        }
    }
    Err(io::Error::other("no numbered name is free"))
}

fn listed(names: &[String]) -> String {
    let more = names.len().saturating_sub(NAMES_TOLD);
    let shown = names.iter().take(NAMES_TOLD).cloned().collect::<Vec<_>>();
    match more {
        0 => shown.join(", "),
        n => format!("{} and {n} more", shown.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Mutex;

    use super::*;

    fn put(out: &Path, name: &str, text: &str) -> Vec<Notice> {
        let results = Mutex::new(Results::of(out));
        write(&results, name, |file| file.write_all(text.as_bytes())).unwrap();
        let mut results = results.into_inner().unwrap();
        results.close();
        results.told()
    }

    #[test]
    fn what_is_ours_is_replaced_and_what_is_somebodys_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path();
        let read = |name: &str| fs::read_to_string(out.join(name)).unwrap();
        assert!(put(out, "strip.tif", "one").is_empty());
        assert!(put(out, "strip.tif", "two").is_empty());
        fs::write(out.join("strip.tif"), "retouched").unwrap();
        fs::write(out.join("strip-1.tif"), "taken").unwrap();
        let told = put(out, "strip.tif", "three");
        assert!(told[0].text().contains("strip-2.tif"), "{told:?}");
        assert!(put(out, "strip.tif", "four").is_empty());
        let files = ["strip.tif", "strip-1.tif", "strip-2.tif"].map(read);
        assert_eq!(files, ["four", "taken", "retouched"]);
    }

    #[test]
    fn a_file_that_was_there_first_is_kept_and_the_same_bytes_are_left() {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path();
        fs::write(out.join("corona.png"), "mine").unwrap();
        fs::write(out.join("strip.png"), "equal").unwrap();
        assert_eq!(put(out, "corona.png", "new").len(), 1);
        assert!(put(out, "strip.png", "equal").is_empty());
        assert_eq!(
            fs::read_to_string(out.join("corona-1.png")).unwrap(),
            "mine"
        );
    }

    #[test]
    fn a_run_killed_before_the_name_was_taken_leaves_the_earlier_file_ours() {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path();
        put(out, "strip.tif", "one");
        let mut killed = Results::of(out);
        killed.record("strip.tif", &"0".repeat(64)).unwrap();
        drop(killed);
        assert!(put(out, "strip.tif", "two").is_empty());
        assert!(!out.join("strip-1.tif").exists());
    }

    #[test]
    fn stale_results_go_unless_they_were_changed() {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path();
        for name in ["strip.tif", "strip.jpg", "strip.png", "corona.png"] {
            put(out, name, name);
        }
        fs::write(out.join("strip.jpg"), "retouched").unwrap();
        fs::write(out.join("strip-draft.tif"), "mine").unwrap();
        let results = Mutex::new(Results::of(out));
        write(&results, "strip.png", |file| file.write_all(b"new")).unwrap();
        let mut results = results.into_inner().unwrap();
        results.clear(&|name| name.starts_with("strip"));
        let there = |name: &str| out.join(name).exists();
        assert!(!there("strip.tif") && there("strip.jpg") && there("strip.png"));
        assert!(there("corona.png") && there("strip-draft.tif"));
        assert_eq!(results.told().len(), 2);
    }
}
