//! Lists what is on a card in shooting order; never writes to it.
