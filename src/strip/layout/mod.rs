//! Where each disc goes: arithmetic on plain numbers, no pixels.
//!
//! Arrangements are worked out in disc radii (x right, y down) and then fitted to the canvas.

mod arrangements;
mod grid;
mod path;
#[cfg(test)]
mod tests;
mod view;

use super::recipe::{Arrangement, Captions, Recipe};
pub(super) use path::crowded;
pub use view::{View, layout_over};

/// Where a body stood in the sky.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SkyPlace {
    /// Azimuth in degrees from north through east.
    pub az_deg: f64,
    /// Altitude in degrees.
    pub alt_deg: f64,
    /// Apparent radius of the Sun in degrees.
    pub radius_deg: f64,
}

/// What the layout must know of one piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PieceGeometry {
    /// Whether this is the picture in the middle; at most one is.
    pub middle: bool,
    /// How far its light reaches, in disc radii from the disc's centre; 1 or more.
    pub reach: f64,
    /// Where it stood in the sky, for the true path.
    pub sky: Option<SkyPlace>,
}

/// Where one piece goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Centre of its caption, where the recipe has captions.
    pub caption_px: Option<(f64, f64)>,
    /// Centre of the disc, x right.
    pub x_px: f64,
    /// Centre of the disc, y down.
    pub y_px: f64,
    /// How far its light may reach from there; less than was asked where a neighbour stands in the way.
    pub reach_px: f64,
}

/// A canvas and the places on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Pixels across, bleed included.
    pub width_px: usize,
    /// Pixels down, bleed included.
    pub height_px: usize,
    /// Radius of every disc.
    pub disc_radius_px: f64,
    /// Height of a line of captions.
    pub caption_line_px: f64,
    /// One place per piece, in the order given.
    pub places: Vec<Place>,
}

/// A layout that cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LayoutError {
    /// Nothing to place.
    #[error("no disc to place: no frame of the card has a fitted Sun; choose frames in strip.toml")]
    Empty,
    /// A piece, counted from 1, has no place in the sky.
    #[error(
        "piece {0} has no known place in the sky, which the layout \"path\" needs; take another layout"
    )]
    NoSky(usize),
    /// The path spans too much sky for a flat picture.
    #[error(
        "the path spans {0:.0} degrees of sky, more than a flat picture holds; take fewer frames or another layout"
    )]
    TooWide(f64),
    /// Discs of that size do not fit.
    #[error(
        "discs of {asked:.0} px do not fit, {most:.0} px is the largest; make disc_px \"auto\" or the canvas larger"
    )]
    DiscTooLarge {
        /// Diameter asked for.
        asked: f64,
        /// Largest diameter that fits.
        most: f64,
    },
    /// The discs would be specks.
    #[error(
        "{pieces} discs would be {diameter:.1} px wide, at least {MIN_DISC_PX} px is needed; take fewer frames or a larger canvas"
    )]
    TooSmall {
        /// How many.
        pieces: usize,
        /// Diameter that fits.
        diameter: f64,
    },
    /// A side passes what picture files hold.
    #[error(
        "a canvas of {width:.0} by {height:.0} px is too large, {MAX_SIDE_PX} px is the most for a side; lower dpi or width_px"
    )]
    TooLarge {
        /// Pixels across.
        width: f64,
        /// Pixels down.
        height: f64,
    },
}

/// Longest side of a canvas in pixels: a JPEG holds no more (ISO/IEC 10918-1).
const MAX_SIDE_PX: f64 = 65_535.0;

/// Smallest disc diameter drawn, in pixels.
const MIN_DISC_PX: f64 = 4.0;

/// Height of a line of captions in disc radii; the letters themselves are somewhat lower.
const CAPTION_LINE_RADII: f64 = 0.46;

/// Highest line of captions beside the small discs of a true path, in disc radii: pictures five minutes apart stand some
/// five radii apart.
const HIGHEST_LINE_RADII: f64 = 1.3;

/// Lines of captions that would fill the side of a square as large as the canvas, at least: large discs have captions
/// that do not compete with them.
const LINES_A_CANVAS: f64 = 40.0;

