//! Findings about light that is not the same in every frame, in the light of the tone curve that explains it best.

use super::pictures::{by_effect, effect};
use super::{finding, names};
use crate::sweep::pulls::tone::Exposures;
use crate::sweep::sequence::places::median;
use crate::sweep::{Code, Finding, Severity, SweepMeasurement};

/// Change of light from frame to frame, as a share, that is no lens's own.
const FLICKER: f64 = 0.06;
/// Change of the light of one target against the other over the sweep, as a share, that neither focus nor noise makes: good sweeps of
/// another renderer have up to 0.9 %; shadows that move 2.5 to 90 %.
const DRIFT: f64 = 0.02;
/// The same from which it is a warning.
const STRONG_DRIFT: f64 = 0.1;
/// Factor between the light of two targets from which they are unlike: ceiling and tone curve change that of the larger one otherwise.
const UNLIKE: f64 = 1.35;
/// Mean square of the steps from frame to frame over the variance from which values come and go instead of drifting: 2 for those that know
/// nothing of each other (von Neumann's ratio, textbook statistics).
const COMES_AND_GOES: f64 = 1.0;

/// Whether values change from one to the next rather than over all of them.
fn come_and_go(values: &[f64]) -> bool {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count;
    let steps = values.windows(2).map(|two| (two[1] - two[0]).powi(2));
    steps.sum::<f64>() / (count - 1.0) > COMES_AND_GOES * variance
}

/// One target's light changes against the other's, frame by frame and not in a single one.
fn moving_shadow(exposures: &Exposures) -> Option<Finding> {
    let lit = exposures.iter().flatten();
    let ratios: Vec<f64> = lit.map(|[left, right]| left - right).collect();
    if ratios.len() < 5 || median(ratios.clone())?.abs() > UNLIKE.ln() || come_and_go(&ratios) {
        return None;
    }
    let middles = ratios.windows(3).filter_map(|three| median(three.to_vec()));
    let (least, most) = middles.fold(
        (f64::INFINITY, f64::NEG_INFINITY),
        |(least, most), ratio| (least.min(ratio), most.max(ratio)),
    );
    let drift = (most - least).exp_m1();
    let severity = if drift > STRONG_DRIFT {
        Severity::Warning
    } else {
        Severity::Note
    };
    (drift > DRIFT).then(|| {
        finding(
            Code::UnevenExposure,
            severity,
            format!(
                "The light of one target against that of the other changes by {:.0} % over the sweep, as where somebody's shadow \
                 moves, or a lamp fades. Light that changes across a blurred target as well pulls its centre to the brighter \
                 side, and the uncertainty holds only what does so in all frames alike. Keep out of the light while shooting, \
                 and shoot again.",
                100.0 * drift
            ),
            Vec::new(),
        )
    })
}

/// The weightier of the two.
pub(super) fn uneven_exposure(sweep: &SweepMeasurement, exposures: &Exposures) -> Option<Finding> {
    let both = [moving_shadow(exposures), flicker(sweep, exposures)];
    both.into_iter()
        .flatten()
        .max_by_key(|finding| finding.severity)
}

/// The light changes from frame to frame: of both targets alike, or, as bands across the picture make it, of each by itself.
fn flicker(sweep: &SweepMeasurement, exposures: &Exposures) -> Option<Finding> {
    let lit: Vec<(usize, [f64; 2])> = exposures
        .iter()
        .enumerate()
        .filter_map(|(place, light)| Some((place, (*light)?)))
        .collect();
    if lit.len() < 5 {
        return None;
    }
    // Against the middle of the neighbours, so that the slow change that focusing brings is none.
    let off = |k: usize, side: usize| {
        let from = k.saturating_sub(2);
        let beside = (from..(k + 3).min(lit.len())).filter(|other| *other != k);
        Some(lit[k].1[side] - median(beside.map(|other| lit[other].1[side]).collect())?)
    };
    let mut odd = Vec::new();
    for (k, (place, _)) in lit.iter().enumerate() {
        let (left, right) = (off(k, 0)?, off(k, 1)?);
        let most = left.abs().max(right.abs());
        if most > FLICKER {
            odd.push((*place, most));
        }
    }
    if odd.len() < 2 && !odd.iter().any(|(_, off)| *off > 3.0 * FLICKER) {
        return None;
    }
    let most = odd.iter().map(|(_, off)| *off).fold(0.0, f64::max);
    let ratios: Vec<f64> = lit.iter().map(|(_, [left, right])| left - right).collect();
    let steps = ratios.windows(2).map(|two| (two[1] - two[0]).abs());
    let is_banded = median(steps.collect())? > DRIFT && come_and_go(&ratios);
    let (severity, what) = if is_banded {
        let what = "and not of both alike: lamps on the mains make such bands across the picture, which lie elsewhere in every frame. \
                    A band across a blurred target pulls its centre.";
        (by_effect(sweep), what)
    } else {
        let what = "Centres do not move with it, but noise and burnt-out parts change.";
        (Severity::Note, what)
    };
    let advice = if is_banded {
        "Shoot by daylight or steady lamps, or expose for whole flashes of the lamps (1/50 or 1/25 s at 50 Hz, 1/60 or 1/30 s at \
         60 Hz), with a mechanical shutter."
    } else {
        "Shoot with manual exposure and steady light."
    };
    Some(finding(
        Code::UnevenExposure,
        severity,
        format!(
            "The light of the targets changes by up to {:.0} % from one frame to the next, in {} of {} frames{} {what}{} {advice}",
            100.0 * most.exp_m1(),
            odd.len(),
            sweep.frames.len(),
            if is_banded { "," } else { "." },
            effect(sweep)
        ),
        names(odd.iter().map(|(place, _)| &sweep.frames[*place])),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What wanders drifts, a step as well; what is another in every frame comes and goes.
    #[test]
    fn drifts_are_told_from_bands() {
        let of = |value: &dyn Fn(f64) -> f64| -> Vec<f64> {
            (0..16).map(|k| value(f64::from(k))).collect()
        };
        let bands = of(&|k| 0.1 * (2.4 * k + 0.3 * k * k).sin());
        assert!(come_and_go(&bands));
        assert!(!come_and_go(&of(&|k| 0.1 * k)));
        assert!(!come_and_go(&of(&|k| f64::from(u8::from(k > 7.0)))));
        assert!(!come_and_go(&of(&|k| (0.4 * k).sin())));
        let exposures = |ratios: &[f64]| ratios.iter().map(|r| Some([*r, 0.0])).collect();
        assert!(moving_shadow(&exposures(&bands)).is_none());
        assert!(moving_shadow(&exposures(&of(&|k| 0.01 * k))).is_some());
    }
}
