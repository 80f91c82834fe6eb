//! From sensor values to a picture.

use std::sync::LazyLock;

use rawler::cfa::PlaneColor;
use rawler::imgop::sensor::Demosaic;
use rawler::imgop::sensor::bayer::ppg::PPGDemosaic;
use rawler::imgop::sensor::xtrans::bilinear::XTransBilinearDemosaic;
use rawler::pixarray::PixF32;
use rayon::prelude::*;

use super::colour::{Colours, WhiteBalance};
use super::sensor::{Array, Sensor};
use crate::raster::{Samples, linear_to_srgb};

/// Rows developed at a time: few enough to stay in the caches, and the only place where values take four bytes.
const STRIP_ROWS: usize = 64;

/// Pixels around a strip that demosaicing looks at: three for green, three more where colours follow green. Even, so
/// that patterns stay as they are, and more than enough for the array of six.
const MARGIN_PX: usize = 12;

/// Steps of the table of the sRGB curve.
const STEPS: usize = 1 << 16;

/// The curve at even steps of light, times 65,535.
static CURVE: LazyLock<Vec<f32>> = LazyLock::new(|| {
    (0..=STEPS)
        .map(|i| linear_to_srgb(i as f32 / STEPS as f32) * 65_535.0)
        .collect()
});

/// Stored value of light, 0 to 1: the sRGB curve in 16 bits, which keeps dark steps of 14-bit sensors apart where plain
/// proportion would not after white balance.
fn coded(light: f32) -> u16 {
    let at = light.clamp(0.0, 1.0) * STEPS as f32;
    let step = (at as usize).min(STEPS - 1);
    let part = at - step as f32;
    (CURVE[step] + part * (CURVE[step + 1] - CURVE[step])).round() as u16
}

/// A developed picture as stored: not turned yet, sRGB-coded.
pub(in crate::raster) struct Stored {
    pub(in crate::raster) width: usize,
    pub(in crate::raster) height: usize,
    pub(in crate::raster) channels: usize,
    pub(in crate::raster) samples: Samples,
}

/// Develops the recommended area: demosaiced, white-balanced, in sRGB.
///
/// Bayer arrays by pattern pixel grouping (C. K. Lin 2003, "Pixel grouping for color filter array demosaicing"),
/// X-Trans arrays by the mean of each colour nearby, both as rawler has them.
pub(super) fn develop(sensor: &Sensor, balance: Option<WhiteBalance>) -> Stored {
    let colours = Colours::new(&sensor.image, balance);
    let (width, height) = (sensor.area.d.w, sensor.area.d.h);
    let channels = match sensor.array {
        Array::Grey => 1,
        _ => 3,
    };
    let mut values = vec![0_u16; width * height * channels];
    values
        .par_chunks_mut(width * channels * STRIP_ROWS)
        .enumerate()
        .for_each(|(strip, out)| match &sensor.array {
            Array::Grey => plain(sensor, strip, out, |row, out| {
                for (out, value) in out.iter_mut().zip(row) {
                    *out = coded(*value);
                }
            }),
            Array::Full => plain(sensor, strip, out, |row, out| {
                let pixels = row.as_chunks::<3>().0.iter();
                put(pixels, out, &colours);
            }),
            Array::Bayer(_) | Array::Xtrans(_) => mosaic(sensor, strip, out, &colours),
        });
    Stored {
        width,
        height,
        channels,
        samples: Samples::U16(values),
    }
}

/// A strip that needs no demosaicing, row by row.
fn plain(sensor: &Sensor, strip: usize, out: &mut [u16], each: impl Fn(&[f32], &mut [u16])) {
    let stride = sensor.area.d.w * sensor.channels();
    let mut row = vec![0.0; stride];
    for (y, out) in out.chunks_exact_mut(stride).enumerate() {
        let y = sensor.area.p.y + strip * STRIP_ROWS + y;
        sensor.row(sensor.area.p.x, y, true, &mut row);
        each(&row, out);
    }
}

/// A strip behind a colour filter array.
fn mosaic(sensor: &Sensor, strip: usize, out: &mut [u16], colours: &Colours) {
    let (area, lit) = (sensor.area, sensor.lit);
    let rows = out.len() / (area.d.w * 3);
    let top = area.p.y + strip * STRIP_ROWS;
    let (y0, y1) = (
        top.saturating_sub(MARGIN_PX).max(lit.p.y),
        (top + rows + MARGIN_PX).min(lit.p.y + lit.d.h),
    );
    let (x0, x1) = (
        area.p.x.saturating_sub(MARGIN_PX).max(lit.p.x),
        (area.p.x + area.d.w + MARGIN_PX).min(lit.p.x + lit.d.w),
    );
    let (width, height) = (x1 - x0, y1 - y0);
    let mut values = vec![0.0; width * height];
    for (y, row) in values.chunks_exact_mut(width).enumerate() {
        sensor.row(x0, y0 + y, true, row);
        // A value past saturation is no brighter than saturation: no edges for the grouping to follow.
        row.iter_mut().for_each(|v| *v = v.min(1.0));
    }
    let values = PixF32::new_with(values, width, height);
    let (full, planes) = (values.rect(), PlaneColor::new("RGB"));
    let pixels = match &sensor.array {
        Array::Xtrans(cfa) => {
            XTransBilinearDemosaic::new().demosaic(&values, &cfa.shift(x0, y0), &planes, full)
        }
        Array::Bayer(cfa) => {
            PPGDemosaic::new().demosaic(&values, &cfa.shift(x0, y0), &planes, full)
        }
        Array::Full | Array::Grey => return,
    };
    let rows = pixels.pixels().chunks_exact(width).skip(top - y0);
    for (row, out) in rows.zip(out.chunks_exact_mut(area.d.w * 3)) {
        put(row[area.p.x - x0..].iter(), out, colours);
    }
}

/// Camera values as stored sRGB, for as many pixels as `out` has room for.
fn put<'a>(pixels: impl Iterator<Item = &'a [f32; 3]>, out: &mut [u16], colours: &Colours) {
    for (out, camera) in out.as_chunks_mut::<3>().0.iter_mut().zip(pixels) {
        *out = colours.light(*camera).map(coded);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_follows_the_curve() {
        for i in 0..=100_000 {
            let light = i as f32 / 100_000.0;
            let exact = (linear_to_srgb(light) * 65_535.0).round();
            let apart = f32::from(coded(light)) - exact;
            assert!(apart.abs() <= 1.0, "{light}: {apart}");
        }
        assert_eq!((coded(0.0), coded(1.0)), (0, u16::MAX));
    }
}