/// The same beside the small discs of a path: small beside the land, but read at arm's length.
const LINES_A_PATH: f64 = 110.0;

/// Free margin where the recipe leaves it open, as a share of the canvas on each side, and in disc radii.
const MARGIN_SHARE: f64 = 0.04;
const MARGIN_RADII: f64 = 1.0;

/// Farthest that the middle may lie off the centre, as a share of the width, to be brought there at the cost of
/// uneven margins.
const OFF_CENTRE: f64 = 0.06;

/// Free space between a disc and its caption, in disc radii.
const CAPTION_GAP_RADII: f64 = 0.22;

/// Width set aside for a caption, in heights of its line: five figures.
const CAPTION_WIDTH_LINES: f64 = 3.26;

/// A place in disc radii, and the way from the disc to its caption.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Spot {
    x: f64,
    y: f64,
    reach: f64,
    caption_way: (f64, f64),
}

impl Spot {
    /// A spot with its caption below.
    fn new(x: f64, y: f64, reach: f64) -> Self {
        Self {
            x,
            y,
            reach,
            caption_way: (0.0, 1.0),
        }
    }

    /// The box of a caption of some lines of a height, clear of what the piece takes up.
    fn caption_box(&self, half: f64, lines: usize, line_radii: f64) -> Bounds {
        let w = CAPTION_WIDTH_LINES * line_radii / 2.0;
        let h = lines as f64 * line_radii / 2.0;
        let (dx, dy) = self.caption_way;
        let away = half + CAPTION_GAP_RADII + dx.abs() * w + dy.abs() * h;
        let (x, y) = (self.x + away * dx, self.y + away * dy);
        Bounds {
            left: x - w,
            top: y - h,
            right: x + w,
            bottom: y + h,
        }
    }
}

/// A box in disc radii.
#[derive(Clone, Copy, Debug)]
struct Bounds {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
}

impl Bounds {
    fn about(spot: &Spot, half: f64) -> Self {
        Self {
            left: spot.x - half,
            top: spot.y - half,
            right: spot.x + half,
            bottom: spot.y + half,
        }
    }

    fn joined(self, other: Self) -> Self {
        Self {
            left: self.left.min(other.left),
            top: self.top.min(other.top),
            right: self.right.max(other.right),
            bottom: self.bottom.max(other.bottom),
        }
    }

    fn centre(&self) -> (f64, f64) {
        (
            (self.left + self.right) / 2.0,
            (self.top + self.bottom) / 2.0,
        )
    }

    fn width(&self) -> f64 {
        self.right - self.left
    }

    fn height(&self) -> f64 {
        self.bottom - self.top
    }
}

/// Places the pieces, in order, on the recipe's canvas.
///
/// Neighbours never come closer than their reaches and the recipe's spacing allow, so a corona is never cut; only the
/// true path, whose places are given, shortens reaches instead.
///
/// # Errors
/// [`LayoutError`] when there is nothing to place, the sky is not known, or sizes do not work out.
pub fn layout(recipe: &Recipe, pieces: &[PieceGeometry]) -> Result<Layout, LayoutError> {
    if pieces.is_empty() {
        return Err(LayoutError::Empty);
    }
    let first = laid(recipe, pieces, CAPTION_LINE_RADII)?;
    let side_px = (first.width_px as f64 * first.height_px as f64).sqrt();
    let line_radii = match recipe.arrangement {
        Arrangement::Path => (side_px / LINES_A_PATH / first.disc_radius_px)
            .clamp(CAPTION_LINE_RADII, HIGHEST_LINE_RADII),
        _ => (side_px / LINES_A_CANVAS / first.disc_radius_px).min(CAPTION_LINE_RADII),
    };
    if caption_lines(recipe.captions) == 0 || (line_radii - CAPTION_LINE_RADII).abs() < 1e-9 {
        return Ok(first);
    }
    laid(recipe, pieces, line_radii)
}

