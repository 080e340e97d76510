//! Sub-pixel centre, width and their uncertainty in a window that follows the blur.
//!
//! The centre is the centre of mass of the light above the background in a round window, x = Σ x·I / Σ I. Under
//! convolution with any blur that has its own centre of mass at 0 it stays where it is, whatever the shape of the tape
//! or of the pupil; no fit to a shape promises that. The window holds all of the light: it reaches as far as the
//! target's light does ([`Profile`]) and `MARGIN_PX` beyond.
//!
//! Standard uncertainty (JCGM 100:2008, 5.1): with Var(I) the effective variance of a pixel ([`Noise`]) and b the slope
//! of the background, u²(x) = (Σ (x−x₀)²·Var(I) + (Σ (x−x₀)²)²·u²(b)) / (Σ I)².

use super::background::Tilt;
use super::beside;
use super::edges::{self, Estimate};
use super::empty::{self, Laid};
use super::foreign::mask;
use super::frame_edge::{clipped, inside};
use super::levers::{Levers, Rim};
use super::luminance::{Patch, slope_at};
use super::moments::{Moments, sparse_rows};
use super::noise::Noise;
use super::profile::Profile;
use super::reduced::Reduced;
use super::ring::Ring;
use super::spots::{self, Blur};
use super::toned::{self, Around};
use super::{Flag, Lean, Plane, Target, Unmeasurable};
use crate::units::Measured;

/// What the window holds beyond the support, px: optical and pixel softness below the profile's threshold.
const MARGIN_PX: f64 = 6.0;
/// The same as a part of the support: corners of long tape.
const MARGIN_PART: f64 = 0.05;
/// Least width of the ring that the background is taken from, px.
const LEAST_RING_PX: f64 = 16.0;
/// Width of that ring in window radii.
const RING_PART: f64 = 0.5;
/// How much wider the other plausible window is, px.
const WIDER_PX: f64 = 2.0;
/// Rounds of locating, and of centring.
const ROUNDS: usize = 12;
/// Flux over its standard error below which a target can't be trusted.
const LEAST_SNR: f64 = 12.0;
/// Flux over its standard error below which a target is called faint.
const FAINT_SNR: f64 = 60.0;
/// Part of the target's light that other things in its window may have before it is called crowded.
const CROWDED_PART: f64 = 0.01;

/// Standard uncertainty that rounding adds where a sharp straight edge lies along the pixel grid, px at a step of one
/// code: all pixels of such an edge are rounded alike, so their errors don't average out. Grows with the root of the
/// step. From simulation of sharp squares in all phases, 8-bit and JPEG 80 to 92.
const EDGE_ROUNDING_PX: f64 = 0.002;

/// Part of the light that burnt-out pixels must hold for a target to be called saturated.
const BURNT_PART: f64 = 0.05;
/// Part of the peak above which a pixel that is not burnt out belongs to the rim.
const RIM_PART: f64 = 0.1;
/// Standard uncertainty of the centre where a burnt-out target's rim is one pixel wide, px: what is cut off at the
/// ceiling takes the place of the edge within the pixel with it. A rim twice as wide shows the edge four times as well.
/// From simulation of squares up to three stops over.
const BURNT_EDGE_PX: f64 = 0.05;

/// Skewness that JPEG lends to the light of a target where it drops the faint ends of its rim, per square of its rounding step
/// in codes: alike in all frames, so no noise shows it. From simulation, quality 60 to 72, blur 60 to 200 px.
const JPEG_SKEWNESS: f64 = 4e-5;

/// Skewness along x and y above which the light is called lopsided, if it is as many times its standard uncertainty. Torn
/// tape stays below both in simulated sweeps; what lies across the line of the targets matters only where it is much.
const LEAN: (f64, f64) = (0.07, 0.15);
/// See `LEAN`.
const LEAN_SIGMA: f64 = 5.0;

/// Where a target is, roughly, and how far its light reaches.
struct Located {
    centre: (f64, f64),
    support: f64,
}

/// How much wider than a map the one that its support asks for may be, where the support goes by the map's noise.
const WIDE_ENOUGH: f64 = 1.02;

/// Factors on the radius that the light is looked for in, in this order: the guess first, then what it may have missed
/// by, for a place pointed at by hand.
const SCALES: [f64; 4] = [1.0, 2.0, 4.0, 8.0];

