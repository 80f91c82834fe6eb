//! From a camera's colours to sRGB.

use nalgebra::Matrix3;
use rawler::RawImage;
use rawler::imgop::xyz::Illuminant;

/// Linear sRGB to XYZ under D65 (IEC 61966-2-1, annex; values of amendment 1).
const SRGB_TO_XYZ: [[f64; 3]; 3] = [
    [0.4124, 0.3576, 0.1805],
    [0.2126, 0.7152, 0.0722],
    [0.0193, 0.1192, 0.9505],
];

/// Largest ratio of two factors of a white balance that is believed; candle light needs about 5 (from memory).
const MOST_UNEVEN: f32 = 30.0;

/// Illuminants of colour matrices in the order they are taken; the Sun is nearest the first ones.
const ILLUMINANTS: [Illuminant; 8] = [
    Illuminant::D65,
    Illuminant::Daylight,
    Illuminant::D55,
    Illuminant::D50,
    Illuminant::D75,
    Illuminant::Flash,
    Illuminant::B,
    Illuminant::A,
];

/// Factors for red, green and blue sensor values that make a neutral thing neutral; the least of them is 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WhiteBalance(pub(in crate::raster) [f32; 3]);

/// How camera values become linear sRGB.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Colours {
    /// Factors that make neutral things neutral.
    pub(super) balance: [f32; 3],
    /// From balanced camera values to linear sRGB; each row sums to 1, so white stays white.
    pub(super) matrix: [[f32; 3]; 3],
}

impl Colours {
    /// With the balance given, else the one of the shot, else the one that makes daylight neutral.
    ///
    /// The matrix is the inverse of the one from sRGB by way of XYZ, its rows brought to the sum 1 (Adobe DNG 1.7,
    /// chapter 6, with the diagonal balance done first; common practice in readers of raw files). Without a usable
    /// colour matrix camera colours are taken for sRGB's.
    pub(super) fn new(image: &RawImage, balance: Option<WhiteBalance>) -> Self {
        let from_srgb = from_xyz(image).map(|m| m * Matrix3::from_fn(|i, j| SRGB_TO_XYZ[i][j]));
        let daylight = from_srgb.and_then(|m| {
            let sums = m.column_sum();
            as_shot(&[0, 1, 2].map(|i| (1.0 / sums[i]) as f32))
        });
        let matrix = from_srgb.and_then(to_srgb).unwrap_or(Matrix3::identity());
        let balance = balance
            .or_else(|| as_shot(&image.wb_coeffs))
            .or(daylight)
            .unwrap_or(WhiteBalance([1.0; 3]));
        Self {
            balance: balance.0,
            matrix: std::array::from_fn(|i| std::array::from_fn(|j| matrix[(i, j)] as f32)),
        }
    }

    /// Linear sRGB, 0 to 1, of camera values with 1 at saturation.
    ///
    /// Balanced values beyond 1 are held there, as the channel with the least factor is by the sensor; a channel held
    /// there is at 1 in the result, whatever the others say.
    pub(super) fn light(&self, camera: [f32; 3]) -> [f32; 3] {
        let held: [f32; 3] = std::array::from_fn(|c| (camera[c] * self.balance[c]).clamp(0.0, 1.0));
        std::array::from_fn(|c| {
            let [r, g, b] = self.matrix[c];
            match held[c] >= 1.0 {
                true => 1.0,
                false => (r * held[0] + g * held[1] + b * held[2]).clamp(0.0, 1.0),
            }
        })
    }
}

/// The matrix from XYZ to camera values, where the file or the library has one of three rows.
fn from_xyz(image: &RawImage) -> Option<Matrix3<f64>> {
    let (_, flat) = image.color_matrix_find_first(ILLUMINANTS)?;
    (flat.len() == 9 && flat.iter().all(|v| v.is_finite()))
        .then(|| Matrix3::from_row_iterator(flat.iter().map(|v| f64::from(*v))))
}

/// The inverse of a matrix from sRGB to camera values, its rows brought to the sum 1 first.
fn to_srgb(mut from_srgb: Matrix3<f64>) -> Option<Matrix3<f64>> {
    for mut row in from_srgb.row_iter_mut() {
        let sum = row.sum();
        if sum <= 1e-6 {
            return None;
        }
        row /= sum;
    }
    let inverse = from_srgb.try_inverse()?;
    inverse.iter().all(|v| v.abs() < 20.0).then_some(inverse)
}

/// A white balance from factors as a file has them, in any common unit; `None` where they cannot be.
pub(super) fn as_shot(factors: &[f32]) -> Option<WhiteBalance> {
    let factors: [f32; 3] = *factors.first_chunk()?;
    let sound = factors.iter().all(|f| f.is_finite() && *f > 0.0);
    let (least, most) = factors
        .iter()
        .fold((f32::MAX, 0.0_f32), |(l, m), f| (l.min(*f), m.max(*f)));
    (sound && most / least <= MOST_UNEVEN).then(|| WhiteBalance(factors.map(|f| f / least)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn white_stays_white_and_saturated_stays_saturated() {
        let from_srgb = Matrix3::new(0.6, 0.3, 0.1, 0.2, 0.9, 0.2, 0.05, 0.2, 0.5);
        let inverse = to_srgb(from_srgb).unwrap();
        let colours = Colours {
            balance: [2.0, 1.0, 1.5],
            matrix: std::array::from_fn(|i| std::array::from_fn(|j| inverse[(i, j)] as f32)),
        };
        for light in [0.1_f32, 0.5, 0.9] {
            let white = colours.light([light / 2.0, light, light / 1.5]);
            assert!(white.iter().all(|v| (v - light).abs() < 1e-5), "{white:?}");
        }
        assert!(colours.light([1.0; 3]).iter().all(|v| *v >= 1.0));
        assert_eq!(
            colours.light([0.6, 0.2, 0.1])[0].to_bits(),
            1.0_f32.to_bits()
        );
    }

    #[test]
    fn balances_that_cannot_be_are_none() {
        for odd in [
            [0.0, 1.0, 1.0],
            [f32::NAN, 1.0, 1.0],
            [1.0, -1.0, 1.0],
            [1.0, 1.0, f32::INFINITY],
            [1000.0, 1.0, 1.0],
        ] {
            assert_eq!(as_shot(&odd), None, "{odd:?}");
        }
        assert_eq!(
            as_shot(&[2048.0, 1024.0, 1536.0, f32::NAN]),
            Some(WhiteBalance([2.0, 1.0, 1.5]))
        );
    }
}
