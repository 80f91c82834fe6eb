//! The `raster` room, through its door.

use contactstrip::card;
use contactstrip::domain::{FileFormat, Orientation};
use contactstrip::raster::{self, Samples};

use crate::support::photos;

#[test]
fn real_photographs_are_decoded_whole() {
    let Some(photos) = photos::folder() else {
        return;
    };
    let files = card::read(&[photos], &[]).unwrap().files;
    let mut decoded = 0;
    for file in files {
        if !matches!(file.format, FileFormat::Jpeg | FileFormat::Png) {
            continue;
        }
        let frame = raster::decode(&file.path, Orientation::UPRIGHT);
        let frame = frame.unwrap_or_else(|e| panic!("{}: {e}", file.name));
        // All of them are sRGB, some with a maker's profile of it: nothing to convert.
        assert!(matches!(frame.samples(), Samples::U8(_)), "{}", file.name);
        decoded += 1;
        let whole = std::fs::read(&file.path).unwrap();
        let half = raster::decode_bytes(&whole[..whole.len() / 2], Orientation::UPRIGHT);
        assert!(half.is_err(), "half of {}", file.name);
    }
    assert_eq!(decoded, 28);
}
