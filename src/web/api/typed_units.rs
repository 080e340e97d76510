//! Units typed after a number whose name says its unit already.

/// Units that names end in, and how they are typed after a number.
const TYPED_UNITS: [(&str, &[&str]); 3] = [
    ("_pct", &["%", "per cent"]),
    ("_mm", &["mm"]),
    ("_px", &["px"]),
];

/// A pair of a query; a number is taken without the unit that its name has already, as in "2 %" or "85 mm".
pub(super) fn without_unit((name, value): (String, String)) -> (String, String) {
    let typed = value.trim();
    let unit = TYPED_UNITS.iter().find(|(end, _)| name.ends_with(end));
    let mut forms = unit.iter().flat_map(|(_, forms)| forms.iter());
    let number = forms
        .find_map(|form| typed.strip_suffix(form))
        .map(str::trim_end)
        .filter(|number| number.ends_with(|last: char| last.is_ascii_digit()))
        .map(str::to_owned);
    (name, number.unwrap_or(value))
}

#[cfg(test)]
mod tests {
    use crate::web::api::Params;

    #[test]
    fn a_number_may_bring_the_unit_of_its_name() {
        for (name, typed, read) in [
            ("tolerance_pct", "2%", "2"),
            ("tolerance_pct", " 2,5 % ", "2,5"),
            ("tolerance_pct", "3 per cent", "3"),
            ("focal_mm", "85 mm", "85"),
            ("picture_width_px", "1920px", "1920"),
            // Another unit, no number, or a name without unit: as it was typed, to be complained of so.
            ("tolerance_pct", "2 mm", "2 mm"),
            ("tolerance_pct", "some %", "some %"),
            ("q", "85 mm", "85 mm"),
        ] {
            assert_eq!(
                Params::of(&[(name, typed)]).text(name),
                Some(read),
                "{typed}"
            );
        }
        let comma = Params::of(&[("tolerance_pct", "2,5 %")]).tolerance_pct();
        assert!((comma.expect("usable") - 2.5).abs() < 1e-12);
    }
}