/// The layout with lines of captions of a height in disc radii.
fn laid(recipe: &Recipe, pieces: &[PieceGeometry], line_radii: f64) -> Result<Layout, LayoutError> {
    let spots = arranged(recipe, pieces, line_radii)?;
    let captions = caption_boxes(recipe, pieces, &spots, line_radii);
    let bounds = bounds(recipe, pieces, &spots, &captions);
    let canvas = Canvas::of(recipe, &bounds)?;
    canvas.check(pieces.len())?;
    Ok(canvas.placed(&spots, &captions, &bounds, line_radii))
}

fn arranged(
    recipe: &Recipe,
    pieces: &[PieceGeometry],
    line_radii: f64,
) -> Result<Vec<Spot>, LayoutError> {
    let gap = 2.0 * recipe.spacing;
    let caption = caption_radii(recipe.captions, line_radii);
    Ok(match recipe.arrangement {
        Arrangement::Row => arrangements::row(pieces, gap),
        Arrangement::Arc => arrangements::arc(pieces, gap),
        Arrangement::Ring => arrangements::ring(pieces, gap, caption),
        Arrangement::Diagonal => arrangements::diagonal(pieces, gap),
        Arrangement::Grid => {
            let frame = grid::Frame {
                gap,
                caption,
                margin: recipe.margin,
                aspect: recipe
                    .paper
                    .map_or(grid::USUAL_ASPECT, |p| p.width / p.height),
            };
            grid::grid(pieces, &frame)
        }
        Arrangement::Path => path::path(pieces)?,
    })
}

/// Free margin at the sides and above and below, in disc radii, about things of a width and height.
fn margins(margin: Option<f64>, (width, height): (f64, f64)) -> (f64, f64) {
    let open = |side: f64| (side * MARGIN_SHARE / (1.0 - 2.0 * MARGIN_SHARE)).max(MARGIN_RADII);
    match margin {
        Some(discs) => (2.0 * discs, 2.0 * discs),
        None => (open(width), open(height)),
    }
}

/// Lines of a caption.
pub(super) fn caption_lines(captions: Captions) -> usize {
    match captions {
        Captions::None => 0,
        Captions::Time | Captions::Obscuration | Captions::Contact => 1,
        Captions::Both => 2,
    }
}

/// Height a caption takes below its disc, in disc radii.
fn caption_radii(captions: Captions, line_radii: f64) -> f64 {
    match caption_lines(captions) {
        0 => 0.0,
        lines => CAPTION_GAP_RADII + lines as f64 * line_radii,
    }
}

/// Reach, in disc radii, above which a piece's light needs room of its own: coronas and diamond rings.
const GLOWING: f64 = 1.5;

/// Half the extent a piece takes up: its disc, or all its light in the middle and where it glows.
fn extent(piece: &PieceGeometry) -> f64 {
    if piece.middle || piece.reach > GLOWING {
        piece.reach.max(1.0)
    } else {
        1.0
    }
}

/// Half of what a placed piece takes up, its reach perhaps cut short.
fn half(piece: &PieceGeometry, spot: &Spot) -> f64 {
    extent(piece).min(spot.reach).max(1.0)
}

fn caption_boxes(
    recipe: &Recipe,
    pieces: &[PieceGeometry],
    spots: &[Spot],
    line_radii: f64,
) -> Vec<Option<Bounds>> {
    let lines = caption_lines(recipe.captions);
    let one = |(piece, spot): (&PieceGeometry, &Spot)| {
        (lines > 0).then(|| spot.caption_box(half(piece, spot), lines, line_radii))
    };
    pieces.iter().zip(spots).map(one).collect()
}

fn bounds(
    recipe: &Recipe,
    pieces: &[PieceGeometry],
    spots: &[Spot],
    captions: &[Option<Bounds>],
) -> Bounds {
    let discs = pieces
        .iter()
        .zip(spots)
        .map(|(piece, spot)| Bounds::about(spot, half(piece, spot)));
    let nothing = Bounds {
        left: f64::INFINITY,
        top: f64::INFINITY,
        right: f64::NEG_INFINITY,
        bottom: f64::NEG_INFINITY,
    };
    let all = discs
        .chain(captions.iter().flatten().copied())
        .fold(nothing, Bounds::joined);
    let all = centred(recipe.arrangement, pieces, spots, all);
    let (sides, ends) = margins(recipe.margin, (all.width(), all.height()));
    Bounds {
        left: all.left - sides,
        top: all.top - ends,
        right: all.right + sides,
        bottom: all.bottom + ends,
    }
}

