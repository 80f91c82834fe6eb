//! What a record looks like, for programs of others.

use super::{Catalogue, VERSION};

/// The JSON Schema (draft 2020-12) of `catalogue.json` in its layout [`VERSION`], made from the types themselves. The repository
/// keeps it as `fixtures/schema/catalogue-VERSION.json`.
pub fn schema() -> serde_json::Value {
    let mut schema = schemars::schema_for!(Catalogue);
    schema.insert(
        "title".to_owned(),
        format!("contactstrip catalogue, layout {VERSION}").into(),
    );
    schema.to_value()
}
