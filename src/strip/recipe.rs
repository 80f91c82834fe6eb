//! What a strip is made of: the person's wishes, as `strip.toml` holds them.

use std::fmt;

/// How the discs are arranged.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Arrangement {
    /// Side by side in time order, totality in the middle.
    #[default]
    Row,
    /// Along an arc with totality at its top.
    Arc,
    /// In rows and columns about totality.
    Grid,
    /// Around totality, clockwise from the bottom.
    Ring,
    /// Along a slope: rising in the morning, sinking in the afternoon.
    Diagonal,
    /// Where the Sun stood, azimuth and altitude to scale.
    Path,
}

/// What is up in every disc.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Up {
    /// Celestial north.
    #[default]
    North,
    /// The zenith: as the eye saw it.
    Zenith,
    /// The top of the photograph.
    AsShot,
}

/// Which disc stands still from piece to piece.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Align {
    /// The Sun.
    #[default]
    Sun,
    /// The Moon: for beads and diamond rings, where the Sun slides behind it.
    Moon,
}

/// The colour of the filtered discs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tint {
    /// The filter's own, the same in every disc.
    #[default]
    AsShot,
    /// White.
    Neutral,
    /// A warm yellow.
    Warm,
}

/// What becomes of the oval that air makes of a low Sun, in the corona.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Flatten {
    /// As the eye saw it.
    #[default]
    Kept,
    /// Made round.
    Undone,
}

/// What is written below each disc.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Captions {
    /// Nothing.
    #[default]
    None,
    /// Local time.
    Time,
    /// Covered fraction of the Sun's area.
    Obscuration,
    /// Both.
    Both,
    /// Seconds from the nearest contact.
    Contact,
}

/// A kind of file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Output {
    /// 16-bit TIFF.
    Tiff,
    /// 8-bit PNG.
    Png,
    /// JPEG.
    Jpeg,
}

/// What stands in the middle.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Centre {
    /// Nothing.
    #[default]
    None,
    /// The merged corona.
    Corona,
    /// One photograph, by its name on the card.
    Frame(String),
}

/// A paper size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Paper {
    /// Width as written.
    pub width: f64,
    /// Height as written.
    pub height: f64,
    /// Whether the two are in centimetres, else in inches.
    pub in_cm: bool,
}

impl Paper {
    /// Width and height in inches.
    pub fn inches(&self) -> (f64, f64) {
        let unit = if self.in_cm { CM_PER_INCH } else { 1.0 };
        (self.width / unit, self.height / unit)
    }
}

/// By definition.
pub(super) const CM_PER_INCH: f64 = 2.54;

impl fmt::Display for Paper {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unit = if self.in_cm { "cm" } else { "in" };
        write!(f, "{}x{} {unit}", self.width, self.height)
    }
}

/// Everything a strip is made of. Lengths are in the units their names say; ratios are to the disc.
#[derive(Clone, Debug, PartialEq)]
pub struct Recipe {
    /// How the discs are arranged.
    pub arrangement: Arrangement,
    /// Names of the frames before the middle, in order.
    pub before: Vec<String>,
    /// What stands in the middle.
    pub centre: Centre,
    /// Names of the frames after the middle, in order.
    pub after: Vec<String>,
    /// Names of the frames set aside: the person's own list, in no picture.
    pub aside: Vec<String>,
    /// Names of frames of totality that the corona is merged without.
    pub corona_without: Vec<String>,
    /// Strength of streamers and fine structure in the corona's pictures to look at, 0 to 3.
    pub corona_strength: f64,
    /// How far corona.png reaches, in solar radii from the Sun's centre; `None` follows what is to be seen.
    pub corona_extent_radii: Option<f64>,
    /// What becomes of the oval of a low Sun in the corona and its layers.
    pub flatten: Flatten,
    /// Pixels across, where no paper is given; 64 to 60,000.
    pub width_px: u32,
    /// Paper to fill.
    pub paper: Option<Paper>,
    /// Dots per inch of the print; 30 to 2,400.
    pub dpi: f64,
    /// Extra black on every side to be trimmed off, in inches; 0 to 2.
    pub bleed_in: f64,
    /// Disc diameter in pixels; `None` takes the largest that fits.
    pub disc_px: Option<f64>,
    /// Gap between neighbours, in disc diameters; 0 to 10.
    pub spacing: f64,
    /// Free margin around everything, in disc diameters, 0 to 10; `None` takes half a diameter, and no less than a 25th
    /// of the width at the sides and of the height above and below.
    pub margin: Option<f64>,
    /// How far the middle picture reaches, in solar radii from the Sun's centre; `None` follows the corona.
    pub extent_radii: Option<f64>,
    /// Diameter of the middle picture's disc, in diameters of the others; 0.5 to 10.
    pub centre_size: f64,
    /// Background, sRGB.
    pub background: [u8; 3],
    /// What is up.
    pub orientation: Up,
    /// What stands still; the disc of that body gets the common radius.
    pub align: Align,
    /// The discs' colour.
    pub white_balance: Tint,
    /// Whether all filtered discs are brought to one brightness and colour; as each was photographed if not.
    pub matched: bool,
    /// Light at the centre of an uncovered disc, 0.05 to 1 where 1 is the brightest a file holds.
    pub brightness: f64,
    /// What is written below each disc.
    pub captions: Captions,
    /// A wide view to lay the path over, by its name on the card.
    pub foreground: Option<String>,
    /// Azimuth at the middle of the wide view in degrees; `None` takes it from the Sun in the view.
    pub foreground_az_deg: Option<f64>,
    /// Where the flat horizon lies in the wide view, from 0 at its top to 1 at its bottom (beyond both allowed); `None`
    /// takes it from the Sun in the view.
    pub foreground_horizon: Option<f64>,
    /// Degrees the wide view spans from side to side; `None` takes it from the frame's focal length.
    pub foreground_width_deg: Option<f64>,
    /// Credit line for the files.
    pub credit: Option<String>,
    /// Whether the files may tell the place.
    pub embed_location: bool,
    /// Files to write.
    pub outputs: Vec<Output>,
    /// Whether each disc is also written by itself.
    pub layers: bool,
    /// Whether a steady time-lapse is made too.
    pub time_lapse: bool,
    /// Side of the time-lapse's square pictures in pixels; 64 to 8,192.
    pub time_lapse_px: u32,
    /// Pictures a second in the animated file; 1 to 60.
    pub time_lapse_fps: u32,
}

