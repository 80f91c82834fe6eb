//! What a person should know about a run.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{NoticeKind, Severity, in_line};

/// One thing to tell: what happened, to which file, what we did, what to try.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Notice {
    /// How much it matters.
    pub severity: Severity,
    /// The file it is about, as in `shots.csv`; `None` when it is about the run.
    pub file: Option<String>,
    /// What there is to tell.
    pub what: NoticeKind,
}

impl Notice {
    /// A notice about the run that needs no action.
    pub fn note(what: impl Into<NoticeKind>) -> Self {
        Self {
            severity: Severity::Note,
            file: None,
            what: what.into(),
        }
    }

    /// A notice about the run that a person should look at.
    pub fn look(what: impl Into<NoticeKind>) -> Self {
        Self {
            severity: Severity::Look,
            file: None,
            what: what.into(),
        }
    }

    /// The sentence, without the file's name.
    pub fn text(&self) -> String {
        self.what.to_string()
    }

    /// The same notice about one file.
    pub fn about(mut self, file: impl Into<String>) -> Self {
        self.file = Some(file.into());
        self
    }
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.file {
            Some(file) => write!(f, "{}: {}", in_line(file), in_line(&self.text())),
            None => f.write_str(&in_line(&self.text())),
        }
    }
}
