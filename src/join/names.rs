//! Names for the cards that are joined.

use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};

/// What the folders of results begin with that nobody named.
const BY_DEFAULT: &str = "contactstrip-";

/// A name for each folder of results, all different: its own, with those of the folders around it in front where two share it
/// (`anna-out`, `ben-out`), and with a number behind where that does not tell them apart. Folders are absolute.
pub fn names(outs: &[PathBuf]) -> Vec<String> {
    let mut names: Vec<String> = outs.iter().map(|out| tail(out, 1)).collect();
    for depth in 2..=3 {
        let shared = counted(&names);
        for (name, out) in names.iter_mut().zip(outs) {
            if shared[name.as_str()] > 1 {
                *name = tail(out, depth);
            }
        }
    }
    let mut taken: BTreeMap<String, usize> = BTreeMap::new();
    for name in &mut names {
        let before = taken.entry(name.to_lowercase()).or_default();
        *before += 1;
        if *before > 1 {
            *name = format!("{name}~{before}");
        }
    }
    names
}

fn counted(names: &[String]) -> BTreeMap<String, usize> {
    let mut counts = BTreeMap::new();
    for name in names {
        *counts.entry(name.clone()).or_default() += 1;
    }
    counts
}

/// The last `depth` parts of a path with `-` between them.
fn tail(out: &Path, depth: usize) -> String {
    let part = |part: Component<'_>| match part {
        Component::Normal(name) => Some(name.to_string_lossy().into_owned()),
        _ => None,
    };
    let parts: Vec<String> = out.components().filter_map(part).collect();
    let from = parts.len().saturating_sub(depth);
    let last = parts[from..].iter();
    let words: Vec<&str> = last
        .map(|part| part.strip_prefix(BY_DEFAULT).unwrap_or(part))
        .collect();
    match words.join("-") {
        name if name.is_empty() => "card".to_owned(),
        name => name,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_short_and_all_different() {
        let of = |outs: &[&str]| names(&outs.iter().map(PathBuf::from).collect::<Vec<_>>());
        assert_eq!(of(&["/a/contactstrip-anna", "/a/ben"]), ["anna", "ben"]);
        assert_eq!(
            of(&["/x/anna/out", "/x/ben/out", "/y/cleo"]),
            ["anna-out", "ben-out", "cleo"]
        );
        assert_eq!(
            of(&["/x/a/b/out", "/y/a/b/out", "/z/a/b/Out", "/"]),
            ["a-b-out", "a-b-out~2", "Out", "card"]
        );
    }
}
