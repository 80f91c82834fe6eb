//! Choosing frames: on the command line, and on the page.

mod browser;
mod client;
mod command;
mod desk;
mod page;
