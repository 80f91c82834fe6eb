//! The `strip` room, through its door.

mod drawing;
mod drawn;
mod proposal;
mod recipe_file;
