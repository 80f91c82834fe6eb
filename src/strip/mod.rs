//! Places centred discs on one canvas.