impl Default for Recipe {
    /// A row 6,000 pixels wide with nothing in it.
    fn default() -> Self {
        Self {
            arrangement: Arrangement::default(),
            before: Vec::new(),
            centre: Centre::default(),
            after: Vec::new(),
            aside: Vec::new(),
            corona_without: Vec::new(),
            corona_strength: 1.0,
            corona_extent_radii: None,
            flatten: Flatten::default(),
            width_px: 6_000,
            paper: None,
            dpi: 300.0,
            bleed_in: 0.0,
            disc_px: None,
            spacing: 0.25,
            margin: None,
            extent_radii: None,
            centre_size: 1.0,
            background: [0; 3],
            orientation: Up::default(),
            align: Align::default(),
            white_balance: Tint::default(),
            matched: true,
            brightness: 0.8,
            captions: Captions::default(),
            foreground: None,
            foreground_az_deg: None,
            foreground_horizon: None,
            foreground_width_deg: None,
            credit: None,
            embed_location: false,
            outputs: vec![Output::Tiff, Output::Png, Output::Jpeg],
            layers: false,
            time_lapse: false,
            time_lapse_px: 1_080,
            time_lapse_fps: 8,
        }
    }
}

impl Recipe {
    /// Names of all photographs the strip needs: its pieces in order, then the wide view.
    pub fn frames(&self) -> impl Iterator<Item = &str> {
        let centre = match &self.centre {
            Centre::Frame(name) => Some(name.as_str()),
            _ => None,
        };
        self.before
            .iter()
            .map(String::as_str)
            .chain(centre)
            .chain(self.after.iter().map(String::as_str))
            .chain(self.foreground.as_deref())
    }
}

/// Choices that have a word in `strip.toml`.
pub(super) trait Worded: Copy + PartialEq + 'static {
    /// Every choice with its word.
    const WORDS: &'static [(Self, &'static str)];

    /// The word of a choice.
    fn word(self) -> &'static str {
        Self::WORDS
            .iter()
            .find(|(choice, _)| *choice == self)
            .map_or("", |(_, word)| word)
    }
}

impl Worded for Arrangement {
    const WORDS: &'static [(Self, &'static str)] = &[
        (Self::Row, "row"),
        (Self::Arc, "arc"),
        (Self::Grid, "grid"),
        (Self::Ring, "ring"),
        (Self::Diagonal, "diagonal"),
        (Self::Path, "path"),
    ];
}

impl Worded for Up {
    const WORDS: &'static [(Self, &'static str)] = &[
        (Self::North, "north"),
        (Self::Zenith, "zenith"),
        (Self::AsShot, "as-shot"),
    ];
}

impl Worded for Align {
    const WORDS: &'static [(Self, &'static str)] = &[(Self::Sun, "sun"), (Self::Moon, "moon")];
}

impl Worded for Tint {
    const WORDS: &'static [(Self, &'static str)] = &[
        (Self::AsShot, "as-shot"),
        (Self::Neutral, "neutral"),
        (Self::Warm, "warm"),
    ];
}

impl Worded for Flatten {
    const WORDS: &'static [(Self, &'static str)] =
        &[(Self::Kept, "kept"), (Self::Undone, "undone")];
}

impl Worded for Captions {
    const WORDS: &'static [(Self, &'static str)] = &[
        (Self::None, "none"),
        (Self::Time, "time"),
        (Self::Obscuration, "obscuration"),
        (Self::Both, "both"),
        (Self::Contact, "contact"),
    ];
}

impl Worded for Output {
    const WORDS: &'static [(Self, &'static str)] =
        &[(Self::Tiff, "tif"), (Self::Png, "png"), (Self::Jpeg, "jpg")];
}
