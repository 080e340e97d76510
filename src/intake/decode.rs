//! From the bytes of a picture to its luminance, upright, under limits.

use std::borrow::Cow;
use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};

use image::{DynamicImage, GrayImage, ImageFormat, ImageReader};
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::format::{self, Format};
use super::metadata;
use super::octets::Octets;
use super::padding;
use super::quantization;
use super::{IntakeError, Limits};
use crate::measure::{Plane, Samples};

/// Quality of preview pictures.
const PREVIEW_QUALITY: u8 = 85;

/// The luminance of a picture, upright. JPEG gives its own luma; PNG and TIFF in colour give the same mixture of codes
/// (Rec. 601: 0.299 R + 0.587 G + 0.114 B, as JFIF has it), whatever alpha says. A panic inside a decoder comes out as
/// `Damaged`.
///
/// # Errors
/// `Empty`, `NotAPicture`, `TooLarge` or `Damaged`; a picture that breaks off is `Damaged`, never half a plane.
pub fn decode_plane(bytes: &[u8], limits: &Limits) -> Result<Plane, IntakeError> {
    let format = format::admit(bytes, limits)?;
    let plain = match format {
        Format::Jpeg => padding::taken_out(bytes),
        Format::Png | Format::Tiff => Cow::Borrowed(bytes),
    };
    let bytes = plain.as_ref();
    guarded(|| {
        let orientation = metadata::orientation(metadata::exif_of(bytes, format).as_ref());
        let (width, height, samples) = match format {
            Format::Jpeg => jpeg_luma(bytes, limits)?,
            Format::Png => other_luma(bytes, ImageFormat::Png, limits)?,
            Format::Tiff => other_luma(bytes, ImageFormat::Tiff, limits)?,
        };
        let (width, height, samples) = match samples {
            Samples::Eight(codes) => {
                let (w, h, codes) = orientation.upright(width, height, codes);
                (w, h, Samples::Eight(codes))
            }
            Samples::Sixteen(codes) => {
                let (w, h, codes) = orientation.upright(width, height, codes);
                (w, h, Samples::Sixteen(codes))
            }
        };
        let plane = Plane::new(width as u32, height as u32, samples).map_err(damaged)?;
        let step = matches!(format, Format::Jpeg).then(|| quantization::rounding_step(bytes));
        Ok(match step.flatten() {
            Some(step) => plane.with_rounding_step(step),
            None => plane,
        })
    })
}

/// The picture as a new upright JPEG of at most `max_side_px`, made of its luminance alone: what was measured, with no
/// metadata and no thumbnail.
///
/// # Errors
/// As `decode_plane`.
pub fn preview_jpeg(
    bytes: &[u8],
    max_side_px: u32,
    limits: &Limits,
) -> Result<Vec<u8>, IntakeError> {
    let plane = decode_plane(bytes, limits)?;
    guarded(|| {
        let codes = match plane.samples() {
            Samples::Eight(codes) => codes.clone(),
            Samples::Sixteen(codes) => codes.iter().map(|code| (code / 257) as u8).collect(),
        };
        let (width, height) = (plane.width(), plane.height());
        let full = GrayImage::from_raw(width, height, codes)
            .ok_or_else(|| IntakeError::Damaged("its rows are incomplete".to_owned()))?;
        let longest = width.max(height);
        let small = if longest > max_side_px.max(1) {
            let side = |px: u32| {
                (u64::from(px) * u64::from(max_side_px.max(1)) / u64::from(longest)).max(1) as u32
            };
            image::imageops::thumbnail(&full, side(width), side(height))
        } else {
            full
        };
        let mut jpeg = Vec::new();
        let size = |px: u32| u16::try_from(px).map_err(damaged);
        jpeg_encoder::Encoder::new(&mut jpeg, PREVIEW_QUALITY)
            .encode(
                &small,
                size(small.width())?,
                size(small.height())?,
                jpeg_encoder::ColorType::Luma,
            )
            .map_err(damaged)?;
        Ok(jpeg)
    })
}

/// Runs a decoder; its panic ends this picture only.
pub(super) fn guarded<T>(work: impl FnOnce() -> Result<T, IntakeError>) -> Result<T, IntakeError> {
    catch_unwind(AssertUnwindSafe(work))
        .unwrap_or_else(|_| Err(IntakeError::Damaged("the decoder gave up on it".to_owned())))
}

