//! The cameras.

use crate::domain::{CameraId, Role};

/// A camera body with its lens and its clock.
#[derive(Clone, Debug)]
pub struct Body {
    /// Make, model, serial.
    pub id: CameraId,
    /// Long lens or wide view.
    pub role: Role,
    /// Folder number on the card (100 to 999) and its five letters.
    pub folder: (u32, &'static str),
    /// Number of the first file, 1 to 9999; after 9999 comes 1 in the next folder.
    pub first_file: u32,
    /// Pixels along the long side.
    pub width_px: u32,
    /// Pixels along the short side.
    pub height_px: u32,
    /// Width of the sensor in millimetres.
    pub sensor_width_mm: f64,
    /// Focal length in millimetres.
    pub focal_mm: f64,
    /// What the camera takes for its zone: local minus UTC, in seconds.
    pub zone_offset_s: i32,
    /// Camera minus true local time, in seconds.
    pub clock_error_s: f64,
    /// Whether the clock writes hundredths of a second; otherwise readings are cut off to whole seconds.
    pub subsec: bool,
    /// Electrons at saturation, ISO 100, per pixel of the (reduced) picture.
    pub full_well_e: f64,
    /// Read noise in electrons, likewise.
    pub read_noise_e: f64,
    /// Blur of lens and air: sigma of a Gaussian, in pixels.
    pub blur_px: f64,
}
