//! The program on cards drawn into temporary folders.
