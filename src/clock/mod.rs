//! Solves each body's clock from its own pictures.
