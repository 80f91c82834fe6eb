//! Real photographs, where they are at hand.

use std::path::{Path, PathBuf};

/// The folder of real photographs beside the project; says so and gives `None` where there is none.
#[allow(clippy::print_stdout)]
pub(crate) fn folder() -> Option<PathBuf> {
    let photos = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/photos");
    if !photos.exists() {
        println!("no real photographs here; nothing checked");
        return None;
    }
    Some(photos)
}
