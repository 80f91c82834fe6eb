//! The program; everything it can do is in the library, but for talking to the person.

fn main() {}
