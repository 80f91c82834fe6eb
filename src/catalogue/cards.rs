//! The cards of a record: where they were, and each file's place on them.

use std::path::{Component, Path, PathBuf};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::domain::path_text;

/// A folder of pictures that was read.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CardRecord {
    /// Where it was last seen, as an absolute path.
    #[serde(with = "path_text")]
    #[schemars(with = "String")]
    pub path: PathBuf,
    /// The way to it from the folder of the results, so that both can be moved together.
    pub from_out: Option<String>,
    /// The pictures on it, in shooting order as far as names tell.
    pub files: Vec<FileRecord>,
}

/// A picture's place on its card.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct FileRecord {
    /// The name every output uses.
    pub name: String,
    /// Where it is below the card.
    #[serde(with = "path_text")]
    #[schemars(with = "String")]
    pub below: PathBuf,
    /// Size in bytes.
    pub size_bytes: u64,
    /// What it is known again by, see [`super::content_id`]; `None` where it could not be read or was not asked for.
    pub content_id: Option<String>,
    /// The name of the file it holds the same bytes as, where it is a second copy: both are one shot.
    pub same_as: Option<String>,
}

impl CardRecord {
    /// A card read from `path` for results in `out`.
    pub fn new(path: &Path, out: &Path, files: Vec<FileRecord>) -> Self {
        Self {
            path: path.to_owned(),
            from_out: way(out, path),
            files,
        }
    }

    /// Where the way from the results leads, as the results lie now.
    pub fn beside(&self, out: &Path) -> Option<PathBuf> {
        let out = out.canonicalize().ok()?;
        out.join(self.from_out.as_deref()?).canonicalize().ok()
    }
}

/// The way from one folder to another with `/` between its parts; `None` where there is none or it is no text.
fn way(from: &Path, to: &Path) -> Option<String> {
    let whole = |path: &Path| {
        path.canonicalize()
            .or_else(|_| std::path::absolute(path))
            .ok()
    };
    let (from, to) = (whole(from)?, whole(to)?);
    let (from, to): (Vec<Component<'_>>, Vec<Component<'_>>) =
        (from.components().collect(), to.components().collect());
    let shared = from.iter().zip(&to).take_while(|(a, b)| a == b).count();
    if shared == 0 {
        return None; // another drive
    }
    let mut parts = vec![".."; from.len() - shared];
    for part in &to[shared..] {
        parts.push(part.as_os_str().to_str()?);
    }
    Some(parts.join("/"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_goes_up_and_down_again() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path().canonicalize().unwrap();
        let (out, card) = (root.join("a/out"), root.join("cards/one"));
        std::fs::create_dir_all(&out).unwrap();
        std::fs::create_dir_all(&card).unwrap();
        let record = CardRecord::new(&card, &out, Vec::new());
        assert_eq!(record.from_out.as_deref(), Some("../../cards/one"));
        assert_eq!(record.beside(&out), Some(card));
        assert_eq!(way(&out, &out).as_deref(), Some(""));
    }
}
