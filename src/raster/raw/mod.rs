//! Raw files of cameras: sensor values through rawler, light by our own few lines.
//!
//! rawler reads the containers and unpacks the values; what it is given is vetted first ([`vet`]), because it trusts
//! the sizes and counts in a file, and it works on threads of its own ([`apart()`]), because it spreads its work over
//! rayon's and panics on damaged files.

mod apart;
mod colour;
mod develop;
mod header;
mod sensor;
mod vet;

use std::path::Path;

use rawler::decoders::{Decoder, FormatHint, RawDecodeParams};
use rawler::rawsource::RawSource;
use rawler::{RawImage, RawlerError};

use super::error::{DecodeError, check_size};
use super::{RawHeader, Samples};
use crate::domain::{RawFault, RawUnknown};
use apart::apart;
pub use colour::WhiteBalance;
pub(super) use develop::Stored;
use sensor::Sensor;
pub use sensor::SensorValues;
pub(super) use vet::Vetted;

/// What a raw file's header says, read from its first part and the places it points to; `None` where that does not
/// tell, as in damaged files and cameras that are not known.
pub fn raw_header(path: &Path) -> Option<RawHeader> {
    let bytes = header::bytes(path).ok()?;
    apart(move || {
        let vetted = vet::sizes(bytes).ok()?;
        let source = RawSource::new_from_shared_vec(vetted.shared());
        let decoder = rawler::get_decoder(&source).ok()?;
        header_of(decoder.as_ref(), &source).ok()
    })?
}

fn header_of(decoder: &dyn Decoder, source: &RawSource) -> Result<RawHeader, RawlerError> {
    if decoder.format_hint() == FormatHint::DNG {
        return sensor::dng_header(decoder);
    }
    let image = decoder.raw_image(source, &RawDecodeParams::default(), true)?;
    let area = sensor::area(&image);
    Ok(RawHeader {
        width_px: u32::try_from(area.d.w).unwrap_or(0),
        height_px: u32::try_from(area.d.h).unwrap_or(0),
        balance: colour::as_shot(&image.wb_coeffs),
    })
}

/// A raw file's bytes, looked through.
///
/// # Errors
/// [`DecodeError`] when they are damaged, cut short or too large.
pub(super) fn vetted(bytes: Vec<u8>) -> Result<Vetted, DecodeError> {
    apart(move || vet::whole(bytes)).unwrap_or(Err(DecodeError::Panic))
}

/// Develops a raw file with its own white balance or the one given.
pub(super) fn developed(
    bytes: Vetted,
    balance: Option<WhiteBalance>,
) -> Result<Stored, DecodeError> {
    apart(move || {
        let sensor = Sensor::new(unpacked(&bytes)?)?;
        drop(bytes);
        Ok(develop::develop(&sensor, balance))
    })
    .unwrap_or(Err(DecodeError::Panic))
}

/// The camera's finished picture inside a raw file, where it has the developed picture's size pixel for pixel; `None`
/// where there is none such.
pub(super) fn preview(bytes: Vetted) -> Option<Stored> {
    apart(move || {
        let source = RawSource::new_from_shared_vec(bytes.shared());
        let decoder = rawler::get_decoder(&source).ok()?;
        let header = header_of(decoder.as_ref(), &source).ok()?;
        let params = RawDecodeParams::default();
        let picture = decoder.preview_image(&source, &params).ok()??;
        let same = (picture.width(), picture.height()) == (header.width_px, header.height_px);
        same.then(|| Stored {
            width: picture.width() as usize,
            height: picture.height() as usize,
            channels: 3,
            samples: Samples::U8(picture.into_rgb8().into_raw()),
        })
    })?
}

/// The sensor values of the recommended area of a raw file, black subtracted, neither white-balanced nor demosaiced.
///
/// # Errors
/// [`DecodeError`] as for [`super::photograph()`].
pub fn sensor_values(path: &Path) -> Result<SensorValues, DecodeError> {
    let bytes = super::decode::file_bytes(path)?;
    let bytes = vetted(bytes)?;
    apart(move || Ok(Sensor::new(unpacked(&bytes)?)?.values())).unwrap_or(Err(DecodeError::Panic))
}

/// Unpacks the sensor values.
fn unpacked(bytes: &Vetted) -> Result<RawImage, DecodeError> {
    let source = RawSource::new_from_shared_vec(bytes.shared());
    let decoder = rawler::get_decoder(&source).map_err(trouble)?;
    let params = RawDecodeParams::default();
    if decoder.format_hint() != FormatHint::DNG {
        // The sizes of a DNG were vetted with its directories; other makers hide theirs.
        let claimed = decoder.raw_image(&source, &params, true).map_err(trouble)?;
        let (width, height) = (claimed.width as u64, claimed.height as u64);
        check_size(width, height, 2 * claimed.cpp as u64)?;
    }
    decoder.raw_image(&source, &params, false).map_err(trouble)
}

/// The library's words as ours: they carry no lines of code and no invitation to write to its authors.
fn trouble(error: RawlerError) -> DecodeError {
    let unknown = |library| RawUnknown::Reader { library };
    let plain = |text: &str| text.lines().next().unwrap_or_default().trim().to_owned();
    match error {
        RawlerError::Unsupported { what, .. } => DecodeError::UnknownRaw(unknown(plain(&what))),
        RawlerError::DecoderFailed(text) if text.contains("nsupported") => {
            DecodeError::UnknownRaw(unknown(plain(&text).replace("TODO: ", "")))
        }
        RawlerError::DecoderFailed(text) => {
            let library = plain(&text);
            DecodeError::Raw(RawFault::Reader { library })
        }
    }
}
