//! Contents compared by their SHA-256.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;

use sha2::{Digest, Sha256};

/// How much is read at a time, in bytes.
const CHUNK_BYTES: usize = 1 << 20;

/// SHA-256 of all that `from` gives, as 64 hexadecimal digits; everything is handed to `to` on the way.
pub(super) fn pass_on(from: &mut dyn Read, to: &mut dyn Write) -> io::Result<String> {
    let mut hash = Sha256::new();
    let mut chunk = vec![0; CHUNK_BYTES];
    loop {
        match from.read(&mut chunk) {
            Ok(0) => return Ok(digits(&hash.finalize())),
            Ok(len) => {
                hash.update(&chunk[..len]);
                to.write_all(&chunk[..len])?;
            }
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
}

/// SHA-256 of a file.
pub(super) fn of_file(path: &Path) -> io::Result<String> {
    pass_on(&mut File::open(path)?, &mut io::sink())
}

/// SHA-256 of bytes in memory.
pub(super) fn of_bytes(bytes: &[u8]) -> String {
    digits(&Sha256::digest(bytes))
}

fn digits(hash: &[u8]) -> String {
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_standards_example() {
        // FIPS 180-4 example, message "abc".
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(of_bytes(b"abc"), expected);
        let mut copied = Vec::new();
        assert_eq!(pass_on(&mut &b"abc"[..], &mut copied).unwrap(), expected);
        assert_eq!(copied, b"abc");
    }
}
