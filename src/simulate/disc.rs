//! The out-of-focus image of a point: the pupil, cut into horizontal strips. Every shape here is convex, so a strip is one
//! run from `left` to `right`.

use super::breathing::Pupil;

/// One horizontal strip of a blur disc, px from its middle.
#[derive(Debug, Clone, Copy)]
pub(super) struct Strip {
    pub(super) middle: f64,
    pub(super) left: f64,
    pub(super) right: f64,
}

/// The image of a point: strips of equal height, with the factor that makes the light of the open pupil 1.
#[derive(Debug, Clone)]
pub(super) struct BlurDisc {
    pub(super) strips: Vec<Strip>,
    pub(super) strip_height: f64,
    pub(super) density: f64,
    pub(super) radius: f64,
}

/// Blur below this diameter, px, is drawn as if it were this: the closed form divides by it. Adds 1e-5 px² of variance.
const SMALLEST_BLUR_PX: f64 = 0.01;

impl BlurDisc {
    /// The blur disc of a pupil for a point at `field` (vector from the picture's middle over the length from middle to
    /// corner). `signed_px` is the diameter of the circumscribed circle; negative turns the image upside down.
    pub(super) fn new(pupil: &Pupil, signed_px: f64, field: (f64, f64)) -> Self {
        let flip = if signed_px < 0.0 { -1.0 } else { 1.0 };
        let diameter = signed_px.abs().max(SMALLEST_BLUR_PX);
        let radius = diameter / 2.0;
        // Strips of at most half a pixel, and enough of them that a disc's second moment is right to 1e-4.
        let count = (2.0 * diameter).ceil().clamp(160.0, 4096.0) as usize;
        let height = 2.0 / count as f64;
        let corners = polygon(pupil);
        let shifted = (
            flip * 2.0 * pupil.vignetting * field.0,
            flip * 2.0 * pupil.vignetting * field.1,
        );
        let chord = |y: f64| {
            let (left, right) = pupil_chord(corners.as_deref(), y * flip)?;
            Some(if flip < 0.0 {
                (-right, -left)
            } else {
                (left, right)
            })
        };
        let cut = |y: f64| {
            let (left, right) = chord(y)?;
            let reach = half_chord(pupil.barrel, y - shifted.1)?;
            Some((left.max(shifted.0 - reach), right.min(shifted.0 + reach)))
        };
        let (mut open, mut strips) = (0.0, Vec::with_capacity(count));
        for i in 0..count {
            let top = -1.0 + i as f64 * height;
            let whole = mean_chord(top, height, chord);
            open += whole.map_or(0.0, |(left, right)| right - left);
            let seen = if pupil.vignetting > 0.0 {
                mean_chord(top, height, cut)
            } else {
                whole
            };
            if let Some((left, right)) = seen {
                strips.push(Strip {
                    middle: (top + height / 2.0) * radius,
                    left: left * radius,
                    right: right * radius,
                });
            }
        }
        let strip_height = height * radius;
        Self {
            strips,
            strip_height,
            density: 1.0 / (open * radius * strip_height),
            radius,
        }
    }
}

/// Chords averaged over the height of a strip.
const CHORDS_PER_STRIP: usize = 8;

/// The run that has the area and the middle of a shape inside a strip; `None` where the shape is not in it.
fn mean_chord(
    top: f64,
    height: f64,
    chord: impl Fn(f64) -> Option<(f64, f64)>,
) -> Option<(f64, f64)> {
    let (mut width, mut moment) = (0.0, 0.0);
    for i in 0..CHORDS_PER_STRIP {
        let y = top + height * (i as f64 + 0.5) / CHORDS_PER_STRIP as f64;
        if let Some((left, right)) = chord(y).filter(|(left, right)| right > left) {
            width += right - left;
            moment += (right - left) * (right + left) / 2.0;
        }
    }
    let half = width / CHORDS_PER_STRIP as f64 / 2.0;
    (width > 0.0).then(|| (moment / width - half, moment / width + half))
}

/// Half the width of a disc of this radius at height y; `None` outside.
fn half_chord(radius: f64, y: f64) -> Option<f64> {
    let square = radius * radius - y * y;
    (square > 0.0).then(|| square.sqrt())
}

/// Corners of a bladed pupil on the unit circle; `None` for a round one.
fn polygon(pupil: &Pupil) -> Option<Vec<(f64, f64)>> {
    let blades = pupil.blades?.clamp(3, 60);
    let corner = |i: u32| {
        let turn = pupil.rotation_deg.to_radians()
            + f64::from(i) * 2.0 * std::f64::consts::PI / f64::from(blades);
        (turn.cos(), turn.sin())
    };
    Some((0..blades).map(corner).collect())
}

/// Left and right end of the unit pupil at height y.
fn pupil_chord(corners: Option<&[(f64, f64)]>, y: f64) -> Option<(f64, f64)> {
    let Some(corners) = corners else {
        return half_chord(1.0, y).map(|half| (-half, half));
    };
    let mut ends: Option<(f64, f64)> = None;
    for (i, from) in corners.iter().enumerate() {
        let to = corners[(i + 1) % corners.len()];
        if (from.1 <= y) == (to.1 <= y) {
            continue;
        }
        let x = from.0 + (to.0 - from.0) * (y - from.1) / (to.1 - from.1);
        ends = Some(ends.map_or((x, x), |(low, high)| (low.min(x), high.max(x))));
    }
    ends
}
