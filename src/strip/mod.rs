//! Places centred discs on one canvas: the phase strip and its relatives.
//!
//! A [`Recipe`] says which frames stand where and how; [`layout()`] turns it into places by plain arithmetic; the
//! drawing develops each frame to a disc of equal size, orientation, brightness and white, and puts it in its place.

mod caption;
mod develop;
mod draw;
mod edit;
mod entries;
mod error;
mod field;
mod foreground;
mod keys;
mod label;
mod lapse;
mod layout;
mod level;
mod notice;
mod piece;
mod pose;
mod propose;
mod recipe;
mod recipe_file;
mod sheet;
mod steady;
mod tile;
mod zone;

pub use draw::{Drawn, Placed, draw, tile_for};
pub use edit::{EditError, ListOf, RecipeEdit, edited, frame_meant};
pub use error::StripError;
pub use field::{Field, FieldKind, fields};
pub use lapse::{Lapse, LapseFrame, time_lapse};
pub use layout::{Layout, LayoutError, PieceGeometry, Place, SkyPlace, View, layout, layout_over};
pub use piece::CentrePiece;
pub use propose::{By, Wish};
pub use recipe::{Align, Arrangement, Captions, Centre, Flatten, Output, Paper, Recipe, Tint, Up};
pub use recipe_file::{RECIPE_FILE, RecipeError};
pub use sheet::Sheet;
pub use tile::{Open, Tile};
