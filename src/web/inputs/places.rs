//! Target places that somebody pointed at.

use std::ops::RangeInclusive;

use super::Check;

/// How many targets of a frame may be pointed at.
const PLACES: RangeInclusive<usize> = 2..=6;
/// Two places nearer to each other than this are one target, px.
const APART_PX: f64 = 4.0;

/// Places in a frame of this size (columns and rows), left to right; complaints name `field`.
pub(in crate::web) fn target_places(
    field: &str,
    given: &[(f64, f64)],
    (width, height): (u32, u32),
    check: &mut Check,
) -> Option<Vec<(f64, f64)>> {
    if !PLACES.contains(&given.len()) {
        check.refuse(
            field,
            format!(
                "{} places are no pair of targets; give {} to {}, each as x and y in px",
                given.len(),
                PLACES.start(),
                PLACES.end()
            ),
        );
        return None;
    }
    let (right, bottom) = (f64::from(width) - 1.0, f64::from(height) - 1.0);
    if let Some((x, y)) = given
        .iter()
        .find(|(x, y)| !(0.0..=right).contains(x) || !(0.0..=bottom).contains(y))
    {
        check.refuse(
            field,
            format!(
                "{x:.0}, {y:.0} lies outside the picture; give x from 0 to {right} and y from 0 to {bottom} px"
            ),
        );
        return None;
    }
    let mut places = given.to_vec();
    places.sort_by(|a, b| a.0.total_cmp(&b.0));
    let too_near = |(index, a): (usize, &(f64, f64))| {
        let mut others = places.iter().skip(index + 1);
        others.any(|b| (a.0 - b.0).hypot(a.1 - b.1) < APART_PX)
    };
    if places.iter().enumerate().any(too_near) {
        check.refuse(
            field,
            "two of the places are the same target; point at two different ones",
        );
        return None;
    }
    Some(places)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(given: &[(f64, f64)]) -> Result<Vec<(f64, f64)>, String> {
        let mut check = Check::default();
        let places = target_places("target_places", given, (480, 320), &mut check);
        places.ok_or_else(|| check.errors[0].detail.clone())
    }

    #[test]
    fn a_pair_comes_left_to_right() {
        assert_eq!(
            of(&[(400.0, 100.0), (20.0, 110.0)]),
            Ok(vec![(20.0, 110.0), (400.0, 100.0)])
        );
    }

    #[test]
    fn what_is_no_pair_in_the_picture_is_refused() {
        for (given, words) in [
            (&[(1.0, 1.0)][..], "1 places"),
            (&[(1.0, 1.0), (480.0, 1.0)], "outside"),
            (&[(1.0, 1.0), (f64::NAN, 1.0)], "outside"),
            (&[(1.0, -1.0), (9.0, 1.0)], "outside"),
            (&[(9.0, 1.0), (10.0, 2.0)], "the same target"),
            (&[(0.0, 0.0); 7], "7 places"),
        ] {
            let refused = of(given).expect_err("no pair");
            assert!(refused.contains(words), "{given:?}: {refused}");
        }
    }
}
