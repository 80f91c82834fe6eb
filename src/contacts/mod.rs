//! Solves for the instants the discs touch at one site.
