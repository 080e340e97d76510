//! Sub-pixel centre, width and their uncertainty in a window that follows the blur.
//!
//! The centre is the centre of mass of the light above the background in a round window:
//! x = Σ x·I / Σ I. Under convolution with any blur that has its own centre of mass at 0 it stays where it is, whatever
//! the shape of the tape or of the pupil; no fit to a shape promises that. The window has to hold all of the light:
//! its radius is `REACH_SIGMA`·σ + `MARGIN_PX`, σ² being the second moment per axis, because a rectangle of any side
//! ratio ends √6·σ from its centre and a uniform disc 2·σ. Window and moments are iterated until they agree.

use super::background::Surface;
use super::luminance::Patch;
use super::{Flag, Plane, Target, Unmeasurable, Window};
use crate::units::Measured;

/// Window radius in σ: √6 for a rectangle's corner and a little more.
const REACH_SIGMA: f64 = 2.55;
/// What the window holds beyond that, px: optical and pixel softness.
const MARGIN_PX: f64 = 6.0;
/// Least width of the ring that the background is taken from, px.
const LEAST_RING_PX: f64 = 8.0;
/// Width of that ring in window radii.
const RING_PART: f64 = 0.25;
/// Rounds of window and centre; ends earlier once both stand still.
const ROUNDS: usize = 16;
/// Samples the ring's plane is fitted to, at most.
const RING_SAMPLES: usize = 1500;
/// Flux over its standard error below which a target can't be trusted.
const LEAST_SNR: f64 = 12.0;
/// Flux over its standard error below which a target is called faint.
const FAINT_SNR: f64 = 60.0;
/// Light, 0 to 1, at which a pixel counts as burnt out: 8-bit codes 254 and 255.
const BURNT_LIGHT: f32 = 0.991;
/// Least standard deviation of a code believed, 8-bit codes: rounding alone makes 1/√12.
const LEAST_CODE_NOISE: f64 = 0.289;

/// What is summed over a window.
#[derive(Debug, Clone, Copy, Default)]
struct Moments {
    flux: f64,
    x: f64,
    y: f64,
    xx: f64,
    yy: f64,
    xxx: f64,
}

/// A round window: its centre, radius, and the background's plane from the ring around it.
struct View {
    radius: f64,
    background: Surface,
    moments: Moments,
}

/// Measures the target whose centre is near (x, y) and whose second moment is about `variance`, px².
///
/// # Errors
/// `NoTargets` when nothing stands out, `TooFaint` when it does by too little.
pub(super) fn measure(
    plane: &Plane,
    (x, y): (f64, f64),
    variance: f64,
) -> Result<Target, Unmeasurable> {
    if !(x.is_finite() && y.is_finite() && variance.is_finite()) {
        return Err(Unmeasurable::NoTargets);
    }
    let longest = f64::from(plane.width().max(plane.height()));
    let (mut x, mut y) = (x, y);
    let mut variance = variance.clamp(0.1, longest * longest);
    let mut patch = None;
    let mut view = None;
    for _ in 0..ROUNDS {
        let radius = (REACH_SIGMA * variance.sqrt() + MARGIN_PX).min(longest);
        let reach = outer(radius) + 2.0;
        let fresh = Patch::around(plane, (x, y), reach).ok_or(Unmeasurable::NoTargets)?;
        let seen = View::of(&fresh, (x, y), radius, |i| fresh.light[i]);
        let m = seen.moments;
        if m.flux <= 0.0 {
            return Err(Unmeasurable::NoTargets);
        }
        let step = (m.x - x).hypot(m.y - y);
        let next = ((m.xx + m.yy) / 2.0).clamp(0.1, longest * longest);
        let settled = step < 1e-3 && (next - variance).abs() < 1e-3 * variance;
        // Never out of the picture, and no farther in one round than the window reaches.
        x += (m.x - x).clamp(-radius, radius);
        y += (m.y - y).clamp(-radius, radius);
        variance = next;
        patch = Some(fresh);
        view = Some(seen);
        if settled {
            break;
        }
    }
    let (Some(patch), Some(view)) = (patch, view) else {
        return Err(Unmeasurable::NoTargets);
    };
    report(plane, &patch, &view)
}

fn outer(radius: f64) -> f64 {
    radius + (RING_PART * radius).max(LEAST_RING_PX)
}

impl View {
    fn of(patch: &Patch, (x, y): (f64, f64), radius: f64, light: impl Fn(usize) -> f32) -> Self {
        let background = ring(patch, (x, y), radius, &light);
        let mut m = Moments::default();
        for_pixels(patch, (x, y), 0.0, radius, |index, dx, dy| {
            let above = f64::from(light(index)) - background.at(x + dx, y + dy);
            m.flux += above;
            m.x += dx * above;
            m.y += dy * above;
            m.xx += dx * dx * above;
            m.yy += dy * dy * above;
            m.xxx += dx * dx * dx * above;
        });
        if m.flux > 0.0 {
            let (mx, my) = (m.x / m.flux, m.y / m.flux);
            let (xx, yy) = (m.xx / m.flux, m.yy / m.flux);
            m.xxx = m.xxx / m.flux - 3.0 * mx * xx + 2.0 * mx.powi(3);
            m.xx = xx - mx * mx;
            m.yy = yy - my * my;
            m.x = x + mx;
            m.y = y + my;
        }
        Self {
            radius,
            background,
            moments: m,
        }
    }
}

