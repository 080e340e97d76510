//! The reduced picture on which targets are looked for: means of square blocks, in 8-bit codes.
//!
//! Codes are roughly as even in noise as an eye is, so a faint wide target stands out of them as well as a bright
//! small one, and summing them is the cheapest pass over a picture there is. Light is computed from the means only
//! for the few blocks that matter; exact values come later, from the pixels around a candidate.

use super::{Plane, Samples};

/// Side of a block in pictures of up to `LARGE_PX` pixels.
const BLOCK_PX: u32 = 8;
/// Side of a block in larger pictures, whose targets are larger too.
const LARGE_BLOCK_PX: u32 = 16;
/// Above this many pixels the large block is used.
const LARGE_PX: u64 = 12_000_000;

/// Block means of a picture.
pub(super) struct Reduced {
    /// Side of a block, px.
    pub(super) block: u32,
    /// Columns of blocks; the last may be narrower than a block.
    pub(super) width: usize,
    /// Rows of blocks.
    pub(super) height: usize,
    /// Mean code of each block in units of 8-bit codes, row by row.
    pub(super) mean: Vec<f32>,
}

impl Reduced {
    pub(super) fn of(plane: &Plane) -> Self {
        let pixels = u64::from(plane.width()) * u64::from(plane.height());
        let block = if pixels > LARGE_PX {
            LARGE_BLOCK_PX
        } else {
            BLOCK_PX
        };
        let (width, height) = (
            plane.width().div_ceil(block) as usize,
            plane.height().div_ceil(block) as usize,
        );
        let mean = match plane.samples() {
            Samples::Eight(codes) => by_side(codes, plane.width() as usize, block, 1.0),
            Samples::Sixteen(codes) => by_side(codes, plane.width() as usize, block, 257.0),
        };
        Self {
            block,
            width,
            height,
            mean,
        }
    }

    /// The place in blocks of picture coordinates, px.
    pub(super) fn to_blocks(&self, px: f64) -> f64 {
        (px + 0.5) / f64::from(self.block) - 0.5
    }

    /// Picture coordinates, px, of a place given in blocks (an integer is a block's middle).
    pub(super) fn to_picture(&self, place: f64) -> f64 {
        (place + 0.5) * f64::from(self.block) - 0.5
    }
}

/// Means of blocks of a side, in units of `scale`.
fn by_side<T: Copy + Into<u32>>(codes: &[T], stride: usize, block: u32, scale: f32) -> Vec<f32> {
    match block {
        LARGE_BLOCK_PX => means::<{ LARGE_BLOCK_PX as usize }, T>(codes, stride, scale),
        _ => means::<{ BLOCK_PX as usize }, T>(codes, stride, scale),
    }
}

/// Means of blocks of `SIDE` × `SIDE` codes: the compiler sums the row of a block at once where it knows how long it is.
fn means<const SIDE: usize, T: Copy + Into<u32>>(
    codes: &[T],
    stride: usize,
    scale: f32,
) -> Vec<f32> {
    let sum = |part: &[T]| part.iter().map(|&code| code.into()).sum::<u32>();
    let whole = stride / SIDE;
    let mut means = Vec::with_capacity(codes.len() / (SIDE * SIDE) + stride);
    let mut sums = vec![0; whole];
    for band in codes.chunks(stride * SIDE) {
        sums.fill(0);
        let mut last = 0;
        for row in band.chunks_exact(stride) {
            let (blocks, rest) = row.as_chunks::<SIDE>();
            for (all, block) in sums.iter_mut().zip(blocks) {
                *all += sum(block);
            }
            last += sum(rest);
        }
        let rows = band.len() / stride;
        let mean = |sum: u32, columns: usize| sum as f32 / ((columns * rows) as f32 * scale);
        means.extend(sums.iter().map(|&sum| mean(sum, SIDE)));
        if whole * SIDE < stride {
            means.push(mean(last, stride - whole * SIDE));
        }
    }
    means
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ragged_edges_are_means_of_what_is_there() {
        let codes = (0..19 * 9)
            .map(|i| if i % 19 >= 16 { 200 } else { 10 })
            .collect();
        let plane = Plane::new(19, 9, Samples::Eight(codes)).expect("right count");
        let reduced = Reduced::of(&plane);
        assert_eq!((reduced.width, reduced.height), (3, 2));
        assert_eq!(reduced.mean, [10.0, 10.0, 200.0, 10.0, 10.0, 200.0]);
    }

    #[test]
    fn sixteen_bits_count_in_eight_bit_codes() {
        let plane = Plane::new(8, 8, Samples::Sixteen(vec![257 * 40; 64])).expect("right count");
        assert_eq!(Reduced::of(&plane).mean, [40.0]);
    }
}
