//! Choosing frames: on the command line, and on the page.

mod command;
mod desk;
