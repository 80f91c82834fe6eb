//! How the Moon is turned.

use crate::domain::Tt;

/// Amplitude in degrees of pole right ascension (sine), pole declination (cosine) and prime meridian (sine), and the argument's
/// value at J2000 and daily rate in degrees, for E1 to E13.
///
/// Source: B. A. Archinal et al. 2011, "Report of the IAU Working Group on Cartographic Coordinates and Rotational Elements:
/// 2009", Celest. Mech. Dyn. Astron. 109, 101, Table 2 (mean Earth / polar axis).
#[rustfmt::skip]
const TERMS: [[f64; 5]; 13] = [
    [-3.8787,  1.5419,  3.5610, 125.045, -0.052_992_1],
    [-0.1204,  0.0239,  0.1208, 250.089, -0.105_984_2],
    [ 0.0700, -0.0278, -0.0642, 260.008, 13.012_000_9],
    [-0.0172,  0.0068,  0.0158, 176.625, 13.340_715_4],
    [ 0.0,     0.0,     0.0252, 357.529,  0.985_600_3],
    [ 0.0072, -0.0029, -0.0066, 311.589, 26.405_708_4],
    [ 0.0,     0.0009, -0.0047, 134.963, 13.064_993_0],
    [ 0.0,     0.0,    -0.0046, 276.617,  0.328_714_6],
    [ 0.0,     0.0,     0.0028,  34.226,  1.748_487_7],
    [-0.0052,  0.0008,  0.0052,  15.134, -0.158_976_3],
    [ 0.0,     0.0,     0.0040, 119.743,  0.003_609_6],
    [ 0.0,     0.0,     0.0019, 239.961,  0.164_357_3],
    [ 0.0043, -0.0009, -0.0044,  25.053, 12.959_008_8],
];

/// The Moon's own axes as unit vectors of the ICRS: towards 0 E on the equator (about towards the Earth), towards 90 E, and the
/// north pole; `tt` is the instant the light leaves the Moon.
pub(super) fn axes(tt: Tt) -> [[f64; 3]; 3] {
    let days = tt.j2000_s / 86_400.0;
    let centuries = days / 36_525.0;
    let (mut ra, mut dec) = (269.9949 + 0.0031 * centuries, 66.5392 + 0.0130 * centuries);
    let mut meridian = 38.3213 + 13.176_358_15 * days - 1.4e-12 * days * days;
    for [in_ra, in_dec, in_meridian, at_epoch, rate] in TERMS {
        let (sin, cos) = (at_epoch + rate * days).to_radians().sin_cos();
        ra += in_ra * sin;
        dec += in_dec * cos;
        meridian += in_meridian * sin;
    }
    let (sin_ra, cos_ra) = ra.to_radians().sin_cos();
    let (sin_dec, cos_dec) = dec.to_radians().sin_cos();
    let pole = [cos_dec * cos_ra, cos_dec * sin_ra, sin_dec];
    // The meridian is counted along the equator from its ascending node on that of the ICRS.
    let node = [-sin_ra, cos_ra, 0.0];
    let across = cross(pole, node);
    let (sin_w, cos_w) = meridian.to_radians().sin_cos();
    let first = std::array::from_fn(|n| node[n] * cos_w + across[n] * sin_w);
    [first, cross(pole, first), pole]
}

pub(super) fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

pub(super) fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