/// Calls `each` with index and place relative to the centre for every pixel between two radii.
fn for_pixels(
    patch: &Patch,
    (x, y): (f64, f64),
    inner: f64,
    outer: f64,
    mut each: impl FnMut(usize, f64, f64),
) {
    let width = patch.width();
    for (row, line) in (patch.window.top..=patch.window.bottom).zip((0..).step_by(width)) {
        let dy = f64::from(row) - y;
        let half = outer * outer - dy * dy;
        if half < 0.0 {
            continue;
        }
        let half = half.sqrt();
        let first = (x - half).ceil().max(f64::from(patch.window.left)) as u32;
        let last = (x + half).floor().min(f64::from(patch.window.right));
        if last < f64::from(first) {
            continue;
        }
        for column in first..=last as u32 {
            let dx = f64::from(column) - x;
            if dx * dx + dy * dy >= inner * inner {
                each(line + (column - patch.window.left) as usize, dx, dy);
            }
        }
    }
}

fn ring(patch: &Patch, centre: (f64, f64), radius: f64, light: &impl Fn(usize) -> f32) -> Surface {
    let outer = outer(radius);
    let expected = std::f64::consts::PI * (outer * outer - radius * radius);
    let stride = (expected as usize / RING_SAMPLES).max(1);
    let mut samples = Vec::with_capacity(RING_SAMPLES * 2);
    let mut count = 0_usize;
    for_pixels(patch, centre, radius, outer, |index, dx, dy| {
        if count.is_multiple_of(stride) {
            samples.push((centre.0 + dx, centre.1 + dy, f64::from(light(index))));
        }
        count += 1;
    });
    Surface::fit(&samples, 1, 4.0, 1e-4)
}

/// Standard deviation of the codes in the ring about their plane, 8-bit codes.
fn code_noise(patch: &Patch, centre: (f64, f64), radius: f64) -> f64 {
    let per = f64::from(patch.tables.codes_per_eight_bit);
    let codes = ring(patch, centre, radius, &|i| f32::from(patch.codes[i]));
    (codes.noise / per).max(LEAST_CODE_NOISE)
}

fn report(plane: &Plane, patch: &Patch, view: &View) -> Result<Target, Unmeasurable> {
    let m = view.moments;
    let centre = (m.x, m.y);
    let noise = code_noise(patch, centre, view.radius);
    let (mut flux_var, mut x_var, mut y_var, mut width_var) = (0.0, 0.0, 0.0, 0.0);
    let mut burnt_flux = 0.0;
    let mut brightest = Vec::new();
    let variance = (m.xx + m.yy) / 2.0;
    for_pixels(patch, centre, 0.0, view.radius, |index, dx, dy| {
        let sigma = f64::from(patch.tables.slope[usize::from(patch.codes[index])]) * noise;
        let var = sigma * sigma;
        flux_var += var;
        x_var += dx * dx * var;
        y_var += dy * dy * var;
        width_var += ((dx * dx + dy * dy) / 2.0 - variance).powi(2) * var;
        if patch.light[index] >= BURNT_LIGHT {
            burnt_flux += f64::from(patch.light[index]);
        }
        if dx * dx + dy * dy <= variance {
            brightest.push(
                f64::from(patch.light[index]) - view.background.at(centre.0 + dx, centre.1 + dy),
            );
        }
    });
    let snr = m.flux / flux_var.sqrt().max(1e-9);
    if snr < LEAST_SNR {
        return Err(Unmeasurable::TooFaint);
    }
    let peak = {
        let upper = brightest.len() * 9 / 10;
        if brightest.is_empty() {
            0.0
        } else {
            *brightest.select_nth_unstable_by(upper, f64::total_cmp).1
        }
    };
    let wider = View::of(patch, centre, view.radius + 2.0, |i| patch.light[i]);
    let toned = View::of(patch, centre, view.radius, |i| {
        patch.tables.other_light[usize::from(patch.codes[i])]
    });
    let mut flags = Vec::new();
    let reach = REACH_SIGMA * variance.sqrt();
    let (right, bottom) = (f64::from(plane.width() - 1), f64::from(plane.height() - 1));
    if m.x - reach < 0.0 || m.y - reach < 0.0 || m.x + reach > right || m.y + reach > bottom {
        flags.push(Flag::Clipped);
    }
    if burnt_flux > 0.05 * m.flux {
        flags.push(Flag::Saturated);
    }
    if snr < FAINT_SNR {
        flags.push(Flag::Faint);
    }
    let error = |var: f64| var.sqrt() / m.flux;
    Ok(Target {
        x_px: Measured::new(m.x, error(x_var)),
        y_px: Measured::new(m.y, error(y_var)),
        variance_px2: Measured::new(variance, error(width_var)),
        flux: m.flux,
        peak,
        skewness: m.xxx / m.xx.max(1e-6).powf(1.5),
        window_change_px: wider.moments.x - m.x,
        tone_change_px: toned.moments.x - m.x,
        window: inside(patch.window, centre, view.radius),
        flags,
    })
}

/// The part of a patch's window that a round window covers.
fn inside(window: Window, (x, y): (f64, f64), radius: f64) -> Window {
    let low = |c: f64, least: u32, most: u32| {
        ((c - radius).ceil().max(f64::from(least)) as u32).min(most)
    };
    let high = |c: f64, least: u32, most: u32| {
        ((c + radius)
            .floor()
            .min(f64::from(most))
            .max(f64::from(least))) as u32
    };
    Window {
        left: low(x, window.left, window.right),
        top: low(y, window.top, window.bottom),
        right: high(x, window.left, window.right),
        bottom: high(y, window.top, window.bottom),
    }
}
