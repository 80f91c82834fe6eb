//! Choosing by eye: a page served from this machine to this machine, on which a person picks the strip's frames and sees it change.
//!
//! [`Server::open`] takes a port of the loopback address, and the address it gives holds a secret: another program or page that does
//! not know it gets nothing (`door`). Frames, recipes and results are asked for by their numbers or checked names, never by a path.
//! Pictures come from the card's originals, which are only read, through the decoders every other command uses. What is done on the
//! page goes into the recipe at once; what takes longer runs as `work`, one piece at a time. The rooms below know nothing of this one.

mod cache;
mod card;
mod cut;
mod desk;
mod door;
mod error;
mod pictures;
mod recipes;
mod results;
mod routes;
mod server;
mod work;

pub use error::ChooseError;
pub use server::Server;
