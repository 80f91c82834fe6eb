//! Files told by their contents (SHA-256, FIPS 180-4).

use std::fs::File;
use std::io::{self, Read, Seek as _, SeekFrom, Write};
use std::path::Path;

use sha2::{Digest, Sha256};

/// How much is read at a time, in bytes.
const CHUNK_BYTES: usize = 1 << 20;

/// Bytes at either end of a file that go into its [`content_id`] (our choice: a header with its times and counters at the front,
/// the last of the picture at the back; reading a card of a thousand files so takes seconds).
const END_BYTES: u64 = 64 << 10;

/// SHA-256 of all that `from` gives, as 64 hexadecimal digits; everything is handed to `to` on the way.
///
/// # Errors
/// Those of `from` and `to`.
pub fn pass_on(from: &mut dyn Read, to: &mut dyn Write) -> io::Result<String> {
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

/// SHA-256 of every byte of a file.
///
/// # Errors
/// When it cannot be read whole.
pub fn sha256_of_file(path: &Path) -> io::Result<String> {
    pass_on(&mut File::open(path)?, &mut io::sink())
}

/// SHA-256 of bytes in memory.
pub fn sha256(bytes: &[u8]) -> String {
    digits(&Sha256::digest(bytes))
}

/// What a photograph is known again by wherever it lies: SHA-256 of its size and of the 64 KiB at either end, in hexadecimal.
/// Two photographs never share it; two copies of one do, also where the middle of one of them is damaged. `None` for an empty
/// file, which could be any.
///
/// # Errors
/// When the file cannot be read.
pub fn content_id(path: &Path) -> io::Result<Option<String>> {
    let mut file = File::open(path)?;
    let size_bytes = file.metadata()?.len();
    if size_bytes == 0 {
        return Ok(None);
    }
    let mut ends = size_bytes.to_be_bytes().to_vec();
    (&mut file).take(END_BYTES).read_to_end(&mut ends)?;
    if size_bytes > END_BYTES {
        let rest = (size_bytes - END_BYTES).min(END_BYTES);
        file.seek(SeekFrom::Start(size_bytes - rest))?;
        file.take(rest).read_to_end(&mut ends)?;
    }
    Ok(Some(sha256(&ends)))
}

/// Bytes as hexadecimal digits.
pub(crate) fn digits(hash: &[u8]) -> String {
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_standards_example() {
        // FIPS 180-4 example, message "abc".
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256(b"abc"), expected);
        let mut copied = Vec::new();
        assert_eq!(pass_on(&mut &b"abc"[..], &mut copied).unwrap(), expected);
        assert_eq!(copied, b"abc");
    }

    #[test]
    fn a_change_at_either_end_or_of_the_size_is_another_content() {
        let folder = tempfile::tempdir().unwrap();
        let id = |bytes: &[u8]| {
            let path = folder.path().join("a");
            std::fs::write(&path, bytes).unwrap();
            content_id(&path).unwrap()
        };
        for len in [1_usize, 1000, 65_536, 65_537, 300_000] {
            let plain = vec![7; len];
            let of_plain = id(&plain);
            assert_eq!(id(&plain), of_plain);
            for at in [0, len - 1] {
                let mut other = plain.clone();
                other[at] = 8;
                assert_ne!(id(&other), of_plain, "{len} {at}");
            }
            assert_ne!(id(&vec![7; len + 1]), of_plain);
        }
        assert_eq!(id(b""), None);
    }
}
