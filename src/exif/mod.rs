//! Turns one file's header into a shot; what is absent stays absent.