/// The box widened so that the middle stands in its centre, where the arrangement looks best so and little is missing.
fn centred(
    arrangement: Arrangement,
    pieces: &[PieceGeometry],
    spots: &[Spot],
    all: Bounds,
) -> Bounds {
    let about_middle = matches!(
        arrangement,
        Arrangement::Arc | Arrangement::Grid | Arrangement::Ring
    );
    let middle = pieces.iter().position(|p| p.middle).map(|i| spots[i].x);
    match middle.filter(|x| about_middle && (x - all.centre().0).abs() < OFF_CENTRE * all.width()) {
        Some(x) => {
            let half = (all.right - x).max(x - all.left);
            Bounds {
                left: x - half,
                right: x + half,
                ..all
            }
        }
        None => all,
    }
}

/// The canvas in pixels and the scale of what stands on it.
struct Canvas {
    width: f64,
    height: f64,
    radius: f64,
}

impl Canvas {
    fn of(recipe: &Recipe, bounds: &Bounds) -> Result<Self, LayoutError> {
        let bleed = 2.0 * recipe.bleed_in * recipe.dpi;
        let (width, height, most) = match recipe.paper {
            Some(paper) => {
                let (w, h) = paper.inches();
                let (w, h) = ((w * recipe.dpi).round(), (h * recipe.dpi).round());
                (w, h, (w / bounds.width()).min(h / bounds.height()))
            }
            None => {
                let w = f64::from(recipe.width_px);
                let most = w / bounds.width();
                let radius = recipe.disc_px.map_or(most, |d| d / 2.0);
                (w, (radius * bounds.height()).ceil(), most)
            }
        };
        let radius = recipe.disc_px.map_or(most, |d| d / 2.0);
        if radius > most * (1.0 + 1e-9) {
            return Err(LayoutError::DiscTooLarge {
                asked: 2.0 * radius,
                most: 2.0 * most,
            });
        }
        Ok(Self {
            width: width + bleed.round(),
            height: height + bleed.round(),
            radius,
        })
    }

    fn check(&self, pieces: usize) -> Result<(), LayoutError> {
        if self.width > MAX_SIDE_PX || self.height > MAX_SIDE_PX {
            return Err(LayoutError::TooLarge {
                width: self.width,
                height: self.height,
            });
        }
        let diameter = 2.0 * self.radius;
        if diameter < MIN_DISC_PX {
            return Err(LayoutError::TooSmall { pieces, diameter });
        }
        Ok(())
    }

    /// Spots in pixels, the box of them all in the middle of the canvas.
    fn placed(
        &self,
        spots: &[Spot],
        captions: &[Option<Bounds>],
        bounds: &Bounds,
        line_radii: f64,
    ) -> Layout {
        let (x, y) = bounds.centre();
        let x0 = (self.width - 1.0) / 2.0 - x * self.radius;
        let y0 = (self.height - 1.0) / 2.0 - y * self.radius;
        let pixel = |(x, y): (f64, f64)| (x0 + x * self.radius, y0 + y * self.radius);
        let place = |(spot, caption): (&Spot, &Option<Bounds>)| {
            let (x_px, y_px) = pixel((spot.x, spot.y));
            Place {
                x_px,
                y_px,
                reach_px: spot.reach * self.radius,
                caption_px: caption.map(|c| pixel(c.centre())),
            }
        };
        Layout {
            width_px: self.width as usize,
            height_px: self.height as usize,
            disc_radius_px: self.radius,
            caption_line_px: line_radii * self.radius,
            places: spots.iter().zip(captions).map(place).collect(),
        }
    }
}
