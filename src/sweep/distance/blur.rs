//! Focus distances from the blur of the targets: an estimate that needs closest focus and target distance only.
//!
//! Seen from the entrance pupil (diameter A, at p in front of the sensor plane) a target at D blurs to the angle
//! β = A·|1/(D−p) − 1/(u−p)|. In the picture, divided by its scale s, that is r = 4·√(v − v_min) with v = σ²/s²; the
//! ratio ρ = r/r_last to the last frame, at infinity, knows neither A nor the pixel pitch: (D−p)/(u−p) = 1 + ρ on the
//! near side of the targets and 1 − ρ beyond them. The first frame, at closest focus u₀, gives p = (u₀(1+ρ₀) − D)/ρ₀.

use super::known::Known;
use crate::sweep::fitting::smooth::Smooth;
use crate::sweep::sequence::places::Places;
use crate::units::Measured;

/// Blur at the last frame below which nothing is estimated, px.
const LEAST_LAST_BLUR_PX: f64 = 8.0;
/// Half-widths of the band (k = 2), as shares of the dioptres: nearer than the targets, up to 1.5 times their distance,
/// beyond. Through real lenses with aberrations the estimate is off by as much.
const BANDS: [f64; 3] = [0.05, 0.10, 0.25];
/// The same where targets are burnt out, by a stop or less: rendered sweeps were off by 0.02 to 0.18 of the dioptres.
const BURNT_OUT: f64 = 0.15;
/// Reciprocal distance from the pupil, 1/m, that must be left at the last frame, whatever the pupil's place, before it is
/// said not to be at infinity: 12 m.
const CLEARLY_SHORT_PER_M: f64 = 0.08;

/// Blur of one measured frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) struct Spread {
    /// Which frame of the sweep.
    pub(in crate::sweep) place: usize,
    /// Mean second moment of the targets over the square of the picture's scale, px².
    pub(in crate::sweep) variance: Measured,
}

/// How the blur runs through a sweep.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::sweep) struct BlurCourse {
    /// Frame and blur, px at the scale of the reference: positive nearer than the targets, negative beyond.
    pub(in crate::sweep) signed: Vec<(usize, Measured)>,
    /// Where the targets are sharpest, counted in frames from the first; between two, a fraction.
    pub(in crate::sweep) sharpest: f64,
    /// Second moment of the sharp targets, px².
    pub(in crate::sweep) sharp_variance: f64,
}

/// The blur of a sweep's frames by sign and size; `None` when the targets are sharpest in its first frame, so that nothing
/// shows their sharp width. A sweep that ends at the targets is sharpest in its last frame.
#[must_use]
pub(in crate::sweep) fn course_along(spreads: &[Spread], places: &Places) -> Option<BlurCourse> {
    let points: Vec<(f64, f64, f64)> = spreads
        .iter()
        .map(|s| {
            let u = s.variance.std_error.max(1e-4 * s.variance.value);
            (places.at(s.place), s.variance.value, u)
        })
        .collect();
    if points.len() < 5 {
        return None;
    }
    let smooth = Smooth::through(&points)?;
    let (first, last) = (points[0].0, points[points.len() - 1].0);
    let steps = (points.len() - 1) * 40;
    let along = |k: usize| first + (last - first) * k as f64 / steps as f64;
    let lowest = (0..=steps).min_by(|&a, &b| {
        let (a, b) = (smooth.predict(along(a)).0, smooth.predict(along(b)).0);
        a.total_cmp(&b)
    })?;
    let sharpest = along(lowest);
    if sharpest - first < 0.5 {
        return None;
    }
    let (sharp, u_sharp) = smooth.predict(sharpest);
    let raw: Vec<(f64, f64, f64)> = points
        .iter()
        .enumerate()
        .map(|(k, &(place, variance, _))| {
            let excess = (variance - sharp).max(0.0);
            let u = smooth.noise(k).hypot(u_sharp).max(1e-9);
            let blur = 4.0 * excess.sqrt();
            let u_blur = if excess > 2.0 * u {
                8.0 * u / blur
            } else {
                4.0 * u.sqrt()
            };
            let sign = if place < sharpest { 1.0 } else { -1.0 };
            (place, sign * blur, u_blur)
        })
        .collect();
    // Near the sharpest frame the root of a small difference is all noise; there the curve knows better.
    let curve = Smooth::through(&raw)?;
    let signed = spreads
        .iter()
        .zip(&raw)
        .enumerate()
        .map(|(k, (spread, &(_, blur, u)))| {
            let own = Measured::new(blur, u);
            let smoothed = Measured::new(curve.fitted[k], curve.u(k));
            let blur = if smoothed.std_error < 0.5 * own.std_error {
                smoothed
            } else {
                own
            };
            (spread.place, blur)
        })
        .collect();
    Some(BlurCourse {
        signed,
        sharpest: places.frame_at(sharpest),
        sharp_variance: sharp,
    })
}

