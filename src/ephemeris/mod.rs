//! Where Sun and Moon appear, and how large, for an instant and a place.
