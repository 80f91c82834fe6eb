//! The `strip` room, through its door.

mod drawing;
pub(crate) mod drawn;
mod proposal;
mod recipe_edit;
mod recipe_file;
