//! How alike two pictures are, without a search for targets: the light of one laid over that of the other.

use super::{Plane, Reduced};

/// Blocks that lie so far above the background in either picture count, 8-bit codes: several times the noise of a block's mean in
/// a noisy picture.
const ABOVE_CODES: f32 = 4.0;

/// A picture reduced to what is compared: codes above its background, block by block.
#[derive(Debug, Clone)]
pub struct Impression {
    size: (u32, u32),
    above: Vec<f32>,
}

impl Impression {
    /// Of a picture.
    #[must_use]
    pub fn of(plane: &Plane) -> Self {
        let mut above = Reduced::of(plane).mean;
        let mut sorted = above.clone();
        let middle = sorted.len() / 2;
        let (_, background, _) = sorted.select_nth_unstable_by(middle, f32::total_cmp);
        let background = *background;
        for code in &mut above {
            *code -= background;
        }
        Self {
            size: (plane.width(), plane.height()),
            above,
        }
    }

    /// Share of the light that lies elsewhere in another picture: 0 where both are the same, 1 where nothing that is bright in
    /// one is bright in the other. `None` for pictures of another size, and where both are dark.
    ///
    /// ½·Σ|a − b| ÷ ½·Σ(a + b) over bright blocks, in codes; a change of blur by a step of a focus bracket is some hundredths,
    /// from closest focus to infinity some tenths (from simulated sweeps).
    #[must_use]
    pub fn unlike(&self, other: &Self) -> Option<f64> {
        if self.size != other.size {
            return None;
        }
        let (mut apart, mut light) = (0.0, 0.0);
        for (a, b) in self.above.iter().zip(&other.above) {
            if a.max(*b) > ABOVE_CODES {
                apart += f64::from((a - b).abs());
                light += f64::from(a.max(0.0) + b.max(0.0));
            }
        }
        (light > 0.0).then(|| (apart / light).min(1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::Samples;

    /// A bright square of a side on black, px.
    fn square(left: usize, side: usize) -> Impression {
        let (width, height) = (320, 160);
        let lit = |i: usize| {
            let (x, y) = (i % width, i / width);
            (left..left + side).contains(&x) && (40..40 + side).contains(&y)
        };
        let codes = (0..width * height).map(|i| if lit(i) { 180 } else { 7 });
        let plane = Plane::new(320, 160, Samples::Eight(codes.collect()));
        Impression::of(&plane.expect("right count"))
    }

    #[test]
    fn likeness_is_the_share_of_light_in_its_place() {
        let one = square(40, 64);
        assert!(one.unlike(&square(40, 64)).is_some_and(|off| off < 1e-9));
        assert!(one.unlike(&square(200, 64)).is_some_and(|off| off > 0.999));
        // Half of each lies beside the other.
        let half = one.unlike(&square(72, 64)).expect("light");
        assert!((half - 0.5).abs() < 1e-6, "{half}");
        let dark = Plane::new(320, 160, Samples::Eight(vec![9; 320 * 160])).expect("right count");
        let dark = Impression::of(&dark);
        assert_eq!(dark.unlike(&dark), None);
        let small = Plane::new(32, 16, Samples::Eight(vec![9; 32 * 16])).expect("right count");
        assert_eq!(one.unlike(&Impression::of(&small)), None);
    }
}
