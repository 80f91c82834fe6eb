//! The sheet to shoot a coming eclipse by.
