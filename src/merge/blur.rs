//! Blurs.

use rayon::prelude::*;

/// Rows of a band that one thread works on: the first sum of each is taken anew, so that the result is the same however
/// many there are.
const BAND_ROWS: usize = 256;

/// Three box blurs, close to a Gaussian (central limit; Wells 1986, "Efficient synthesis of Gaussian filters by
/// cascaded uniform filters", IEEE PAMI 8, 234). Values beyond the edge count as 0.
pub(crate) fn blur(picture: &[f32], width: usize, sigma: f64) -> Vec<f32> {
    // A box of 2r+1 has the variance r(r+1)/3; three of them make sigma².
    let radius = ((-1.0 + (1.0 + 4.0 * sigma * sigma).sqrt()) / 2.0)
        .round()
        .max(1.0) as usize;
    let mut out = box_rows_thrice(picture, width, radius);
    let mut spare = vec![0.0; picture.len()];
    for _ in 0..3 {
        box_columns(&out, &mut spare, width, radius);
        std::mem::swap(&mut out, &mut spare);
    }
    out
}

/// All three blurs along the rows: each row stays in the cache for them.
fn box_rows_thrice(picture: &[f32], width: usize, radius: usize) -> Vec<f32> {
    let mut out = vec![0.0; picture.len()];
    out.par_chunks_mut(width.max(1))
        .zip(picture.par_chunks(width.max(1)))
        .for_each_init(
            || vec![0.0; width],
            |between, (to, row)| {
                box_row(row, to, radius);
                box_row(to, between, radius);
                box_row(between, to, radius);
            },
        );
    out
}

fn box_row(row: &[f32], to: &mut [f32], radius: usize) {
    let scale = 1.0 / (2 * radius + 1) as f32;
    let mut sum: f64 = row.iter().take(radius).map(|v| f64::from(*v)).sum();
    for x in 0..row.len() {
        if let Some(v) = row.get(x + radius) {
            sum += f64::from(*v);
        }
        to[x] = sum as f32 * scale;
        if x >= radius {
            sum -= f64::from(row[x - radius]);
        }
    }
}

fn box_columns(picture: &[f32], out: &mut [f32], width: usize, radius: usize) {
    let rows = picture.len() / width.max(1);
    out.par_chunks_mut((BAND_ROWS * width).max(1))
        .enumerate()
        .for_each_init(
            || vec![0.0_f64; width],
            |sum, (band, out)| {
                let top = band * BAND_ROWS;
                let row = |y: usize| &picture[y * width..(y + 1) * width];
                sum.fill(0.0);
                for y in top.saturating_sub(radius)..(top + radius).min(rows) {
                    change(sum, row(y), 1.0);
                }
                let scale = 1.0 / (2 * radius + 1) as f32;
                for (y, out) in (top..).zip(out.chunks_exact_mut(width)) {
                    if y + radius < rows {
                        change(sum, row(y + radius), 1.0);
                    }
                    for (to, s) in out.iter_mut().zip(sum.iter()) {
                        *to = *s as f32 * scale;
                    }
                    if y >= radius {
                        change(sum, row(y - radius), -1.0);
                    }
                }
            },
        );
}

/// Adds a row to the sums of the columns, or takes it off.
fn change(sum: &mut [f64], row: &[f32], sign: f64) {
    for (sum, v) in sum.iter_mut().zip(row) {
        *sum += sign * f64::from(*v);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One box after the other, value by value.
    fn plainly(picture: &[f32], width: usize, radius: i64) -> Vec<f32> {
        let height = (picture.len() / width) as i64;
        let boxed = |from: &[f64], step: [i64; 2]| -> Vec<f64> {
            let at = |x: i64, y: i64| {
                let inside = (0..width as i64).contains(&x) && (0..height).contains(&y);
                if inside {
                    from[y as usize * width + x as usize]
                } else {
                    0.0
                }
            };
            (0..from.len() as i64)
                .map(|i| {
                    let (x, y) = (i % width as i64, i / width as i64);
                    let along = -radius..=radius;
                    let sum: f64 = along.map(|k| at(x + k * step[0], y + k * step[1])).sum();
                    sum / (2 * radius + 1) as f64
                })
                .collect()
        };
        let mut now: Vec<f64> = picture.iter().map(|v| f64::from(*v)).collect();
        for step in [[1, 0], [0, 1], [1, 0], [0, 1], [1, 0], [0, 1]] {
            now = boxed(&now, step);
        }
        now.into_iter().map(|v| v as f32).collect()
    }

    #[test]
    fn bands_and_buffers_change_nothing() {
        let (width, height) = (23, 2 * BAND_ROWS + 41);
        let value = |i: usize| ((i * 7919) % 1009) as f32 / 1009.0;
        let picture: Vec<f32> = (0..width * height).map(value).collect();
        // A sigma of a box of three, and one wider than the picture.
        for (sigma, radius) in [(0.8, 1), (30.0, 30)] {
            let got = blur(&picture, width, sigma);
            for (a, b) in got.iter().zip(plainly(&picture, width, radius)) {
                assert!((a - b).abs() < 1e-5, "{a} for {b}");
            }
        }
    }
}
