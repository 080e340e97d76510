//! EXIF orientation: how stored pixels are turned to stand upright.

/// One of the eight ways of CIPA DC-008, tag 0x0112.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Orientation(u8);

impl Orientation {
    /// Of the tag's value; anything but 1 to 8 is taken as upright.
    pub(super) fn from_tag(value: u32) -> Self {
        Self(
            u8::try_from(value)
                .ok()
                .filter(|v| (1..=8).contains(v))
                .unwrap_or(1),
        )
    }

    /// Turns rows of stored samples upright; gives the new width and height with them.
    pub(super) fn upright<T: Copy>(
        self,
        width: usize,
        height: usize,
        stored: Vec<T>,
    ) -> (usize, usize, Vec<T>) {
        if self.0 <= 1 || stored.len() != width * height {
            return (width, height, stored);
        }
        let turned = self.0 >= 5;
        let (columns, rows) = if turned {
            (height, width)
        } else {
            (width, height)
        };
        let mut samples = Vec::with_capacity(stored.len());
        for y in 0..rows {
            // Where an upright pixel was stored: 6 "is turned 90° clockwise to be upright", and so on.
            samples.extend((0..columns).map(|x| {
                let (column, row) = match self.0 {
                    2 => (width - 1 - x, y),
                    3 => (width - 1 - x, height - 1 - y),
                    4 => (x, height - 1 - y),
                    5 => (y, x),
                    6 => (y, height - 1 - x),
                    7 => (width - 1 - y, height - 1 - x),
                    _ => (width - 1 - y, x),
                };
                stored[row * width + column]
            }));
        }
        (columns, rows, samples)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An upright F, stored the eight ways that CIPA DC-008 draws; 3 × 4 (or 4 × 3) pixels, told apart by letters.
    #[test]
    fn all_eight_ways_come_out_upright() {
        let upright = b"abcdefghijkl";
        for (tag, width, stored) in [
            (1, 3, b"abcdefghijkl"),
            (2, 3, b"cbafedihglkj"),
            (3, 3, b"lkjihgfedcba"),
            (4, 3, b"jklghidefabc"),
            (5, 4, b"adgjbehkcfil"),
            (6, 4, b"cfilbehkadgj"),
            (7, 4, b"lifckhebjgda"),
            (8, 4, b"jgdakheblifc"),
        ] {
            let (columns, rows, samples) =
                Orientation::from_tag(tag).upright(width, 12 / width, stored.to_vec());
            assert_eq!((columns, rows), (3, 4), "orientation {tag}");
            assert_eq!(samples, upright, "orientation {tag}");
        }
        assert_eq!(Orientation::from_tag(0), Orientation::from_tag(1));
        assert_eq!(Orientation::from_tag(70_000), Orientation::from_tag(1));
    }
}
