//! Turning stored pixels upright.

use crate::domain::Orientation;

/// Edge of the square tiles in which sides are swapped, in pixels, so that both pictures stay in the cache.
const TILE_PX: usize = 32;

/// The values of a `width` by `height` picture turned upright, with the new width and height.
///
/// `values` is row-major, `N` values a pixel, and must hold exactly `width * height * N` of them. Orientation values as
/// in EXIF 2.32, tag 0x0112: the stored row 0 and column 0 become the named sides of the upright picture.
pub(super) fn upright<T: Copy + Default, const N: usize>(
    mut values: Vec<T>,
    width: usize,
    height: usize,
    orientation: Orientation,
) -> (Vec<T>, usize, usize) {
    let turn = orientation.exif();
    if turn >= 5 {
        let (from_right, from_below) = (matches!(turn, 7 | 8), matches!(turn, 6 | 7));
        let swapped = sides_swapped::<T, N>(&values, (width, height), from_right, from_below);
        return (swapped, height, width);
    }
    let pixels = values.as_chunks_mut::<N>().0;
    match turn {
        2 => rows_reversed(pixels, width),
        3 => pixels.reverse(),
        4 => columns_reversed(pixels, width),
        _ => {}
    }
    (values, width, height)
}

/// Mirrors left and right.
fn rows_reversed<P>(pixels: &mut [P], width: usize) {
    for row in pixels.chunks_exact_mut(width.max(1)) {
        row.reverse();
    }
}

/// Mirrors top and bottom.
fn columns_reversed<P>(pixels: &mut [P], width: usize) {
    pixels.reverse();
    rows_reversed(pixels, width);
}

/// Columns become rows, taken from the left or from the right, each from above or from below.
fn sides_swapped<T: Copy + Default, const N: usize>(
    values: &[T],
    (width, height): (usize, usize),
    from_right: bool,
    from_below: bool,
) -> Vec<T> {
    let mut swapped = vec![T::default(); values.len()];
    let (from, to) = (values.as_chunks::<N>().0, swapped.as_chunks_mut::<N>().0);
    for x0 in (0..width).step_by(TILE_PX) {
        for y0 in (0..height).step_by(TILE_PX) {
            let rows = TILE_PX.min(height - y0);
            for x in x0..(x0 + TILE_PX).min(width) {
                let row = if from_right { width - 1 - x } else { x };
                let column = if from_below { height - y0 - rows } else { y0 };
                let piece = &mut to[row * height + column..][..rows];
                let stored = from[y0 * width + x..].iter().step_by(width);
                if from_below {
                    piece
                        .iter_mut()
                        .rev()
                        .zip(stored)
                        .for_each(|(to, from)| *to = *from);
                } else {
                    piece
                        .iter_mut()
                        .zip(stored)
                        .for_each(|(to, from)| *to = *from);
                }
            }
        }
    }
    swapped
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The picture `1 2 3 / 4 5 6` stored under each orientation value comes out as the standard's figure shows.
    #[test]
    fn each_orientation_comes_upright() {
        let stored: Vec<u8> = (1..=6).collect();
        let expected: [(&[u8], usize, usize); 8] = [
            (&[1, 2, 3, 4, 5, 6], 3, 2),
            (&[3, 2, 1, 6, 5, 4], 3, 2),
            (&[6, 5, 4, 3, 2, 1], 3, 2),
            (&[4, 5, 6, 1, 2, 3], 3, 2),
            (&[1, 4, 2, 5, 3, 6], 2, 3),
            (&[4, 1, 5, 2, 6, 3], 2, 3),
            (&[6, 3, 5, 2, 4, 1], 2, 3),
            (&[3, 6, 2, 5, 1, 4], 2, 3),
        ];
        for (value, (pixels, width, height)) in (1..).zip(expected) {
            let orientation = Orientation::from_exif(value).unwrap();
            let (turned, w, h) = upright::<_, 1>(stored.clone(), 3, 2, orientation);
            assert_eq!(turned, pixels, "orientation {value}");
            assert_eq!((w, h), (width, height), "orientation {value}");
        }
    }

    #[test]
    fn the_tiles_agree_with_an_outside_implementation() {
        let (width, height) = (71_u32, 45_u32);
        let picture = image::RgbImage::from_fn(width, height, |x, y| {
            image::Rgb([x as u8, y as u8, (x * y) as u8])
        });
        let stored = picture.as_raw().clone();
        for value in 1..=8_u8 {
            let mut theirs = image::DynamicImage::ImageRgb8(picture.clone());
            theirs.apply_orientation(image::metadata::Orientation::from_exif(value).unwrap());
            let orientation = Orientation::from_exif(u32::from(value)).unwrap();
            let (ours, w, h) =
                upright::<_, 3>(stored.clone(), width as usize, height as usize, orientation);
            assert_eq!((w, h), (theirs.width() as usize, theirs.height() as usize));
            assert_eq!(ours, theirs.into_rgb8().into_raw(), "orientation {value}");
        }
    }
}