/// What the blur says about the last frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) enum LastFrame {
    /// Nothing speaks against infinity.
    Infinity,
    /// It is nearer than infinity whatever the pupil's place; about so many dioptres.
    Short(f64),
    /// Closest focus, target distance and blur can't all be right.
    Contradiction,
}

/// Distances from blur.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::sweep) struct FromBlur {
    /// Place in the sweep and focus setting, dioptres, with the standard uncertainty that goes with the band.
    pub(in crate::sweep) dioptres: Vec<(usize, Measured)>,
    /// What the blur says about the last frame.
    pub(in crate::sweep) last: LastFrame,
    /// How far short of infinity the last frame would be if the pupil were one focal length before the sensor, where it is taken
    /// for infinity, dioptres; 0 where it can't be.
    pub(in crate::sweep) open_dioptres: f64,
}

impl FromBlur {
    /// The same where targets are burnt out: the light that is cut off is missing from the middle of sharp and blurred targets in
    /// unlike shares.
    #[must_use]
    pub(in crate::sweep) fn of_burnt_out_targets(mut self) -> Self {
        for (_, setting) in &mut self.dioptres {
            setting.std_error = setting.std_error.hypot(BURNT_OUT / 2.0 * setting.value);
        }
        self
    }
}

/// Estimates the focus setting of every frame; `None` when the last frame's blur is too small to tell, or the set-up is
/// impossible. The first and the last of `course.signed` have to be the first and the last frame of the sweep.
#[must_use]
pub(in crate::sweep) fn estimate(course: &BlurCourse, known: Known) -> Option<FromBlur> {
    let (first, last) = (
        course.signed.first()?.1.value,
        course.signed.last()?.1.value,
    );
    let (closest, target) = (known.closest_m, known.target_m);
    let last = -last.min(0.0);
    if first <= 0.0 || target <= closest {
        return None;
    }
    let (_, highest) = known.pupil_range_m();
    // With the pupil as far forward as it may be, this much blur is due at infinity.
    let due = first * (closest - highest) / (target - closest);
    let end = if due < LEAST_LAST_BLUR_PX {
        LastFrame::Infinity
    } else {
        last_frame(first, last, known)
    };
    if end == LastFrame::Infinity && last < LEAST_LAST_BLUR_PX {
        return None;
    }
    let pupil = closest - (target - closest) * last / first;
    // Where the last frame is not at infinity, the pupil's place is taken from the lens and the first frame gives the scale.
    let (pupil, scale) = match end {
        LastFrame::Infinity => (pupil, last),
        LastFrame::Short(_) | LastFrame::Contradiction => {
            let nominal = known.nominal_pupil_m();
            let per_unit = (target - nominal) / (closest - nominal) - 1.0;
            (nominal, first / per_unit)
        }
    };
    let open = match end {
        LastFrame::Infinity => known
            .last_dioptres(first, last, known.nominal_pupil_m())
            .unwrap_or(0.0),
        LastFrame::Short(_) | LastFrame::Contradiction => 0.0,
    };
    let dioptres = course
        .signed
        .iter()
        .map(|&(place, blur)| {
            let ratio = 1.0 + blur.value / scale;
            let setting = if ratio > 1e-9 {
                1.0 / (pupil + (target - pupil) / ratio)
            } else {
                0.0
            };
            let band = if setting > 1.0 / target {
                BANDS[0]
            } else if setting > 1.0 / (1.5 * target) {
                BANDS[1]
            } else {
                BANDS[2]
            };
            // du/dβ of the formula, for the noise of the blur itself.
            let noise =
                blur.std_error / scale * (target - pupil) * (setting / ratio.max(0.05)).powi(2);
            // All of it at infinity, nothing at closest focus; anything between is as likely.
            let assumed = open * (1.0 - setting * closest).max(0.0) / 3.0_f64.sqrt();
            let u = (band / 2.0 * setting).hypot(noise).hypot(assumed);
            (place, Measured::new(setting.max(0.0), u))
        })
        .collect();
    Some(FromBlur {
        dioptres,
        last: end,
        open_dioptres: open,
    })
}

/// Whether the last frame may be at infinity, from the blur (px) of the first and the last frame.
fn last_frame(first: f64, last: f64, known: Known) -> LastFrame {
    let (lowest, highest) = known.pupil_range_m();
    if known.last_per_m(first, last, highest) > CLEARLY_SHORT_PER_M {
        let short = known.last_dioptres(first, last, known.nominal_pupil_m());
        let short = short.unwrap_or(0.0);
        return if known.is_blurred_as_infinity(last, short) {
            LastFrame::Contradiction
        } else {
            LastFrame::Short(short)
        };
    }
    if known.last_per_m(first, last, lowest) < -CLEARLY_SHORT_PER_M {
        return LastFrame::Contradiction;
    }
    LastFrame::Infinity
}

#[cfg(test)]
mod tests {
    use super::*;

    fn course(spreads: &[Spread]) -> Option<BlurCourse> {
        course_along(spreads, &Places::in_order(spreads.len()))
    }