fn damaged(error: impl std::fmt::Display) -> IntakeError {
    IntakeError::Damaged(error.to_string())
}

type Luma = (usize, usize, Samples);

fn jpeg_luma(bytes: &[u8], limits: &Limits) -> Result<Luma, IntakeError> {
    if !format::jpeg_is_whole(bytes) {
        return Err(IntakeError::Damaged(
            "it breaks off before its end".to_owned(),
        ));
    }
    let mut decoder = jpeg_decoder(bytes, limits);
    decoder.decode_headers().map_err(damaged)?;
    let Some((width, height)) = decoder.dimensions() else {
        return Err(IntakeError::Damaged("its header names no size".to_owned()));
    };
    // A second header inside the file may claim more than the first.
    format::check_size(width as u64, height as u64, limits)?;
    match decoder.input_colorspace() {
        Some(ColorSpace::YCbCr | ColorSpace::Luma) => {
            let mut codes = Plane::room_for(width * height);
            decoder.decode_into(&mut codes).map_err(damaged)?;
            Ok((width, height, Samples::Eight(codes)))
        }
        // Stored as RGB or CMYK: rare, and there is no luma to be taken out alone.
        _ => other_luma(bytes, ImageFormat::Jpeg, limits),
    }
}

fn jpeg_decoder<'a>(bytes: &'a [u8], limits: &Limits) -> JpegDecoder<Octets<'a>> {
    let side = limits.max_side_px as usize;
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(side)
        .set_max_height(side)
        .jpeg_set_out_colorspace(ColorSpace::Luma);
    JpegDecoder::new_with_options(Octets::new(bytes), options)
}

fn other_luma(bytes: &[u8], format: ImageFormat, limits: &Limits) -> Result<Luma, IntakeError> {
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut bounds = image::Limits::default();
    bounds.max_image_width = Some(limits.max_side_px);
    bounds.max_image_height = Some(limits.max_side_px);
    // Four channels of 16 bits each, and room for the decoder's own buffers.
    bounds.max_alloc = Some(u64::from(limits.max_megapixels) * 8_000_000 + (64 << 20));
    reader.limits(bounds);
    let picture = reader.decode().map_err(damaged)?;
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    format::check_size(width as u64, height as u64, limits)?;
    let samples = match picture {
        DynamicImage::ImageLuma8(pixels) => Samples::Eight(pixels.into_raw()),
        DynamicImage::ImageLuma16(pixels) => Samples::Sixteen(pixels.into_raw()),
        DynamicImage::ImageLumaA8(pixels) => {
            Samples::Eight(pixels.pixels().map(|p| p.0[0]).collect())
        }
        DynamicImage::ImageLumaA16(pixels) => {
            Samples::Sixteen(pixels.pixels().map(|p| p.0[0]).collect())
        }
        DynamicImage::ImageRgb8(pixels) => Samples::Eight(
            pixels
                .pixels()
                .map(|p| mixed(p.0[0], p.0[1], p.0[2]) as u8)
                .collect(),
        ),
        DynamicImage::ImageRgba8(pixels) => Samples::Eight(
            pixels
                .pixels()
                .map(|p| mixed(p.0[0], p.0[1], p.0[2]) as u8)
                .collect(),
        ),
        DynamicImage::ImageRgb16(pixels) => Samples::Sixteen(
            pixels
                .pixels()
                .map(|p| mixed(p.0[0], p.0[1], p.0[2]) as u16)
                .collect(),
        ),
        DynamicImage::ImageRgba16(pixels) => Samples::Sixteen(
            pixels
                .pixels()
                .map(|p| mixed(p.0[0], p.0[1], p.0[2]) as u16)
                .collect(),
        ),
        other => Samples::Sixteen(other.into_luma16().into_raw()),
    };
    Ok((width, height, samples))
}

/// Rec. 601 luma of codes, rounded; never above the largest of the three.
fn mixed<T: Into<u32>>(red: T, green: T, blue: T) -> u32 {
    (299 * red.into() + 587 * green.into() + 114 * blue.into() + 500) / 1000
}
