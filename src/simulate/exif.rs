//! A frame as a camera would have written it: JPEG with EXIF.

use std::io;

use exif::experimental::Writer;
use exif::{Field, In, Rational, SRational, Tag, Value};
use jpeg_encoder::{Encoder, ImageBuffer, JpegColorType, SamplingFactor};

use super::script::{PrivateData, Subsampling, SweepScript};
use crate::measure::{Plane, Samples};

/// Numerator of SubjectDistance that means infinity (CIPA DC-008).
const INFINITY: u32 = 0xFFFF_FFFF;

impl SweepScript {
    /// A frame as a JPEG file with its metadata.
    ///
    /// # Errors
    /// `InvalidInput` for a scene that JPEG can't hold (a side of 0 or above 65535 px).
    pub fn jpeg(&self, frame: usize) -> io::Result<Vec<u8>> {
        let refuse = |why: &str| io::Error::new(io::ErrorKind::InvalidInput, why.to_owned());
        let side = |px: u32| u16::try_from(px).ok().filter(|px| *px > 0);
        let upright = (side(self.scene.width_px), side(self.scene.height_px));
        let (Some(width), Some(height)) = upright else {
            return Err(refuse("a JPEG picture is 1 to 65535 px a side"));
        };
        let codes = self.stored(&self.plane(frame));
        let turned = matches!(self.picture.orientation, 5..=8);
        let (width, height) = if turned {
            (height, width)
        } else {
            (width, height)
        };
        let picture = &self.picture;
        let mut bytes = Vec::new();
        let mut encoder = Encoder::new(&mut bytes, picture.jpeg_quality.clamp(1, 100));
        encoder.set_sampling_factor(match picture.subsampling {
            Subsampling::S444 => SamplingFactor::R_4_4_4,
            Subsampling::S422 => SamplingFactor::R_4_2_2,
            Subsampling::S420 => SamplingFactor::R_4_2_0,
        });
        encoder.set_progressive(picture.progressive);
        if self.capture.write_metadata {
            let metadata = self.metadata(frame)?;
            encoder
                .add_exif_metadata(&metadata)
                .map_err(|error| refuse(&error.to_string()))?;
        }
        encoder
            .encode_image(WarmWhite {
                width,
                height,
                luma: &codes,
            })
            .map_err(|error| refuse(&error.to_string()))?;
        Ok(bytes)
    }

    /// The pixels as they lie in the file, so that EXIF orientation turns them upright.
    fn stored(&self, plane: &Plane) -> Vec<u8> {
        let (width, height) = (plane.width() as usize, plane.height() as usize);
        let Samples::Eight(codes) = plane.samples() else {
            unreachable!("frames are rendered with 8 bits")
        };
        let orientation = self.picture.orientation;
        if !(2..=8).contains(&orientation) {
            return codes.clone();
        }
        // Row 0 and column 0 of the file as sides of the upright picture (CIPA DC-008, Orientation).
        let swapped = orientation >= 5;
        let (columns, rows) = if swapped {
            (height, width)
        } else {
            (width, height)
        };
        let mut stored = Vec::with_capacity(codes.len());
        for row in 0..rows {
            for column in 0..columns {
                let (x, y) = match orientation {
                    2 => (width - 1 - column, row),
                    3 => (width - 1 - column, height - 1 - row),
                    4 => (column, height - 1 - row),
                    5 => (row, column),
                    6 => (width - 1 - row, column),
                    7 => (width - 1 - row, height - 1 - column),
                    _ => (row, height - 1 - column),
                };
                stored.push(codes[y * width + x]);
            }
        }
        stored
    }

