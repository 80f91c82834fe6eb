//! Merges brackets of totality into one radiance map.
