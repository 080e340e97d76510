//! From linear light to the codes of a file.

/// The curve from linear light to codes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ToneCurve {
    /// IEC 61966-2-1.
    Srgb,
    /// ITU-R BT.709: 1.099·L^0.45 − 0.099 above 0.018, 4.5·L below.
    Bt709,
    /// A plain power: L^(1/gamma).
    Gamma(f64),
    /// A camera's "standard" look: the sRGB code with an S-bend of this strength (0.3 is a strong one).
    Contrast(f64),
}

impl ToneCurve {
    /// Code from 0 to 1 of linear light; light outside 0 to 1 is clipped.
    #[must_use]
    pub fn encode(self, light: f64) -> f64 {
        let light = light.clamp(0.0, 1.0);
        match self {
            Self::Srgb => srgb(light),
            Self::Bt709 if light < 0.018 => 4.5 * light,
            Self::Bt709 => 1.099 * light.powf(0.45) - 0.099,
            Self::Gamma(gamma) => light.powf(1.0 / gamma),
            Self::Contrast(strength) => {
                let code = srgb(light);
                // A cubic S around the middle that keeps 0, 1/2 and 1.
                code - strength * code * (1.0 - code) * (1.0 - 2.0 * code)
            }
        }
    }

    /// 8-bit codes of linear light in steps of 1/`STEPS`.
    pub(super) fn table(self) -> Vec<u8> {
        (0..=STEPS)
            .map(|step| {
                let code = self.encode(f64::from(step) / f64::from(STEPS)) * 255.0;
                code.round().clamp(0.0, 255.0) as u8
            })
            .collect()
    }
}

/// Steps of the table: 0.025 codes in the steepest part of the sRGB curve, far below the rounding of a code.
pub(super) const STEPS: u32 = 1 << 17;

fn srgb(light: f64) -> f64 {
    if light <= 0.003_130_8 {
        12.92 * light
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 61966-2-1, code to linear.
    #[test]
    fn srgb_codes() {
        for (code, linear) in [
            (0.0, 0.0),
            (10.0, 0.003_035_27),
            (11.0, 0.003_346_54),
            (64.0, 0.051_269_46),
            (128.0, 0.215_860_50),
            (188.0, 0.502_886_46),
            (255.0, 1.0),
        ] {
            assert!(
                (ToneCurve::Srgb.encode(linear) * 255.0 - code).abs() < 1e-4,
                "{code}"
            );
        }
    }

    #[test]
    fn every_curve_rises_from_black_to_white() {
        for curve in [
            ToneCurve::Srgb,
            ToneCurve::Bt709,
            ToneCurve::Gamma(2.2),
            ToneCurve::Contrast(0.3),
        ] {
            let table = curve.table();
            assert_eq!((table[0], table[STEPS as usize]), (0, 255), "{curve:?}");
            assert!(table.windows(2).all(|pair| pair[0] <= pair[1]), "{curve:?}");
        }
    }
}
