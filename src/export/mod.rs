//! Plans the per-phase folders, then makes them.
