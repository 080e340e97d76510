//! The uncertainty budget, JCGM 100:2008: random parts in quadrature, systematic bounds apart.

use crate::measure::Target;
use crate::optics;
use crate::sweep::{Budget, BudgetLine, FrameResult, Part};

/// Parts of a shift's uncertainty that its frame alone doesn't show, as differences between two ways of reading the same
/// pixels, percentage points.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Differences {
    /// Between two windows: background and window choice.
    pub(super) window: f64,
    /// What an uneven background does beyond that.
    pub(super) background: f64,
    /// Between two tone curves.
    pub(super) tone: f64,
    /// What is left of a tilt of the blur by falling light.
    pub(super) shading: f64,
    /// What is left of a stretch of the blur.
    pub(super) warp: f64,
    /// What a cut blur may do.
    pub(super) vignetting: f64,
    /// What is left of the pull of dust.
    pub(super) dust: f64,
    /// What light beside a target may do.
    pub(super) other_light: f64,
    /// What is left of the step of a target that moved.
    pub(super) moved: f64,
    /// Between the two ends from which the order may run.
    pub(super) order: f64,
}

impl Differences {
    /// Their standard uncertainty together.
    #[must_use]
    pub(super) fn u(&self) -> f64 {
        self.window
            .hypot(self.background)
            .hypot(self.tone)
            .hypot(self.shading)
            .hypot(self.warp)
            .hypot(self.vignetting)
            .hypot(self.dust)
            .hypot(self.other_light)
            .hypot(self.moved)
            .hypot(self.order)
    }
}

/// Frames to either side whose differences are looked at together: a difference is a tendency, not one frame's noise.
const BESIDE: usize = 3;

/// The differences of every frame against the reference, as standard uncertainties: half of what two windows differ by, all of
/// what two tone curves do, because cameras bend theirs in more ways than two. Each is the middle one of a few neighbouring frames, because one frame's noise is in its scatter already.
#[must_use]
pub(super) fn differences(frames: &[FrameResult], reference: usize) -> Vec<Differences> {
    let relative = |share: f64, of: fn(&Target) -> f64| -> Vec<f64> {
        let raw: Vec<Option<f64>> = frames
            .iter()
            .map(|frame| {
                let (first, last) = (frame.targets.first()?, frame.targets.last()?);
                Some(100.0 * (of(last) - of(first)) / frame.separation_px?.value)
            })
            .collect();
        let middle: Vec<f64> = (0..raw.len()).map(|at| middle_of(&raw, at)).collect();
        middle
            .iter()
            .map(|value| share * (value - middle[reference]).abs())
            .collect()
    };
    let window = relative(0.5, |target| target.window_change_px);
    let tone = relative(1.0, |target| target.tone_change_px);
    window
        .into_iter()
        .zip(tone)
        .map(|(window, tone)| Differences {
            window,
            tone,
            ..Differences::default()
        })
        .collect()
}

/// The middle one of the known values at and beside a place; 0 where none is known.
fn middle_of(values: &[Option<f64>], at: usize) -> f64 {
    let from = at.saturating_sub(BESIDE);
    let to = (at + BESIDE + 1).min(values.len());
    let mut known: Vec<f64> = values[from..to].iter().flatten().copied().collect();
    known.sort_by(f64::total_cmp);
    known.get(known.len() / 2).copied().unwrap_or(0.0)
}

/// What the bound of the entrance pupil needs to know.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(in crate::sweep) struct Setting {
    /// Focal length, mm.
    pub(in crate::sweep) focal_mm: Option<f64>,
    /// Where the worst frame, or closest focus, is, mm from the sensor plane.
    pub(in crate::sweep) closest_mm: Option<f64>,
    /// Distance to the targets, mm from the sensor plane.
    pub(in crate::sweep) target_mm: Option<f64>,
}

/// Random parts of one shift, percentage points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Noise {
    /// Centres of this frame, as their estimator says.
    pub(super) frame: f64,
    /// The reference.
    pub(super) reference: f64,
    /// All of it together, as the scatter about a smooth curve says.
    pub(super) total: f64,
}

/// The budget of the worst shift, its lines in a fixed order. `bounds` are those beside the entrance pupil's, percentage points, as far as
/// there are any.
#[must_use]
pub(super) fn of(
    noise: Noise,
    differences: Differences,
    setting: Setting,
    bounds: impl IntoIterator<Item = (Part, Option<f64>)>,
) -> Budget {
    let explained = noise.frame.hypot(noise.reference);
    // Where the scatter is smaller than the estimator feared, its word counts for both.
    let share = (noise.total / explained.max(1e-12)).min(1.0);
    let excess = (noise.total * noise.total - explained * explained)
        .max(0.0)
        .sqrt();
    let line = |part, pct| BudgetLine { part, pct };
    let mut systematic = Vec::new();
    if let (Some(focal), Some(closest), Some(target)) =
        (setting.focal_mm, setting.closest_mm, setting.target_mm)
    {
        systematic.push(line(
            Part::EntrancePupil,
            optics::perspective_bound_pct(focal, closest, target),
        ));
    }
    systematic.extend(
        bounds
            .into_iter()
            .filter_map(|(part, pct)| Some(line(part, pct?))),
    );
    let mut random = vec![
        line(Part::CentreNoise, noise.frame * share),
        line(Part::ReferenceNoise, noise.reference * share),
        line(Part::Scatter, excess),
        line(Part::WindowChoice, differences.window),
        line(Part::Background, differences.background),
        line(Part::ToneCurve, differences.tone),
        line(Part::Shading, differences.shading),
        line(Part::WarpedBlur, differences.warp),
        line(Part::VignettedBlur, differences.vignetting),
        line(Part::SensorDust, differences.dust),
        line(Part::OtherLight, differences.other_light),
    ];
    // No uncertainty of a sweep whose targets stayed where they were …
    if differences.moved > 0.0 {
        random.push(line(Part::MovedTarget, differences.moved));
    }
    // … nor of one that came in order.
    if differences.order > 0.0 {
        random.push(line(Part::FrameOrder, differences.order));
    }
    Budget { random, systematic }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn random_lines_add_up_to_the_stated_uncertainty() {
        let noise = Noise {
            frame: 0.001,
            reference: 0.0005,
            total: 0.003,
        };
        let differences = Differences {
            window: 0.002,
            tone: 0.001,
            other_light: 0.003,
            moved: 0.02,
            order: 0.5,
            ..Differences::default()
        };
        for total in [0.003, 0.0004] {
            let noise = Noise { total, ..noise };
            let budget = of(noise, differences, Setting::default(), []);
            let sum = budget
                .random
                .iter()
                .map(|l| l.pct * l.pct)
                .sum::<f64>()
                .sqrt();
            assert!((sum - total.hypot(differences.u())).abs() < 1e-12);
        }
    }

    #[test]
    fn the_pupils_bound_stands_apart() {
        let setting = Setting {
            focal_mm: Some(50.0),
            closest_mm: Some(500.0),
            target_mm: Some(2000.0),
        };
        let noise = Noise {
            frame: 0.0,
            reference: 0.0,
            total: 0.0,
        };
        let budget = of(noise, Differences::default(), setting, []);
        assert_eq!(budget.systematic.len(), 1);
        assert!(!budget.systematic[0].part.is_random());
        assert!(budget.random.iter().all(|line| line.part.is_random()));
        assert!((budget.systematic[0].pct - 0.32).abs() < 0.005);
        assert!(budget.random.iter().all(|line| line.pct.abs() < 1e-15));
    }
}
