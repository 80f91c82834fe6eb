//! Every file below the cards, once.

use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};

use walkdir::{DirEntry, WalkDir};

use super::name;
use crate::domain::{IoCause, Notice, NoticeKind, StrayKind};

/// Something found on a card that is not a folder.
pub(super) struct Found {
    /// Name below the card.
    pub(super) name: String,
    /// Where it is.
    pub(super) path: PathBuf,
    /// Why it is not to be opened, where it is not.
    pub(super) left: Option<StrayKind>,
}

/// Walks all cards in order. Trouble goes to `notices`.
pub(super) fn all(
    cards: &[PathBuf],
    leave_out: &[PathBuf],
    notices: &mut Vec<Notice>,
) -> Vec<Found> {
    let whole = |paths: &[PathBuf]| -> Vec<PathBuf> {
        paths.iter().filter_map(|p| p.canonicalize().ok()).collect()
    };
    let mut walk = Walk {
        roots: whole(cards),
        leave_out: whole(leave_out),
        seen: BTreeSet::new(),
        found: Vec::new(),
        notices,
    };
    for (card, prefix) in cards.iter().zip(name::card_prefixes(cards)) {
        walk.card(card, &prefix);
    }
    walk.found
}

struct Walk<'a> {
    /// The cards, with links resolved.
    roots: Vec<PathBuf>,
    leave_out: Vec<PathBuf>,
    /// Folders walked, and files reached through links, with links resolved.
    seen: BTreeSet<PathBuf>,
    found: Vec<Found>,
    notices: &'a mut Vec<Notice>,
}

impl Walk<'_> {
    fn card(&mut self, card: &Path, prefix: &str) {
        let mut entries = WalkDir::new(card)
            .follow_links(true)
            .sort_by_file_name()
            .into_iter();
        while let Some(entry) = entries.next() {
            match entry {
                Ok(entry) if entry.file_type().is_dir() => {
                    if !self.enters(&entry, card, prefix) {
                        entries.skip_current_dir();
                    }
                }
                Ok(entry) => self.file(&entry, card, prefix),
                Err(error) => self.trouble(&error, card, prefix),
            }
        }
    }

    /// Whether to go into a folder: not if it is to be left out, was walked before, or is a link upwards.
    fn enters(&mut self, entry: &DirEntry, card: &Path, prefix: &str) -> bool {
        let Ok(whole) = entry.path().canonicalize() else {
            return true; // reading it will say what is wrong
        };
        if entry.depth() > 0 && self.leave_out.contains(&whole) {
            return false;
        }
        if entry.path_is_symlink() && entry.depth() > 0 {
            let name = shown(entry.path(), card, prefix);
            if self.roots.iter().any(|root| root.starts_with(&whole)) {
                self.note(name, NoticeKind::LinkAboveCard);
                return false;
            }
            if self.roots.iter().any(|root| whole.starts_with(root)) {
                self.note(name, NoticeKind::LinkOnCard);
                return false;
            }
        }
        if !self.seen.insert(whole) {
            let name = shown(entry.path(), card, prefix);
            self.note(name, NoticeKind::FolderReadBefore);
            return false;
        }
        true
    }

    fn file(&mut self, entry: &DirEntry, card: &Path, prefix: &str) {
        let left = if !entry.file_type().is_file() {
            Some(StrayKind::NoFile)
        } else if entry.path_is_symlink() {
            self.link_left(entry.path())
        } else {
            None
        };
        self.found.push(Found {
            name: shown(entry.path(), card, prefix),
            path: entry.path().to_owned(),
            left,
        });
    }

    /// Why a link to a file is left: its file is on the card, or was reached through another link.
    fn link_left(&mut self, path: &Path) -> Option<StrayKind> {
        let whole = path.canonicalize().ok()?;
        let on_card = self.roots.iter().any(|root| whole.starts_with(root));
        let again = on_card || !self.seen.insert(whole);
        again.then_some(StrayKind::LinkedFile)
    }

    fn trouble(&mut self, error: &walkdir::Error, card: &Path, prefix: &str) {
        let path = error.path().unwrap_or(card);
        let name = shown(path, card, prefix);
        if error.loop_ancestor().is_some() {
            self.note(name, NoticeKind::LinkInACircle);
            return;
        }
        let is_link = path.is_symlink();
        let gone = error.io_error().map(io::Error::kind) == Some(io::ErrorKind::NotFound);
        if is_link && gone {
            self.found.push(Found {
                name,
                path: path.to_owned(),
                left: Some(StrayKind::DanglingLink),
            });
            return;
        }
        // An error without a cause of the system's is a loop, which was told above.
        let cause = error.io_error().map_or_else(
            || IoCause::from(&io::Error::from(io::ErrorKind::Other)),
            IoCause::from,
        );
        self.notices
            .push(Notice::look(NoticeKind::NotWalked { cause }).about(name));
    }

    fn note(&mut self, name: String, what: NoticeKind) {
        self.notices.push(Notice::note(what).about(name));
    }
}

fn shown(path: &Path, card: &Path, prefix: &str) -> String {
    let below = path.strip_prefix(card).unwrap_or(path);
    match name::shown(below) {
        below if below.is_empty() => card.display().to_string(),
        below => format!("{prefix}{below}"),
    }
}