/// Follows the light from a first guess until centre and support stand still.
fn locate(plane: &Plane, place: (f64, f64), variance: f64, scale: f64) -> Option<Located> {
    let longest = f64::from(plane.width().max(plane.height()));
    let mut centre = place;
    let guess = 1.7 * (2.5 * variance.max(0.1).sqrt() + MARGIN_PX);
    let mut radius = (scale * guess).min(longest);
    let mut last = None;
    for _ in 0..ROUNDS {
        let profile = Profile::of(plane, centre, radius, false)?;
        if profile.peak <= 0.0 || profile.seen < 0.2 {
            return None;
        }
        let Some(support) = profile.support else {
            if radius >= longest {
                return None;
            }
            radius = (radius * 1.5).min(longest);
            // Light that goes on pulls the centre only when it is known to end.
            continue;
        };
        let step = (profile.centre.0 - centre.0).hypot(profile.centre.1 - centre.1);
        centre = profile.centre;
        let next = (1.7 * (support + MARGIN_PX)).min(longest);
        // Where noise says where the light ends, its map has to be wide enough for the noise to be nothing else.
        let most = if profile.by_noise { WIDE_ENOUGH } else { 1.15 };
        let settled =
            step < 0.05 * support.max(4.0) && next < most * radius && next > 0.85 * radius;
        radius = next;
        last = Some(Located { centre, support });
        if settled {
            break;
        }
    }
    last
}

/// Measures the target whose centre is near a place and whose second moment is about `variance`, px².
///
/// # Errors
/// `NoTargets` when nothing stands out, `TooFaint` when it does by too little.
pub(super) fn measure(
    plane: &Plane,
    reduced: &Reduced,
    place: (f64, f64),
    variance: f64,
) -> Result<Target, Unmeasurable> {
    if !(place.0.is_finite() && place.1.is_finite() && variance.is_finite()) {
        return Err(Unmeasurable::NoTargets);
    }
    let mut refused = Unmeasurable::NoTargets;
    for scale in SCALES {
        match locate(plane, place, variance, scale).map(|located| centred(plane, reduced, &located))
        {
            Some(Ok(target)) => return Ok(target),
            Some(Err(why)) => refused = why,
            None => {}
        }
    }
    Err(refused)
}

/// Measures in full what was located.
fn centred(plane: &Plane, reduced: &Reduced, located: &Located) -> Result<Target, Unmeasurable> {
    let &Located { centre, support } = located;
    let radius = support + MARGIN_PX + MARGIN_PART * support;
    let outer = radius + (RING_PART * radius).max(LEAST_RING_PX);
    let mut patch = Patch::around(plane, centre, outer).ok_or(Unmeasurable::NoTargets)?;
    let profile = Profile::of(plane, centre, outer, true).ok_or(Unmeasurable::NoTargets)?;
    let ring = Ring::of(&patch, centre, radius, outer).ok_or(Unmeasurable::NoTargets)?;
    let foreign = mask(&mut patch, centre, radius, &profile, &ring);
    let mut m = Moments {
        x: centre.0,
        y: centre.1,
        ..Moments::default()
    };
    for _ in 0..ROUNDS {
        let next = Moments::of(&patch, &patch.light, (m.x, m.y), radius, &ring.plane)
            .ok_or(Unmeasurable::NoTargets)?;
        let step = (next.x - m.x).hypot(next.y - m.y);
        if !step.is_finite() || (next.x - centre.0).hypot(next.y - centre.1) > radius {
            return Err(Unmeasurable::NoTargets);
        }
        m = next;
        if step < 1e-3 {
            break;
        }
    }
    report(
        plane,
        reduced,
        &Seen {
            patch,
            profile,
            ring,
            support,
            radius,
            outer,
            foreign,
        },
        m,
    )
}

/// Everything that was looked at for one target.
pub(super) struct Seen {
    pub(super) patch: Patch,
    pub(super) profile: Profile,
    pub(super) ring: Ring,
    pub(super) support: f64,
    radius: f64,
    outer: f64,
    /// Light of other things taken out of the window.
    foreign: f64,
}

/// Of the light along x, px⁴; none where there is no light.
fn fourth_cumulant(sums: &Levers) -> f64 {
    if sums.light > 0.0 {
        sums.light_x4 / sums.light - 3.0 * (sums.light_xx / sums.light).powi(2)
    } else {
        0.0
    }
}

