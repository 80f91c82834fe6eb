//! Colours of other spaces than sRGB brought to it, so that one curve leads from stored values to light.

use moxcms::{ColorProfile, Layout, TransformExecutor, TransformOptions};

use super::Samples;

/// Profiles that move no colour of a coarse grid by more than this (of 65,535) count as sRGB: one step of 8 bits and a
/// half, less than the differences between the sRGB profiles of different makers.
const SAME_WITHIN: u16 = 400;

/// Values of the grid's nodes on each axis, of 65,535. The darkest colours are left out: makers differ in black there.
const GRID: [u16; 4] = [8192, 24_576, 45_056, 65_535];

/// Pixels converted at a time.
const CHUNK_PX: usize = 1 << 14;

/// Values on the sRGB curve with three channels of 16 bits, when the embedded profile is one of another space; `None` when
/// it is sRGB, cannot be used, or does not fit the `channels` (1 or 3) of the picture.
///
/// Colours outside sRGB are held at its edge. Profiles: ICC.1:2022.
pub(super) fn to_srgb(icc: &[u8], channels: usize, samples: &Samples) -> Option<Vec<u16>> {
    let transform = transform(icc, channels)?;
    if is_srgb(&*transform, channels)? {
        return None;
    }
    let values = match samples {
        Samples::U8(v) => v.len(),
        Samples::U16(v) => v.len(),
    };
    let mut out = vec![0; values / channels * 3];
    for (n, to) in out.chunks_mut(CHUNK_PX * 3).enumerate() {
        let start = n * CHUNK_PX * channels;
        let range = start..start + to.len() / 3 * channels;
        let outcome = match samples {
            Samples::U8(v) => {
                let widened: Vec<u16> = v[range].iter().map(|v| u16::from(*v) * 257).collect();
                transform.transform(&widened, to)
            }
            Samples::U16(v) => transform.transform(&v[range], to),
        };
        outcome.ok()?;
    }
    Some(out)
}

type Transform = std::sync::Arc<dyn TransformExecutor<u16> + Send + Sync>;

fn transform(icc: &[u8], channels: usize) -> Option<Transform> {
    let profile = ColorProfile::new_from_slice(icc).ok()?;
    let layout = if channels == 1 {
        Layout::Gray
    } else {
        Layout::Rgb
    };
    let options = TransformOptions {
        prefer_fixed_point: false,
        ..TransformOptions::default()
    };
    let srgb = ColorProfile::new_srgb();
    profile
        .create_transform_16bit(layout, &srgb, Layout::Rgb, options)
        .ok()
}

/// Whether the grid stays where it is.
fn is_srgb(
    transform: &(dyn TransformExecutor<u16> + Send + Sync),
    channels: usize,
) -> Option<bool> {
    let rgb = GRID.iter().flat_map(|r| {
        GRID.iter()
            .flat_map(move |g| GRID.iter().map(move |b| [*r, *g, *b]))
    });
    let colours: Vec<[u16; 3]> = match channels {
        1 => GRID.iter().map(|v| [*v; 3]).collect(),
        _ => rgb.collect(),
    };
    let from: Vec<u16> = match channels {
        1 => GRID.to_vec(),
        _ => colours.concat(),
    };
    let mut to = vec![0; colours.len() * 3];
    transform.transform(&from, &mut to).ok()?;
    let stays = |(a, b): (&u16, &u16)| a.abs_diff(*b) <= SAME_WITHIN;
    Some(colours.as_flattened().iter().zip(&to).all(stays))
}
