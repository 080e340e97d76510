//! Findings about light that is not the same in every frame.

use super::pictures::effect;
use super::{finding, names};
use crate::sweep::sequence::places::median;
use crate::sweep::tracking::balance;
use crate::sweep::{Code, Finding, Severity, SweepMeasurement};

/// Change of light from frame to frame, as a share, that is no lens's own.
const FLICKER: f64 = 0.06;
/// Change of the light of one target against the other over the sweep, as a share, that neither focus nor noise makes: good sweeps of
/// another renderer have up to 0.9 %, under other tone curves 6 %; shadows that move 2.5 to 90 %.
const DRIFT: f64 = 0.02;
/// The same from which it is a warning.
const STRONG_DRIFT: f64 = 0.1;
/// Factor between the light of two targets from which they are unlike: ceiling and tone curve change that of the larger one otherwise.
const UNLIKE: f64 = 1.35;

/// One target's light changes against the other's, frame by frame and not in a single one.
pub(super) fn moving_shadow(sweep: &SweepMeasurement) -> Option<Finding> {
    let sound = sweep.frames.iter().map(|frame| &frame.targets);
    let sound = sound.filter(|targets| !balance::is_burnt(targets));
    let ratios: Vec<f64> = sound
        .filter_map(|targets| balance::log_ratio(targets))
        .collect();
    if ratios.len() < 5 || median(ratios.clone())?.abs() > UNLIKE.ln() {
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

pub(super) fn uneven_exposure(sweep: &SweepMeasurement) -> Option<Finding> {
    // Burnt-out targets gain light as they blur; they say nothing about the exposure.
    let lit: Vec<(usize, f64)> = sweep
        .frames
        .iter()
        .enumerate()
        .filter(|(_, frame)| {
            !frame.targets.is_empty()
                && !balance::is_burnt(&frame.targets)
                && frame.targets.iter().all(|target| target.flux > 0.0)
        })
        .map(|(place, frame)| {
            let flux: f64 = frame.targets.iter().map(|target| target.flux).sum();
            (place, flux.ln())
        })
        .collect();
    if lit.len() < 5 {
        return None;
    }
    // Against the middle of the neighbours, so that the slow change that focusing brings is none.
    let off: Vec<(usize, f64)> = lit
        .iter()
        .enumerate()
        .filter_map(|(k, &(place, own))| {
            let from = k.saturating_sub(2);
            let beside: Vec<f64> = lit[from..(k + 3).min(lit.len())]
                .iter()
                .filter(|other| other.0 != place)
                .map(|other| other.1)
                .collect();
            Some((place, own - median(beside)?))
        })
        .collect();
    let odd: Vec<&(usize, f64)> = off.iter().filter(|(_, o)| o.abs() > FLICKER).collect();
    if odd.len() < 2 && !odd.iter().any(|(_, o)| o.abs() > 3.0 * FLICKER) {
        return None;
    }
    let most = odd.iter().map(|(_, o)| o.abs()).fold(0.0, f64::max);
    Some(finding(
        Code::UnevenExposure,
        Severity::Note,
        format!(
            "The light of the targets changes by up to {:.0} % from one frame to the next, in {} of {} frames. Centres do \
             not move with it, but noise and burnt-out parts change.{} Shoot with manual exposure and steady light.",
            100.0 * (most.exp() - 1.0),
            odd.len(),
            sweep.frames.len(),
            effect(sweep)
        ),
        names(odd.iter().map(|(place, _)| &sweep.frames[*place])),
    ))
}
