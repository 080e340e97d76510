//! How coarsely a JPEG file rounds smooth light: part of a measurement's uncertainty.

use super::format;

/// Markers of frames with quantized coefficients: baseline, extended and progressive (ITU-T T.81, table B.1).
const FRAME_MARKERS: std::ops::RangeInclusive<u8> = 0xC0..=0xC2;
/// The mean and the five lowest frequencies, in the zigzag order of the file.
const LOWEST: usize = 6;

/// Root mean square of the quantization steps of a JPEG file's luma for the mean and the lowest frequencies, in codes:
/// the table that the first component names (ITU-T T.81, B.2.2 and B.2.4.1). `None` where the file has no such table.
pub(super) fn rounding_step(bytes: &[u8]) -> Option<f64> {
    let mut tables: [Option<f64>; 4] = [None; 4];
    let mut named = None;
    for segment in format::jpeg_segments(bytes) {
        match segment.marker {
            0xDB => read_tables(segment.body, &mut tables),
            // Precision, height, width, components; then of the first: name, sampling, table.
            marker if FRAME_MARKERS.contains(&marker) => {
                named = Some(usize::from(*segment.body.get(8)?));
            }
            _ => {}
        }
        // Frame header and tables come in either order.
        if let Some(step) = named.and_then(|table| *tables.get(table)?) {
            return Some(step);
        }
    }
    None
}

fn read_tables(mut segment: &[u8], tables: &mut [Option<f64>; 4]) {
    while let Some((&kind, rest)) = segment.split_first() {
        let wide = kind >> 4 != 0;
        let size = if wide { 128 } else { 64 };
        let Some(steps) = rest.get(..size) else {
            return;
        };
        let step = |k: usize| {
            if wide {
                f64::from(u16::from_be_bytes([steps[2 * k], steps[2 * k + 1]]))
            } else {
                f64::from(steps[k])
            }
        };
        if let Some(table) = tables.get_mut(usize::from(kind & 15)) {
            let squares: f64 = (0..LOWEST).map(|k| step(k).powi(2)).sum();
            *table = Some((squares / LOWEST as f64).sqrt());
        }
        segment = &rest[size..];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Quality 50 is the table of ITU-T T.81, annex K itself: 16, 11, 12, 14, 12, 10 first.
    #[test]
    fn the_step_is_that_of_the_lowest_frequencies() {
        let mut file = Vec::new();
        jpeg_encoder::Encoder::new(&mut file, 50)
            .encode(&[90; 64], 8, 8, jpeg_encoder::ColorType::Luma)
            .expect("a small picture");
        let squares: f64 = [16.0, 11.0, 12.0, 14.0, 12.0, 10.0_f64]
            .iter()
            .map(|q| q * q)
            .sum();
        let step = rounding_step(&file).expect("a table");
        assert!((step - (squares / 6.0).sqrt()).abs() < 1e-9, "{step}");
    }

    /// A reader that stops at fill bytes and at markers without a length (ITU-T T.81, B.1.1.2 and B.1.1.3) would take such a
    /// file for one without tables.
    #[test]
    fn bytes_between_segments_hide_no_table() {
        let mut file = Vec::new();
        jpeg_encoder::Encoder::new(&mut file, 50)
            .encode(&[90; 64], 8, 8, jpeg_encoder::ColorType::Luma)
            .expect("a small picture");
        let parted = [&file[..2], &[0xFF, 0x01, 0xFF, 0xFF], &file[2..]].concat();
        assert!(rounding_step(&file).is_some());
        assert_eq!(rounding_step(&parted), rounding_step(&file));
    }

    #[test]
    fn files_that_break_off_have_no_step() {
        let mut file = Vec::new();
        jpeg_encoder::Encoder::new(&mut file, 90)
            .encode(&[90; 64], 8, 8, jpeg_encoder::ColorType::Luma)
            .expect("a small picture");
        let whole = (0..file.len())
            .find(|&end| rounding_step(&file[..end]).is_some())
            .expect("somewhere");
        assert!(whole > 64, "not before the table is over");
        assert_eq!(rounding_step(b"\xFF\xD8\xFF"), None);
        assert_eq!(rounding_step(&[]), None);
    }
}
