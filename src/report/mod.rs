//! Says what was found, what was not, and how sure we are.
