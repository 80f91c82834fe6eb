//! Blurs.

/// Three box blurs, close to a Gaussian (central limit; Wells 1986, "Efficient synthesis of Gaussian filters by
/// cascaded uniform filters", IEEE PAMI 8, 234). Values beyond the edge count as 0.
pub(crate) fn blur(picture: &[f32], width: usize, sigma: f64) -> Vec<f32> {
    // A box of 2r+1 has the variance r(r+1)/3; three of them make sigma².
    let radius = ((-1.0 + (1.0 + 4.0 * sigma * sigma).sqrt()) / 2.0)
        .round()
        .max(1.0) as usize;
    let mut out = picture.to_vec();
    for _ in 0..3 {
        out = box_columns(&box_rows(&out, width, radius), width, radius);
    }
    out
}

fn box_rows(picture: &[f32], width: usize, radius: usize) -> Vec<f32> {
    let mut out = vec![0.0; picture.len()];
    let scale = 1.0 / (2 * radius + 1) as f32;
    for (row, to) in picture.chunks_exact(width).zip(out.chunks_exact_mut(width)) {
        let mut sum: f64 = row.iter().take(radius).map(|v| f64::from(*v)).sum();
        for x in 0..width {
            if let Some(v) = row.get(x + radius) {
                sum += f64::from(*v);
            }
            to[x] = sum as f32 * scale;
            if x >= radius {
                sum -= f64::from(row[x - radius]);
            }
        }
    }
    out
}

fn box_columns(picture: &[f32], width: usize, radius: usize) -> Vec<f32> {
    let mut out = vec![0.0; picture.len()];
    let scale = 1.0 / (2 * radius + 1) as f32;
    let rows = picture.len() / width.max(1);
    let mut sum = vec![0.0_f64; width];
    let change = |sum: &mut [f64], y: usize, sign: f64| {
        for (s, v) in sum.iter_mut().zip(&picture[y * width..(y + 1) * width]) {
            *s += sign * f64::from(*v);
        }
    };
    for y in 0..radius.min(rows) {
        change(&mut sum, y, 1.0);
    }
    for y in 0..rows {
        if y + radius < rows {
            change(&mut sum, y + radius, 1.0);
        }
        for (to, s) in out[y * width..(y + 1) * width].iter_mut().zip(&sum) {
            *to = *s as f32 * scale;
        }
        if y >= radius {
            change(&mut sum, y - radius, -1.0);
        }
    }
    out
}
