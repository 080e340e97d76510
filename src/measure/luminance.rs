//! Codes to linear light.
//!
//! Blur adds in linear light, so everything about centres and widths is computed there. The transfer function is that
//! of sRGB (IEC 61966-2-1:1999): with c = code / full scale,
//! light = c / 12.92 up to c = 0.04045, above it ((c + 0.055) / 1.055)^2.4.

use std::sync::OnceLock;

use super::toned::{BESIDE, POWERS, powers};
use super::{Plane, Samples, Window};

/// Linear light, 0 to 1, of an sRGB-coded value, 0 to 1.
fn srgb_to_linear(coded: f64) -> f64 {
    if coded <= 0.04045 {
        coded / 12.92
    } else {
        ((coded + 0.055) / 1.055).powf(2.4)
    }
}

/// How strongly the other plausible tone curve bends its highlights.
const BEND: f64 = 0.3;

/// Linear light under another curve that cameras and film come near to (common practice, no source): shadows by a plain power
/// of 2.2, highlights held back as the upper half of an S does it, where the sRGB code s became s − `BEND`·s·(1 − s)·(1 − 2·s).
fn other_to_linear(coded: f64) -> f64 {
    const MIDDLE: f64 = 0.5;
    if coded <= MIDDLE {
        return coded.powf(2.2);
    }
    let bent = |s: f64| s - BEND * s * (1.0 - s) * (1.0 - 2.0 * s);
    // It rises everywhere, so halving finds the way back.
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if bent(middle) < coded {
            low = middle;
        } else {
            high = middle;
        }
    }
    // Both halves meet in the middle.
    srgb_to_linear(low) * MIDDLE.powf(2.2) / srgb_to_linear(MIDDLE)
}

/// Change of linear light for one 8-bit code of change, at this light.
pub(super) fn slope_at(light: f64) -> f64 {
    let per_coded = if light <= 0.003_130_8 {
        1.0 / 12.92
    } else {
        2.4 / 1.055 * light.min(1.0).powf(1.4 / 2.4)
    };
    per_coded / 255.0
}

/// One bit depth's tables, indexed by code.
pub(super) struct Tables {
    /// Linear light, 0 to 1.
    pub(super) light: Vec<f32>,
    /// Linear light under the other plausible tone curve.
    pub(super) other_light: Vec<f32>,
    /// Light by powers of its logarithm, and 0 behind them; see `toned`.
    pub(super) powers: Vec<[f64; BESIDE]>,
    /// Change of light for one 8-bit code of change, so that noise has one unit for both depths.
    pub(super) slope: Vec<f32>,
    /// Codes in one 8-bit code: 1 or 257.
    pub(super) codes_per_eight_bit: f32,
}

impl Tables {
    fn new(full_scale: u32) -> Self {
        let coded = |code: f64| (code / f64::from(full_scale)).clamp(0.0, 1.0);
        let step = f64::from(full_scale) / 255.0;
        let codes = || (0..=full_scale).map(f64::from);
        let slope = |code: f64| {
            let (low, high) = (coded(code - step / 2.0), coded(code + step / 2.0));
            (srgb_to_linear(high) - srgb_to_linear(low)) / ((high - low) * 255.0)
        };
        Self {
            light: codes().map(|c| srgb_to_linear(coded(c)) as f32).collect(),
            other_light: codes().map(|c| other_to_linear(coded(c)) as f32).collect(),
            powers: codes()
                .map(|c| {
                    let mut beside = [0.0; BESIDE];
                    let values = powers(srgb_to_linear(coded(c))).map(|(value, _)| value);
                    beside[..POWERS].copy_from_slice(&values);
                    beside
                })
                .collect(),
            slope: codes().map(|c| slope(c) as f32).collect(),
            codes_per_eight_bit: step as f32,
        }
    }

