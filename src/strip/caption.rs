//! Words on the sheet, in DejaVu Sans (Bitstream Vera licence, free to embed).

use ab_glyph::{Font, FontRef, PxScale, ScaleFont, point};

/// Words drawn as coverage, 0 to 255, and where they stand on the canvas.
#[derive(Clone, Debug)]
pub(super) struct Words {
    /// Canvas pixel of the top-left pixel.
    pub(super) corner: (i64, i64),
    /// Pixels across.
    pub(super) width: usize,
    /// How much of each pixel is ink, row-major.
    pub(super) ink: Vec<u8>,
}

/// Draws one line of words centred on `x_px` with its top at `y_px`, letters `height_px` high from top to bottom.
///
/// `None` when there is nothing to draw.
pub(super) fn words(text: &str, x_px: f64, y_px: f64, height_px: f64) -> Option<Words> {
    let font = FontRef::try_from_slice(dejavu::sans::regular()).ok()?;
    let scaled = font.as_scaled(PxScale::from(height_px.clamp(1.0, 2_000.0) as f32));
    let mut pen = 0.0_f32;
    let mut outlines = Vec::new();
    let mut last = None;
    for letter in text.chars() {
        let id = scaled.glyph_id(letter);
        pen += last.map_or(0.0, |before| scaled.kern(before, id));
        let glyph = id.with_scale_and_position(scaled.scale(), point(pen, scaled.ascent()));
        outlines.extend(font.outline_glyph(glyph));
        pen += scaled.h_advance(id);
        last = Some(id);
    }
    let (width, height) = (pen.ceil() as usize + 2, scaled.height().ceil() as usize + 2);
    let mut ink = vec![0_u8; width * height];
    for outline in &outlines {
        let bounds = outline.px_bounds();
        outline.draw(|x, y, cover| {
            let px = bounds.min.x as i64 + i64::from(x) + 1;
            let py = bounds.min.y as i64 + i64::from(y) + 1;
            if (0..width as i64).contains(&px) && (0..height as i64).contains(&py) {
                let place = &mut ink[py as usize * width + px as usize];
                *place = (*place).max((cover * 255.0) as u8);
            }
        });
    }
    let corner = (
        (x_px - width as f64 / 2.0).round() as i64,
        y_px.round() as i64,
    );
    (!outlines.is_empty()).then_some(Words { corner, width, ink })
}
