//! The exact light of a rectangle under the out-of-focus image of a pupil, sampled by square pixels.
//!
//! Rectangle * pixel * run has a closed form across (see `disc`); down, rectangle * pixel * strip height has the same.

use super::disc::BlurDisc;

/// A rectangle, px; an edge at 9.5 lies between columns 9 and 10.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rect {
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) top: f64,
    pub(super) bottom: f64,
}

/// A piece of picture with light to be added at a place that may reach over the frame.
#[derive(Debug, Clone)]
pub(super) struct Piece {
    pub(super) left: i64,
    pub(super) top: i64,
    pub(super) width: usize,
    pub(super) light: Vec<f32>,
}

/// Pieces are not drawn larger than this a side, px; an absurd script gets a dark picture instead of no memory.
const LARGEST_PIECE_PX: f64 = 8192.0;

/// Nor farther out than this, px.
const FARTHEST_PX: f64 = 1e6;

impl Piece {
    /// The light of equally bright rectangles under a blur disc and a Gaussian softness, for pixels of side 1.
    pub(super) fn of_rectangles(
        rects: &[Rect],
        level: f64,
        disc: &BlurDisc,
        softness: f64,
    ) -> Self {
        let margin = disc.radius + 1.0 + (softness * 4.0).ceil();
        let fold = |pick: fn(&Rect) -> f64, choose: fn(f64, f64) -> f64| {
            rects.iter().map(pick).reduce(choose).unwrap_or(0.0)
        };
        let left = (fold(|r| r.left, f64::min) - margin).floor();
        let top = (fold(|r| r.top, f64::min) - margin).floor();
        let width = (fold(|r| r.right, f64::max) + margin).ceil() - left + 1.0;
        let height = (fold(|r| r.bottom, f64::max) + margin).ceil() - top + 1.0;
        let sane = |side: f64| side.is_finite() && side <= LARGEST_PIECE_PX;
        let (width, height) =
            if sane(width) && sane(height) && left.abs().max(top.abs()) < FARTHEST_PX {
                (width as usize, height as usize)
            } else {
                (0, 0)
            };
        let mut piece = Self {
            left: left as i64,
            top: top as i64,
            width,
            light: vec![0.0; width * height],
        };
        for rect in rects {
            piece.add(rect, level, disc);
        }
        if softness > 0.0 {
            piece.soften(softness);
        }
        piece
    }

    fn add(&mut self, rect: &Rect, level: f64, disc: &BlurDisc) {
        if self.light.is_empty() {
            return;
        }
        let height = self.light.len() / self.width;
        let mut across = vec![0.0_f32; self.width];
        for strip in &disc.strips {
            let (above, below) = (
                strip.middle - disc.strip_height / 2.0,
                strip.middle + disc.strip_height / 2.0,
            );
            let place = |edge: f64, origin: i64| edge - origin as f64;
            let columns = span(
                place(rect.left + strip.left, self.left),
                place(rect.right + strip.right, self.left),
                self.width,
            );
            for i in columns.clone() {
                let x = (self.left + i as i64) as f64;
                across[i] = covered(x, strip.left, strip.right, rect.left, rect.right) as f32;
            }
            let rows = span(
                place(rect.top + above, self.top),
                place(rect.bottom + below, self.top),
                height,
            );
            for j in rows {
                let y = (self.top + j as i64) as f64;
                let down = covered(y, above, below, rect.top, rect.bottom);
                let factor = (down * level * disc.density) as f32;
                let row = &mut self.light[j * self.width..(j + 1) * self.width];
                for (light, share) in row[columns.clone()]
                    .iter_mut()
                    .zip(&across[columns.clone()])
                {
                    *light += factor * share;
                }
            }
        }
    }

    /// Convolves with a sampled Gaussian; below a standard deviation of 0.3 px it stays as it is.
    fn soften(&mut self, sigma: f64) {
        if sigma < 0.3 || self.light.is_empty() {
            return;
        }
        let reach = (sigma * 4.0).ceil() as usize;
        let weight = |i: usize| (-((i as f64 / sigma).powi(2)) / 2.0).exp();
        let total = weight(0) + 2.0 * (1..=reach).map(weight).sum::<f64>();
        let weights: Vec<f32> = (0..=reach).map(|i| (weight(i) / total) as f32).collect();
        let (width, height) = (self.width, self.light.len() / self.width);
        let mut rows = vec![0.0_f32; self.light.len()];
        for (out, row) in rows.chunks_mut(width).zip(self.light.chunks(width)) {
            for offset in -(reach as i64)..=reach as i64 {
                let share = weights[offset.unsigned_abs() as usize];
                let (from, to) = shifted_range(offset, width);
                for (sum, light) in out[to].iter_mut().zip(&row[from]) {
                    *sum += share * light;
                }
            }
        }
        self.light.fill(0.0);
        for offset in -(reach as i64)..=reach as i64 {
            let share = weights[offset.unsigned_abs() as usize];
            let (from, to) = shifted_range(offset, height);
            for (source, target) in from.zip(to) {
                let row = &rows[source * width..(source + 1) * width];
                for (sum, light) in self.light[target * width..(target + 1) * width]
                    .iter_mut()
                    .zip(row)
                {
                    *sum += share * light;
                }
            }
        }
    }
}

/// Where things go when they move by `offset` inside `length`: the source and the target range.
fn shifted_range(offset: i64, length: usize) -> (std::ops::Range<usize>, std::ops::Range<usize>) {
    let by = (offset.unsigned_abs() as usize).min(length);
    if offset < 0 {
        (by..length, 0..length - by)
    } else {
        (0..length - by, by..length)
    }
}