    /// Linear light of a mean of codes, in units of 8-bit codes, between the table's entries.
    pub(super) fn light_of_mean(&self, code: f32) -> f32 {
        let light = |code: f32| {
            let at = (code * self.codes_per_eight_bit).round() as usize;
            self.light[at.min(self.light.len() - 1)]
        };
        let code = code.max(0.0);
        let low = code.floor();
        let part = code - low;
        light(low) * (1.0 - part) + light(low + 1.0) * part
    }
}

impl Plane {
    /// The tables for this picture's bit depth.
    pub(super) fn tables(&self) -> &'static Tables {
        static EIGHT: OnceLock<Tables> = OnceLock::new();
        static SIXTEEN: OnceLock<Tables> = OnceLock::new();
        match self.samples() {
            Samples::Eight(_) => EIGHT.get_or_init(|| Tables::new(255)),
            Samples::Sixteen(_) => SIXTEEN.get_or_init(|| Tables::new(65_535)),
        }
    }

    /// Copies the codes of a window that lies inside the picture, row by row.
    pub(super) fn copy_codes(&self, window: Window, codes: &mut Vec<u16>) {
        codes.clear();
        let (columns, rows) = (
            window.right - window.left + 1,
            window.bottom - window.top + 1,
        );
        codes.reserve(columns as usize * rows as usize);
        let stride = self.width() as usize;
        for row in window.top..=window.bottom {
            let start = row as usize * stride;
            let columns = start + window.left as usize..=start + window.right as usize;
            match self.samples() {
                Samples::Eight(all) => codes.extend(all[columns].iter().map(|&c| u16::from(c))),
                Samples::Sixteen(all) => codes.extend_from_slice(&all[columns]),
            }
        }
    }
}

/// A window of a picture in linear light, with its codes.
pub(super) struct Patch {
    /// Where it lies in the picture.
    pub(super) window: Window,
    /// Codes, row by row.
    pub(super) codes: Vec<u16>,
    /// Linear light, row by row.
    pub(super) light: Vec<f32>,
    /// The tables that belong to the codes.
    pub(super) tables: &'static Tables,
}

impl Patch {
    /// The part of the square of half-side `reach` px around (x, y) that lies inside the picture; `None` if there is none.
    pub(super) fn around(plane: &Plane, (x, y): (f64, f64), reach: f64) -> Option<Self> {
        let span = |middle: f64, size: u32| {
            let last = f64::from(size - 1);
            let (low, high) = (
                (middle - reach).ceil().max(0.0),
                (middle + reach).floor().min(last),
            );
            (low <= high).then_some((low as u32, high as u32))
        };
        let (left, right) = span(x, plane.width())?;
        let (top, bottom) = span(y, plane.height())?;
        let window = Window {
            left,
            top,
            right,
            bottom,
        };
        let tables = plane.tables();
        let mut codes = Vec::new();
        plane.copy_codes(window, &mut codes);
        let light = codes
            .iter()
            .map(|&code| tables.light[usize::from(code)])
            .collect();
        Some(Self {
            window,
            codes,
            light,
            tables,
        })
    }

    /// Linear light under the other plausible tone curve, row by row.
    pub(super) fn other_light(&self) -> Vec<f32> {
        let of = |&code: &u16| self.tables.other_light[usize::from(code)];
        self.codes.iter().map(of).collect()
    }

    /// Columns.
    pub(super) fn width(&self) -> usize {
        (self.window.right - self.window.left + 1) as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 61966-2-1: code to linear light, to the digits of the published values.
    #[test]
    fn srgb_codes_give_the_published_light() {
        let published = [
            (0, 0.0),
            (10, 0.003_035_27),
            (11, 0.003_346_54),
            (64, 0.051_269_46),
            (128, 0.215_860_50),
            (188, 0.502_886_46),
            (200, 0.577_580_44),
            (255, 1.0),
        ];
        for (code, light) in published {
            let computed = srgb_to_linear(f64::from(code) / 255.0);
            assert!((computed - light).abs() < 1e-8, "code {code}: {computed}");
            // Stored as f32: half a unit in the last place at 1.0 is 6e-8.
            assert!((f64::from(Tables::new(255).light[code as usize]) - light).abs() < 7e-8);
        }
    }
}
