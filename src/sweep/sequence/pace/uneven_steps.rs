//! Steps that are uneven, though the blur is too coarse an axis to say where the frames stand.

use super::super::places::{Places, SPEAK_AGAINST};
use super::super::unseen::known_moments;
use super::Series;
use crate::sweep::fitting::smooth::Smooth;

/// Part of the largest blur below which the root of a second moment is too noisy to be weighed.
const SHARP_PART: f64 = 0.15;
/// Fewest frames that can show it.
const FEWEST: usize = 8;

/// One frame beside two curves along even steps.
#[derive(Debug, Clone, Copy)]
struct Beside {
    frame: usize,
    /// How far its separation lies off, px.
    separation: f64,
    /// Standard uncertainty of the separation, px.
    u: f64,
    /// How far it would lie off if the frame stood as far off its place as its blur does, px.
    by_blur: f64,
}

/// Whether separation and blur lie off their own smooth curves along even steps in the same frames and by as much as one
/// and the same unevenness makes of either: noise of the separation knows nothing of the blur. It takes more than one frame,
/// because one in which something else was measured is off in both.
pub(super) fn show(places: &Places, separations: &Series, moments: &Series) -> bool {
    let Some(all) = beside(places, separations, moments) else {
        return false;
    };
    let off = |frame: &Beside| frame.separation.abs();
    let roughest = all.iter().max_by(|a, b| off(a).total_cmp(&off(b)));
    let mut others = separations.to_vec();
    if let Some(roughest) = roughest {
        others[roughest.frame] = None;
    }
    let without = beside(places, &others, moments).map_or(0.0, |frames| speak(&frames));
    speak(&all).min(without) > SPEAK_AGAINST
}

/// Twice the logarithm of the likelihood ratio for what the blur says against nothing; 0 where it says the contrary. What lies
/// nearer to the curve than is stated is a bend of both curves, and says nothing.
fn speak(frames: &[Beside]) -> f64 {
    let sum = |of: fn(&Beside) -> f64| frames.iter().map(of).sum::<f64>();
    let both = sum(|f| f.separation * f.by_blur);
    let scatter = sum(|f| f.separation.powi(2)).max(sum(|f| f.u.powi(2)));
    let explained = both * both / (scatter * sum(|f| f.by_blur.powi(2)));
    if both > 0.0 && explained.is_finite() {
        -(frames.len() as f64) * (1.0 - explained).max(1e-9).ln()
    } else {
        0.0
    }
}

fn beside(places: &Places, separations: &Series, moments: &Series) -> Option<Vec<Beside>> {
    let (known, sharpest) = known_moments(moments)?;
    let (sharp_frame, sharp) = known[sharpest];
    let size = |moment: f64| (moment - sharp).max(0.0).sqrt();
    let largest = known.iter().map(|k| size(k.1)).fold(0.0, f64::max);
    let (mut seen, mut lengths, mut blurs) = (Vec::new(), Vec::new(), Vec::new());
    for &(frame, moment) in &known {
        let (Some((separation, u)), Some((_, u_moment))) = (separations[frame], moments[frame])
        else {
            continue;
        };
        let blur = size(moment);
        if blur <= SHARP_PART * largest {
            continue;
        }
        let signed = if frame > sharp_frame { blur } else { -blur };
        seen.push(frame);
        lengths.push((places.at(frame), separation, u));
        blurs.push((
            places.at(frame),
            signed,
            (u_moment / (2.0 * blur)).max(1e-9),
        ));
    }
    if lengths.len() < FEWEST {
        return None;
    }
    let (length, blur) = (Smooth::stiff(&lengths)?, Smooth::stiff(&blurs)?);
    let slope = |curve: &Smooth, x: f64| curve.predict(x + 0.5).0 - curve.predict(x - 0.5).0;
    let frames = lengths.iter().zip(&blurs).enumerate();
    let frames = frames.map(|(k, (l, b))| Beside {
        frame: seen[k],
        separation: l.1 - length.fitted[k],
        u: l.2,
        by_blur: (b.1 - blur.fitted[k]) * slope(&length, l.0) / slope(&blur, b.0),
    });
    Some(frames.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    /// A hand that turns by ear: steps up to a third too long or too short, and a blur that is known to a fifth of a step. The
    /// order is no worse an axis than the blur, but both say that the steps are uneven. Noise of the separations alone does not,
    /// nor one frame in which something else was measured.
    #[test]
    fn uneven_steps_show_in_separation_and_blur_together() {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(5);
        let mut off = |most: f64| random.random_range(-most..most);
        let even: Vec<f64> = (0..24).map(|k| 2.4 - 0.1 * f64::from(k)).collect();
        let uneven: Vec<f64> = even.iter().map(|d| d + off(0.033)).collect();
        let blurred: Vec<f64> = uneven.iter().map(|d| d + off(0.02)).collect();
        let separations = |settings: &[f64]| -> Vec<Option<(f64, f64)>> {
            let of = |d: &f64| 1500.0 + 18.0 * d + 2.0 * d * d;
            settings.iter().map(|d| Some((of(d), 0.005))).collect()
        };
        let moments_of = |settings: &[f64]| -> Vec<Option<(f64, f64)>> {
            let of = |d: &f64| 40.0 + (30.0 * (d - 1.3)).powi(2);
            settings.iter().map(|d| Some((of(d), 0.5))).collect()
        };
        let places = Places::in_order(24);
        assert!(show(&places, &separations(&uneven), &moments_of(&blurred)));
        // The same separations beside the blur of even steps: their scatter is their own.
        let mut others = separations(&uneven);
        assert!(!show(&places, &others, &moments_of(&even)));
        others = separations(&even);
        let mut one = even.clone();
        one[3] += 0.5;
        others[3] = separations(&one)[3];
        assert!(!show(&places, &others, &moments_of(&one)));
    }
}
