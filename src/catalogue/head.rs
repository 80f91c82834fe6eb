//! The little of a record that tells which eclipse it is of.

use std::fs::File;
use std::io::{BufReader, ErrorKind};
use std::path::Path;

use jiff::civil::Date;
use serde::Deserialize;

use super::{CATALOGUE_FILE, CatalogueError, VERSION};

/// What a record is of. Read without keeping the rest of it in memory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CatalogueHead {
    /// The eclipse's date (TT), where one was found.
    pub eclipse_date: Option<Date>,
    /// Names of the cards it was joined from; none in the record of a card by itself.
    pub sources: Vec<String>,
}

#[derive(Deserialize)]
struct Fields {
    version: u32,
    contacts: Option<Eclipse>,
    #[serde(default)]
    sources: Vec<Source>,
}

#[derive(Deserialize)]
struct Eclipse {
    eclipse_date: Date,
}

#[derive(Deserialize)]
struct Source {
    name: String,
}

impl CatalogueHead {
    /// Reads it from `OUT/catalogue.json`; records of earlier layouts have it in the same places.
    ///
    /// # Errors
    /// As [`super::Catalogue::load`].
    pub fn load(out: &Path) -> Result<Self, CatalogueError> {
        let path = out.join(CATALOGUE_FILE);
        let file = match File::open(&path) {
            Ok(file) => BufReader::new(file),
            Err(e) if e.kind() == ErrorKind::NotFound => {
                return Err(CatalogueError::Missing(out.to_owned()));
            }
            Err(e) => return Err(CatalogueError::Read(path, e)),
        };
        let fields: Fields = match serde_json::from_reader(file) {
            Ok(fields) => fields,
            Err(e) => return Err(CatalogueError::Parse(path, e)),
        };
        if !(1..=VERSION).contains(&fields.version) {
            let found = fields.version;
            return Err(CatalogueError::Version { path, found });
        }
        Ok(Self {
            eclipse_date: fields.contacts.map(|eclipse| eclipse.eclipse_date),
            sources: fields.sources.into_iter().map(|s| s.name).collect(),
        })
    }
}
