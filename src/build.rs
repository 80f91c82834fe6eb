//! Gives what turns a file into an analysis a version of its own, so that a newer program never takes up what an older one
//! kept: a checksum of the rooms that decode and measure, of the code that chooses how, and of the versions of the libraries.
//! Results of whole stages have the checksum of all there is.

use std::path::{Path, PathBuf};

/// What an analysis depends on.
const SOURCES: [&str; 5] = [
    "src/domain",
    "src/raster",
    "src/disc",
    "src/model/opening.rs",
    "Cargo.lock",
];

/// What a result depends on: everything, the fonts and tables of the program among it.
const ALL: [&str; 2] = ["src", "Cargo.lock"];

fn main() {
    for (name, sources) in [
        ("CONTACTSTRIP_ANALYSIS", &SOURCES[..]),
        ("CONTACTSTRIP_PROGRAM", &ALL),
    ] {
        println!("cargo::rustc-env={name}={:016x}", checksum(sources));
    }
}

fn checksum(sources: &[&str]) -> u64 {
    let mut sum = FNV_START;
    for source in sources {
        println!("cargo::rerun-if-changed={source}");
        for path in files(Path::new(source)) {
            sum = added(sum, path.to_string_lossy().replace('\\', "/").as_bytes());
            sum = added(sum, &std::fs::read(&path).unwrap_or_default());
        }
    }
    sum
}

/// All files at or below a path, in order of their names. A packaged program may come without the list of libraries.
fn files(path: &Path) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(path) else {
        return vec![path.to_owned()];
    };
    let mut paths: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
    paths.sort();
    paths.iter().flat_map(|path| files(path)).collect()
}

/// Start and prime of the 64-bit FNV-1a checksum (G. Fowler, L. C. Noll, K.-P. Vo, D. Eastlake, RFC 9923).
const FNV_START: u64 = 0xcbf2_9ce4_8422_2325;
const FNV_PRIME: u64 = 0x0000_0100_0000_01b3;

fn added(sum: u64, bytes: &[u8]) -> u64 {
    bytes.iter().fold(sum, |sum, &byte| {
        (sum ^ u64::from(byte)).wrapping_mul(FNV_PRIME)
    })
}
