//! All tests that go through the door, in one binary.

mod burst;
mod card;
mod catalogue;
mod choose;
mod clock;
mod contacts;
mod demo;
mod disc;
mod exif;
mod export;
mod faults;
mod film;
mod flag;
mod floor_plan;
mod fuzz;
mod golden;
mod join;
mod limb;
mod merge;
mod phase;
mod plan;
mod raster;
#[cfg(feature = "raw")]
mod raw;
#[cfg(feature = "raw")]
mod raw_card;
mod report;
mod resume;
mod run;
mod science;
mod stills;
mod strip;
mod support;