    /// Blur of an ideal pupil in 36 frames evenly spaced in dioptres, and the true settings.
    fn ideal(closest: f64, last: f64, target: f64, pupil: f64) -> (Vec<Spread>, Vec<f64>) {
        let truth: Vec<f64> = (0..36)
            .map(|i| 1.0 / closest + (last - 1.0 / closest) * f64::from(i) / 35.0)
            .collect();
        let spreads = truth
            .iter()
            .enumerate()
            .map(|(place, &d)| {
                let focused = if d > 0.0 {
                    1.0 / (1.0 / d - pupil)
                } else {
                    0.0
                };
                let blur = 70.0 * (focused - 1.0 / (target - pupil));
                Spread {
                    place,
                    variance: Measured::new(230.0 + blur * blur / 16.0, 0.02),
                }
            })
            .collect();
        (spreads, truth)
    }

    fn known(closest_m: f64, focal_m: f64) -> Known {
        Known {
            closest_m,
            target_m: 2.0,
            focal_m: Some(focal_m),
            far_blur_px: None,
        }
    }

    #[test]
    fn an_ideal_pupil_gives_its_distances_back() {
        for (focal, closest, pupil) in [(0.05, 0.5, 0.05), (0.085, 0.85, 0.12), (0.105, 1.05, 0.0)]
        {
            let (spreads, truth) = ideal(closest, 0.0, 2.0, pupil);
            let course = course(&spreads).expect("sharp inside");
            let found = estimate(&course, known(closest, focal)).expect("enough blur");
            assert_eq!(found.last, LastFrame::Infinity);
            for (place, setting) in found.dioptres {
                // Half a per cent of the range: the minimum is found between frames.
                assert!(
                    (setting.value - truth[place]).abs() < 0.005 / closest,
                    "{focal} {place}: {setting:?} {}",
                    truth[place]
                );
            }
        }
    }

    #[test]
    fn a_sweep_that_ends_at_three_metres_is_caught() {
        for (focal, closest) in [(0.05, 0.5), (0.085, 0.85), (0.105, 1.05)] {
            let (spreads, truth) = ideal(closest, 1.0 / 3.0, 2.0, focal);
            let course = course(&spreads).expect("sharp inside");
            let found = estimate(&course, known(closest, focal)).expect("enough blur");
            let LastFrame::Short(left) = found.last else {
                panic!("{focal}: {:?}", found.last);
            };
            assert!((left - 1.0 / 3.0).abs() < 0.03, "{left}");
            assert!(
                found
                    .dioptres
                    .iter()
                    .all(|(place, d)| (d.value - truth[*place]).abs() < 0.02)
            );
        }
    }

    /// A pupil farther forward shows the same as a sweep that ends short of infinity: what that leaves open is in the uncertainty.
    #[test]
    fn an_end_beyond_eight_metres_is_left_open() {
        for (focal, closest) in [(0.05, 0.5), (0.085, 0.85)] {
            for end in [8.0, 12.0, 20.0] {
                let (spreads, truth) = ideal(closest, 1.0 / end, 2.0, focal);
                let course = course(&spreads).expect("sharp inside");
                let found = estimate(&course, known(closest, focal)).expect("enough blur");
                assert_eq!(found.last, LastFrame::Infinity, "{focal} {end}");
                assert!(
                    (found.open_dioptres - 1.0 / end).abs() < 0.02,
                    "{focal} {end}"
                );
                for (place, setting) in found.dioptres {
                    let off = (setting.value - truth[place]).abs();
                    assert!(
                        off < 2.0 * setting.std_error + 0.01,
                        "{focal} {end} {place}"
                    );
                }
            }
        }
    }

    #[test]
    fn too_little_blur_is_refused() {
        let (mut spreads, _) = ideal(0.85, 0.0, 2.0, 0.085);
        for spread in &mut spreads {
            spread.variance.value = 230.0 + (spread.variance.value - 230.0) / 30.0;
        }
        let course = course(&spreads).expect("sharp inside");
        assert_eq!(estimate(&course, known(0.85, 0.085)), None);
    }

    #[test]
    fn a_sweep_that_ends_at_the_targets_is_short_too() {
        let (spreads, _) = ideal(0.85, 0.55, 2.0, 0.085);
        let course = course(&spreads).expect("sharp at the end");
        let found = estimate(&course, known(0.85, 0.085)).expect("enough blur at the first frame");
        assert!(matches!(found.last, LastFrame::Short(left) if (left - 0.5).abs() < 0.03));
    }

    #[test]
    fn targets_nearer_than_closest_focus_give_no_course() {
        let (spreads, _) = ideal(0.85, 0.0, 0.7, 0.085);
        assert_eq!(course(&spreads), None);
    }

    #[test]
    fn a_wrong_closest_focus_is_a_contradiction() {
        // Said 0.5 m, but the first frame was at 0.85 m.
        let (spreads, _) = ideal(0.85, 0.0, 2.0, 0.085);
        let course = course(&spreads).expect("sharp inside");
        let found = estimate(&course, known(0.5, 0.085)).expect("enough blur");
        assert_eq!(found.last, LastFrame::Contradiction);
    }
}
