//! The finished sheet, put together row by row so that it need never be whole in memory.

use super::caption::Words;
use crate::raster::{LinearRgb, Picture, Rows, linear_to_srgb, srgb_to_linear};

/// Light of the captions' letters: a grey that does not compete with the discs.
const INK_LIGHT: f32 = 0.45;

/// The same over a wide view, whose sky may be half as bright.
const INK_OVER_LAND: f32 = 0.85;

/// One disc of a sheet.
#[derive(Clone, Debug)]
pub(super) struct Layer {
    /// Name of its frame, or of what it shows.
    pub(super) name: String,
    /// Canvas pixel of its top-left pixel.
    pub(super) corner: (i64, i64),
    /// Its light.
    pub(super) light: LinearRgb,
}

/// A canvas with discs and captions on it; gives its rows to the picture writers.
///
/// Where discs overlap the brighter light shows, as in a multiple exposure of things that do not cover each other.
#[derive(Clone, Debug)]
pub struct Sheet {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) background: [f32; 3],
    pub(super) backdrop: Option<LinearRgb>,
    pub(super) layers: Vec<Layer>,
    pub(super) words: Vec<Words>,
}

/// One disc of a sheet alone, on the same canvas.
struct Single<'a> {
    sheet: &'a Sheet,
    layer: &'a Layer,
}

impl Sheet {
    /// The whole sheet in memory.
    pub fn picture(&self) -> Picture {
        Picture::from_rows(self)
    }

    /// Each disc by itself on black, on the same canvas, with its name: layers for an editor, to be joined by
    /// "lighten".
    pub fn layers(&self) -> impl Iterator<Item = (&str, impl Rows + '_)> {
        self.layers
            .iter()
            .map(|layer| (layer.name.as_str(), Single { sheet: self, layer }))
    }

    fn light_row(&self, y: usize, layers: &[&Layer], row: &mut [f32]) {
        row.fill(0.0);
        for layer in layers {
            lighten(layer, y, row);
        }
    }
}

/// The brighter of a layer and what is there, along one row.
fn lighten(layer: &Layer, y: usize, row: &mut [f32]) {
    let inside = y as i64 - layer.corner.1;
    if !(0..layer.light.height() as i64).contains(&inside) {
        return;
    }
    let source = layer.light.row(inside as usize);
    let (from, to) = overlap(layer.corner.0, layer.light.width(), row.len() / 3);
    if from < to {
        let start = (from as i64 - layer.corner.0) as usize * 3;
        let there = &mut row[from * 3..to * 3];
        for (place, light) in there.iter_mut().zip(&source[start..]) {
            *place = place.max(*light);
        }
    }
}

/// Canvas columns that a picture `width` pixels wide at `left` covers.
fn overlap(left: i64, width: usize, canvas: usize) -> (usize, usize) {
    let from = left.clamp(0, canvas as i64);
    let to = (left + width as i64).clamp(0, canvas as i64);
    (from as usize, to as usize)
}

/// Inks the words of a row.
fn write_words(words: &Words, ink_light: f32, y: usize, row: &mut [f32]) {
    let inside = y as i64 - words.corner.1;
    let height = words.ink.len() / words.width.max(1);
    if !(0..height as i64).contains(&inside) {
        return;
    }
    let (from, to) = overlap(words.corner.0, words.width, row.len() / 3);
    for x in from..to {
        let column = (x as i64 - words.corner.0) as usize;
        let ink = f32::from(words.ink[inside as usize * words.width + column]) / 255.0;
        for place in &mut row[x * 3..x * 3 + 3] {
            *place += (ink_light - *place) * ink;
        }
    }
}

/// Codes light, most of which is black.
fn code(row: &[f32], out: &mut [u16]) {
    for (value, light) in out.iter_mut().zip(row) {
        *value = if *light > 0.0 {
            (linear_to_srgb(*light) * 65_535.0 + 0.5) as u16
        } else {
            0
        };
    }
}

impl Rows for Sheet {
    fn width(&self) -> usize {
        self.width
    }

    fn height(&self) -> usize {
        self.height
    }

    fn fill(&self, y: usize, out: &mut [u16]) {
        let layers: Vec<&Layer> = self.layers.iter().collect();
        let ink_light = match self.backdrop {
            Some(_) => INK_OVER_LAND,
            None => INK_LIGHT,
        };
        let mut row = vec![0.0; self.width * 3];
        for (n, coded) in out.chunks_exact_mut(self.width * 3).enumerate() {
            let y = y + n;
            self.light_row(y, &layers, &mut row);
            for (i, place) in row.iter_mut().enumerate() {
                *place += self.background[i % 3];
            }
            if let Some(backdrop) = self.backdrop.as_ref().filter(|b| y < b.height()) {
                for (place, light) in row.iter_mut().zip(backdrop.row(y)) {
                    *place += light;
                }
            }
            for words in &self.words {
                write_words(words, ink_light, y, &mut row);
            }
            code(&row, coded);
        }
    }
}

impl Rows for Single<'_> {
    fn width(&self) -> usize {
        self.sheet.width
    }

    fn height(&self) -> usize {
        self.sheet.height
    }

    fn fill(&self, y: usize, out: &mut [u16]) {
        let mut row = vec![0.0; self.sheet.width * 3];
        for (n, coded) in out.chunks_exact_mut(self.sheet.width * 3).enumerate() {
            self.sheet.light_row(y + n, &[self.layer], &mut row);
            code(&row, coded);
        }
    }
}

/// Light of an sRGB colour.
pub(super) fn light_of(colour: [u8; 3]) -> [f32; 3] {
    colour.map(|v| srgb_to_linear(f32::from(v) / 255.0))
}