/// Pixels that light from `low` to `high` can reach.
fn span(low: f64, high: f64, length: usize) -> std::ops::Range<usize> {
    let start = (low - 0.5).floor().clamp(0.0, length as f64) as usize;
    let end = ((high + 0.5).ceil() + 1.0).clamp(start as f64, length as f64) as usize;
    start..end
}

/// Integral over the run from `a` to `b` of the share of the pixel at `x − t` that the interval `from`..`to` covers.
fn covered(x: f64, a: f64, b: f64, from: f64, to: f64) -> f64 {
    ramp(x - a - from) - ramp(x - b - from) - ramp(x - a - to) + ramp(x - b - to)
}

/// Integral of the share of a pixel at z that lies above 0: 0, then (z+½)²/2, then z.
fn ramp(z: f64) -> f64 {
    if z <= -0.5 {
        0.0
    } else if z >= 0.5 {
        z
    } else {
        (z + 0.5) * (z + 0.5) / 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::super::breathing::Pupil;
    use super::*;

    struct Moments {
        sum: f64,
        x: f64,
        y: f64,
        xx: f64,
        yy: f64,
    }

    fn moments(piece: &Piece) -> Moments {
        let at = |i: usize| {
            (
                (piece.left + (i % piece.width) as i64) as f64,
                (piece.top + (i / piece.width) as i64) as f64,
            )
        };
        let total = |f: &dyn Fn(f64, f64) -> f64| -> f64 {
            piece
                .light
                .iter()
                .enumerate()
                .map(|(i, l)| f64::from(*l) * f(at(i).0, at(i).1))
                .sum()
        };
        let sum = total(&|_, _| 1.0);
        let (x, y) = (total(&|x, _| x) / sum, total(&|_, y| y) / sum);
        Moments {
            sum,
            x,
            y,
            xx: total(&|px, _| (px - x) * (px - x)) / sum,
            yy: total(&|_, py| (py - y) * (py - y)) / sum,
        }
    }

    fn square(side: f64, x: f64, y: f64) -> Rect {
        Rect {
            left: x - side / 2.0,
            right: x + side / 2.0,
            top: y - side / 2.0,
            bottom: y + side / 2.0,
        }
    }

    /// The fixture of a 20 px square under a disc of 12 px and a Gaussian of 0.7 px at (47.8, 47.3): second moment
    /// 20²/12 + 12²/16 + 0.49 + 1/12 = 42.907 px² per axis, light conserved.
    #[test]
    fn square_under_disc_and_gaussian_has_the_known_moments() {
        let disc = BlurDisc::new(&Pupil::default(), 12.0, (0.0, 0.0));
        let m = moments(&Piece::of_rectangles(
            &[square(20.0, 47.8, 47.3)],
            1.0,
            &disc,
            0.7,
        ));
        assert!(
            (m.x - 47.8).abs() < 1e-4 && (m.y - 47.3).abs() < 1e-4,
            "{} {}",
            m.x,
            m.y
        );
        assert!((m.sum - 400.0).abs() < 0.01, "{}", m.sum);
        // f32 sums and 160 strips: 1e-4 of the disc's 9 px².
        assert!(
            (m.xx - 42.907).abs() < 0.003 && (m.yy - 42.907).abs() < 0.003,
            "{} {}",
            m.xx,
            m.yy
        );
    }

    /// Variance added by an n-bladed pupil relative to its circumscribed circle (c²/16): (2 + cos 2π/n)/3.
    #[test]
    fn bladed_pupils_have_the_known_second_moments() {
        for (blades, factor) in [
            (None, 1.0),
            (Some(5), 0.770),
            (Some(6), 0.833),
            (Some(7), 0.874),
            (Some(8), 0.902),
            (Some(9), 0.922),
        ] {
            for signed_px in [-80.0, 30.0, 240.0] {
                let pupil = Pupil {
                    blades,
                    rotation_deg: 11.0,
                    ..Pupil::default()
                };
                let disc = BlurDisc::new(&pupil, signed_px, (0.0, 0.0));
                let m = moments(&Piece::of_rectangles(
                    &[square(10.0, 0.3, -0.2)],
                    1.0,
                    &disc,
                    0.0,
                ));
                let disc_variance = signed_px * signed_px / 16.0;
                let got = ((m.xx + m.yy) / 2.0 - 100.0 / 12.0 - 1.0 / 12.0) / disc_variance;
                // The factors are printed to three digits.
                assert!((got - factor).abs() < 6e-4, "{blades:?} {signed_px}: {got}");
                assert!(
                    (m.x - 0.3).abs() < 2e-3 && (m.y + 0.2).abs() < 2e-3,
                    "{} {}",
                    m.x,
                    m.y
                );
                assert!((m.sum - 100.0).abs() < 0.01, "{}", m.sum);
            }
        }
    }

    /// A barrel seen displaced to the right cuts the left of an upright pupil; the other side of focus, the right.
    #[test]
    fn cats_eye_pulls_the_centre_and_turns_over_at_focus() {
        let pupil = Pupil {
            vignetting: 0.3,
            ..Pupil::default()
        };
        let pulled = |signed_px: f64| {
            let disc = BlurDisc::new(&pupil, signed_px, (0.8, 0.0));
            moments(&Piece::of_rectangles(
                &[square(20.0, 0.0, 0.0)],
                1.0,
                &disc,
                0.0,
            ))
        };
        let (far, near) = (pulled(60.0), pulled(-60.0));
        assert!(
            far.x > 5.0 && (far.x + near.x).abs() < 1e-3,
            "{} {}",
            far.x,
            near.x
        );
        assert!(far.y.abs() < 1e-3);
        assert!(
            far.sum < 300.0,
            "a cut pupil lets less light through: {}",
            far.sum
        );
    }
}
