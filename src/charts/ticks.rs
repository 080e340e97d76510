//! Where the ticks of an axis stand and what they say; how labels in a column are kept apart.

/// Round values from `low` to `high`, at most `most` of them: steps of 1, 2 or 5 times a power of ten.
pub(super) fn round_values(low: f64, high: f64, most: usize) -> Vec<f64> {
    let span = high - low;
    if !(span.is_finite() && span > 0.0) || most == 0 {
        return Vec::new();
    }
    let magnitude = 10_f64.powf((span / most as f64).log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * magnitude)
        .find(|step| span / step < most as f64 + 1e-9)
        .unwrap_or(10.0 * magnitude);
    let first = (low / step - 1e-9).ceil();
    let last = (high / step + 1e-9).floor();
    let count = (last - first).clamp(0.0, 100.0) as usize;
    (0..=count)
        .map(|index| (first + index as f64) * step)
        .collect()
}

/// A shift in as many decimals as the step between ticks needs, with a true minus sign.
pub(super) fn shift_words(value: f64, step: f64) -> String {
    let decimals = (-step.log10().floor()).clamp(0.0, 3.0) as usize;
    let words = format!("{:+.decimals$}", value);
    if value.abs() < step / 100.0 {
        return "0".to_owned();
    }
    words.replace('-', "−")
}

/// Distances worth a tick, m, the most telling first.
pub(super) const METRES: &[f64] = &[
    1.0, 2.0, 0.5, 5.0, 0.3, 3.0, 0.7, 0.2, 1.5, 0.4, 10.0, 0.6, 0.25, 0.35, 0.8, 0.15, 0.1, 1.2,
    0.45, 4.0, 0.08, 0.05, 0.03, 0.02,
];

/// Distances worth a tick, feet, the most telling first.
pub(super) const FEET: &[f64] = &[
    3.0, 10.0, 5.0, 2.0, 1.0, 1.5, 7.0, 20.0, 4.0, 30.0, 6.0, 0.5, 2.5, 0.7, 0.3, 0.2, 0.1,
];

/// Ticks of a focus axis, as place along the axis (0 to 1 of `closest`, one over the closest distance in the unit of
/// `distances`) and words, infinity first. `width` of a text in axis lengths; ticks whose texts would come nearer than `gap` are left out.
pub(super) fn distance_ticks(
    closest: f64,
    distances: &[f64],
    gap: f64,
    width: &dyn Fn(&str) -> f64,
) -> Vec<(f64, String)> {
    let mut ticks: Vec<(f64, String)> = vec![(0.0, "∞".to_owned())];
    if closest <= 0.0 {
        return ticks;
    }
    let nearest = 1.0 / closest;
    let candidates = std::iter::once(nearest).chain(distances.iter().copied());
    for distance in candidates.filter(|distance| *distance >= nearest) {
        let place = nearest / distance;
        let words = metres_words(distance);
        let fits = ticks.iter().all(|(other, other_words)| {
            (place - other).abs() >= (width(&words) + width(other_words)) / 2.0 + gap
        });
        if fits {
            ticks.push((place, words));
        }
    }
    ticks.sort_by(|a, b| a.0.total_cmp(&b.0));
    ticks
}

/// A distance for a tick: two significant digits, no trailing zeros.
pub(super) fn metres_words(metres: f64) -> String {
    let decimals = if metres >= 10.0 {
        0
    } else if metres >= 1.0 {
        1
    } else {
        2
    };
    let words = format!("{metres:.decimals$}");
    if words.contains('.') {
        words.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        words
    }
}

/// Moves labels along a column so that none is nearer than `gap` to the next, each as near to its wish as the
/// others let it, all between `low` and `high` where there is room. The order of the wishes is kept.
pub(super) fn spread(wishes: &[f64], gap: f64, low: f64, high: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wishes.len()).collect();
    order.sort_by(|a, b| wishes[*a].total_cmp(&wishes[*b]));
    // Groups of touching labels: (sum of wishes as if at the group's first place, members, first place).
    let mut groups: Vec<(f64, usize)> = Vec::new();
    let place = |&(sum, count): &(f64, usize)| {
        let room = gap * (count as f64 - 1.0);
        (sum / count as f64).min(high - room).max(low)
    };
    for &index in &order {
        groups.push((wishes[index], 1));
        while groups.len() > 1 {
            let last = groups[groups.len() - 1];
            let before = groups[groups.len() - 2];
            if place(&before) + gap * before.1 as f64 <= place(&last) {
                break;
            }
            groups.truncate(groups.len() - 2);
            groups.push((
                before.0 + last.0 - gap * (before.1 * last.1) as f64,
                before.1 + last.1,
            ));
        }
    }
    let mut places = vec![0.0; wishes.len()];
    let mut next = order.iter();
    for group in &groups {
        let first = place(group);
        for step in 0..group.1 {
            if let Some(&index) = next.next() {
                places[index] = first + gap * step as f64;
            }
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn round_values_lie_inside_and_hold_zero() {
        let values = round_values(-2.3, 4.4, 7);
        assert_eq!(
            values.iter().map(|v| format!("{v:.1}")).collect::<Vec<_>>(),
            ["-2.0", "-1.0", "0.0", "1.0", "2.0", "3.0", "4.0"]
        );
        assert!(round_values(1.0, 1.0, 5).is_empty());
        assert!(round_values(f64::NAN, 1.0, 5).is_empty());
    }

    #[test]
    fn shifts_carry_sign_and_decimals_of_their_step() {
        assert_eq!(shift_words(-2.0, 1.0), "−2");
        assert_eq!(shift_words(0.5, 0.5), "+0.5");
        assert_eq!(shift_words(0.0, 0.5), "0");
    }

    #[test]
    fn distance_ticks_never_touch_and_hold_both_ends() {
        let width = |words: &str| words.chars().count() as f64 * 0.012;
        for closest in [0.1, 1.0, 2.2222, 4.0, 12.0] {
            let ticks = distance_ticks(closest, METRES, 0.01, &width);
            assert_eq!(ticks[0].1, "∞");
            assert!((ticks[ticks.len() - 1].0 - 1.0).abs() < 1e-9, "{closest}");
            for pair in ticks.windows(2) {
                let room = (width(&pair[0].1) + width(&pair[1].1)) / 2.0;
                assert!(pair[1].0 - pair[0].0 >= room, "{closest}: {pair:?}");
            }
        }
    }

    #[test]
    fn labels_are_spread_without_overlap_and_near_their_wish() {
        let places = spread(&[50.0, 50.0, 52.0, 10.0], 12.0, 0.0, 100.0);
        assert!((places[3] - 10.0).abs() < 1e-9, "left alone: {places:?}");
        let mut sorted = places.clone();
        sorted.sort_by(f64::total_cmp);
        for pair in sorted.windows(2) {
            assert!(pair[1] - pair[0] >= 12.0 - 1e-9, "{places:?}");
        }
        let low = spread(&[-5.0, -4.0], 10.0, 0.0, 100.0);
        assert!(
            low[0].abs() < 1e-9 && (low[1] - 10.0).abs() < 1e-9,
            "{low:?}"
        );
    }
}
