//! Notices that many frames share are told once.

use crate::domain::Notice;

/// From how many frames on the same sentence is told once for all of them.
const MANY: usize = 4;

/// The notices, with sentences that many frames share joined where the first of them stood.
pub(super) fn joined(notices: Vec<Notice>) -> Vec<Notice> {
    let mut joined = Vec::new();
    for (i, notice) in notices.iter().enumerate() {
        let same = |other: &&Notice| {
            other.file.is_some() && other.what == notice.what && other.severity == notice.severity
        };
        let count = notices.iter().filter(same).count();
        if notice.file.is_none() || count < MANY {
            joined.push(notice.clone());
        } else if !notices[..i].iter().any(|earlier| same(&earlier)) {
            let first = notice.file.as_deref().unwrap_or_default();
            joined.push(Notice {
                severity: notice.severity,
                file: None,
                what: format!("{first} and {} more frames: {}", count - 1, notice.text()).into(),
            });
        }
    }
    joined
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_many_share_is_told_once() {
        let shared = (0..5).map(|i| Notice::look("placed as shot").about(format!("{i}")));
        let mut all: Vec<Notice> = shared.collect();
        all.insert(2, Notice::note("alone").about("x"));
        let texts: Vec<String> = joined(all).iter().map(Notice::to_string).collect();
        assert_eq!(texts, ["0 and 4 more frames: placed as shot", "x: alone"]);
    }
}