fn report(
    plane: &Plane,
    reduced: &Reduced,
    seen: &Seen,
    m: Moments,
) -> Result<Target, Unmeasurable> {
    let Seen { patch, ring, .. } = seen;
    let centre = (m.x, m.y);
    let noise = Noise::of(patch, centre, &seen.profile, ring, plane.rounding_step());
    let variance = (m.xx + m.yy) / 2.0;
    // Sums for the uncertainty need not see every row.
    let step = sparse_rows(seen.radius);
    let sums = Levers::of(patch, &m, seen.radius, step, &ring.plane, &noise);
    let background = sums.xx * sums.xx * ring.slope_variance;
    let flux_var = sums.flux_var + sums.pixels * sums.pixels * ring.level_variance;
    let width_var = sums.width_var + sums.width * sums.width * ring.level_variance;
    let snr = m.flux / flux_var.sqrt().max(1e-9);
    if snr < LEAST_SNR {
        return Err(Unmeasurable::TooFaint);
    }
    let standardised = |third: f64, second: f64| third / second.max(1e-6).powf(1.5);
    let error = |var: f64| var.sqrt() / m.flux;
    let burnt = sums.burnt_flux > BURNT_PART * m.flux;
    let mut edge = EDGE_ROUNDING_PX.powi(2) * plane.rounding_step();
    // How the centre and the third moment answer to light that rises: second moment and fourth cumulant.
    let mut answers = (m.xx, fourth_cumulant(&sums));
    if burnt {
        let least = RIM_PART * seen.profile.peak;
        let rim = Rim::of(patch, centre, seen.radius, step, &ring.plane, least);
        let rim_width = rim.pixels / (4.0 * f64::sqrt(sums.burnt_pixels));
        edge += (BURNT_EDGE_PX / rim_width.max(1.0).powi(2)).powi(2);
        // What is at the ceiling doesn't answer, and all light counts for the centre.
        let (square, fourth) = (rim.light_xx / m.flux, rim.light_x4 / m.flux);
        answers = (square, fourth - 3.0 * m.xx * square);
    }
    let mass = Estimate {
        centre,
        variance: (
            error(sums.x_var + background).powi(2),
            error(sums.y_var + background).powi(2),
        ),
        tilt_px2: answers.0,
    };
    let best = if burnt {
        mass
    } else {
        edges::refine(patch, seen.radius, ring, &noise, mass)
    };
    let change = |light: &[f32], radius: f64, plane: Option<Tilt>| {
        plane
            .and_then(|plane| Moments::of(patch, light, centre, radius, &plane))
            .map_or(0.0, |other| other.x - m.x)
    };
    let other_light = patch.other_light();
    let other_plane = ring.plane_of(patch, &other_light);
    let other_tone = change(&other_light, seen.radius, other_plane);
    let beyond = seen.radius + WIDER_PX;
    let wider = change(
        &patch.light,
        beyond,
        Some(ring.plane_beyond(centre, beyond)),
    );
    let mut flags = Vec::new();
    if clipped(plane, seen, centre) {
        flags.push(Flag::Clipped);
    }
    if burnt {
        flags.push(Flag::Saturated);
    }
    if snr < FAINT_SNR {
        flags.push(Flag::Faint);
    }
    let leans = |third: f64, var: f64, second: f64, least: f64| {
        let noise = standardised(error(var), second);
        standardised(third, second).abs() > (LEAN_SIGMA * noise).max(least)
    };
    if leans(m.xxx, sums.lean_x_var, m.xx, LEAN.0) || leans(m.yyy, sums.lean_y_var, m.yy, LEAN.1) {
        flags.push(Flag::Vignetted);
    }
    if seen.foreign > CROWDED_PART * m.flux {
        flags.push(Flag::Crowded);
    }
    let level = ring.plane.at(centre.0, centre.1);
    let laid = Laid {
        centre,
        support: seen.support,
        radius: seen.radius,
        outer: seen.outer,
        flux: m.flux,
        peak: seen.profile.peak,
        // A background that JPEG leaves flat is no surer than its steps.
        pixel_variance: noise.variance(level, slope_at(level.max(0.0))),
    };
    Ok(Target {
        x_px: Measured::new(best.centre.0, (best.variance.0 + edge).sqrt()),
        y_px: Measured::new(best.centre.1, (best.variance.1 + edge).sqrt()),
        variance_px2: Measured::new(variance, error(width_var)),
        flux: m.flux,
        peak: seen.profile.peak,
        lean: Lean {
            third_px3: Measured::new(
                m.xxx,
                error(sums.lean_x_var + sums.lean * sums.lean * ring.slope_variance)
                    .hypot(JPEG_SKEWNESS * plane.rounding_step().powi(2) * m.xx.max(0.0).powf(1.5)),
            ),
            fourth_px4: answers.1,
            tilt_px2: best.tilt_px2,
        },
        lean_y_px: Measured::new(m.yyy, error(sums.lean_y_var)).scaled(1.0 / m.yy.max(1e-6)),
        four_fold_px4: Measured::new(
            if sums.light > 0.0 {
                sums.light_four / sums.light - 3.0 * (m.xx - m.yy).powi(2)
            } else {
                0.0
            },
            error(sums.four_var),
        ),
        elongation: (m.xx - m.yy) / (m.xx.abs() + m.yy.abs()).max(1e-6),
        window_change_px: wider,
        uneven: empty::uneven(reduced, patch.tables, &laid),
        beside: beside::beside(reduced, patch.tables, &laid),
        spots: spots::spots(
            reduced,
            patch,
            &ring.plane,
            &Blur {
                centre,
                support: seen.support,
            },
        ),
        tone_change_px: other_tone,
        toned: toned::toned(
            patch,
            &Around {
                centre,
                radius: seen.radius,
                outer: seen.outer,
                plane: ring.plane,
                noise: ring.pixel_variance.sqrt(),
                flux: m.flux,
            },
        ),
        window: inside(patch.window, centre, seen.radius),
        flags,
    })
}
