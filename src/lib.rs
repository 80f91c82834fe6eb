//! From a card of solar-eclipse photographs to the finished sequence: sorted folders, a phase strip, an HDR corona,
//! a report, and a record to rebuild them from.
//!
//! The rooms stand on floors and import only downwards; DEVELOPERS.md has the plan.

pub mod burst;
pub mod card;
pub mod catalogue;
pub mod choose;
pub mod clock;
pub mod contacts;
pub mod demo;
pub mod disc;
pub mod domain;
pub mod ephemeris;
pub mod exif;
pub mod export;
pub mod film;
pub mod flag;
pub mod join;
pub mod limb;
pub mod merge;
pub mod model;
pub mod phase;
pub mod pipeline;
pub mod plan;
pub mod raster;
pub mod report;
pub mod strip;