    /// The EXIF block of a frame.
    fn metadata(&self, frame: usize) -> io::Result<Vec<u8>> {
        let (lens, capture) = (&self.lens, &self.capture);
        let taken = self.captured_at(frame);
        let focal_mm = capture.stated_focal_mm.unwrap_or(lens.focal_mm);
        let stamp = format!(
            "{:04}:{:02}:{:02} {:02}:{:02}:{:02}",
            taken.year(),
            u8::from(taken.month()),
            taken.day(),
            taken.hour(),
            taken.minute(),
            taken.second()
        );
        let mut fields = vec![
            field(Tag::Make, text(&capture.camera_maker)),
            field(Tag::Model, text(&capture.camera_model)),
            field(
                Tag::Orientation,
                Value::Short(vec![u16::from(self.picture.orientation)]),
            ),
            field(Tag::FNumber, rational(lens.f_number, 100)),
            field(Tag::FocalLength, rational(focal_mm, 1000)),
            field(
                Tag::FocalLengthIn35mmFilm,
                Value::Short(vec![
                    (focal_mm * 36.0 / self.scene.sensor_width_mm).round() as u16
                ]),
            ),
            field(Tag::LensMake, text(&lens.maker)),
            field(Tag::LensModel, text(&lens.model)),
            field(Tag::DateTimeOriginal, text(&stamp)),
        ];
        if capture.sub_second_digits > 0 {
            let digits = usize::from(capture.sub_second_digits.min(9));
            let all = format!("{:09}", taken.nanosecond());
            fields.push(field(Tag::SubSecTimeOriginal, text(&all[..digits])));
        }
        if let Some(offset) = capture.offset {
            let minutes = offset.whole_minutes();
            let sign = if minutes < 0 { '-' } else { '+' };
            let (hours, rest) = (minutes.unsigned_abs() / 60, minutes.unsigned_abs() % 60);
            fields.push(field(
                Tag::OffsetTimeOriginal,
                text(&format!("{sign}{hours:02}:{rest:02}")),
            ));
        }
        if capture.write_distances {
            let dioptres = self.dioptres(frame);
            let distance = if dioptres > 0.0 {
                rational(1.0 / dioptres, 100_000)
            } else {
                Value::Rational(vec![Rational {
                    num: INFINITY,
                    denom: 1,
                }])
            };
            fields.push(field(Tag::SubjectDistance, distance));
        }
        if let Some(private) = &capture.private {
            fields.extend(private_fields(private));
        }
        let mut writer = Writer::new();
        for one in &fields {
            writer.push_field(one);
        }
        let mut block = io::Cursor::new(Vec::new());
        writer
            .write(&mut block, true)
            .map_err(|error| io::Error::new(io::ErrorKind::InvalidInput, error.to_string()))?;
        Ok(block.into_inner())
    }
}

/// Luma codes in the warm white of lamps, so that the colour planes are not empty.
struct WarmWhite<'a> {
    width: u16,
    height: u16,
    luma: &'a [u8],
}

impl ImageBuffer for WarmWhite<'_> {
    fn get_jpeg_color_type(&self) -> JpegColorType {
        JpegColorType::Ycbcr
    }

    fn width(&self) -> u16 {
        self.width
    }

    fn height(&self) -> u16 {
        self.height
    }

    fn fill_buffers(&self, row: u16, planes: &mut [Vec<u8>; 4]) {
        let width = usize::from(self.width);
        let luma = &self.luma[usize::from(row) * width..][..width];
        planes[0].extend_from_slice(luma);
        planes[1].extend(luma.iter().map(|code| 128 - code / 32));
        planes[2].extend(luma.iter().map(|code| 128 + code / 48));
    }
}

fn field(tag: Tag, value: Value) -> Field {
    Field {
        tag,
        ifd_num: In::PRIMARY,
        value,
    }
}

/// ASCII as EXIF has it; other characters become `?`.
fn text(words: &str) -> Value {
    let ascii = words.chars().map(|c| {
        if c.is_ascii() && c != '\0' {
            c as u8
        } else {
            b'?'
        }
    });
    Value::Ascii(vec![ascii.collect()])
}

fn rational(value: f64, denom: u32) -> Value {
    let num = (value * f64::from(denom))
        .round()
        .clamp(0.0, f64::from(u32::MAX - 1)) as u32;
    Value::Rational(vec![Rational { num, denom }])
}

fn private_fields(private: &PrivateData) -> Vec<Field> {
    let degrees = |value: f64| {
        let seconds = value.abs() * 3600.0;
        let whole = |part: f64| Rational {
            num: part as u32,
            denom: 1,
        };
        Value::Rational(vec![
            whole(seconds / 3600.0),
            whole(seconds / 60.0 % 60.0),
            Rational {
                num: (seconds % 60.0 * 1000.0) as u32,
                denom: 1000,
            },
        ])
    };
    let side = |value: f64, plus: &str, minus: &str| text(if value < 0.0 { minus } else { plus });
    vec![
        field(Tag::CameraOwnerName, text(&private.owner)),
        field(Tag::BodySerialNumber, text(&private.serial)),
        field(Tag::GPSLatitudeRef, side(private.latitude_deg, "N", "S")),
        field(Tag::GPSLatitude, degrees(private.latitude_deg)),
        field(Tag::GPSLongitudeRef, side(private.longitude_deg, "E", "W")),
        field(Tag::GPSLongitude, degrees(private.longitude_deg)),
        field(
            Tag::ExposureBiasValue,
            Value::SRational(vec![SRational { num: 0, denom: 1 }]),
        ),
    ]
}
