//! Charts from outside: themes, ranges, the same picture every time, labels that don't overlap.

use breathmark::charts::{Axis, Series, ShiftChart, Theme};
use breathmark::sweep::{CurvePoint, ShiftCurve};
use breathmark::units::Measured;

/// A curve from closest focus to infinity whose shift grows in proportion to the dioptres.
fn curve(worst_pct: f64, closest_m: f64, u_pct: f64) -> ShiftCurve {
    let points = (0..24)
        .map(|step| {
            let travel = f64::from(step) / 23.0;
            let dioptres = (1.0 - travel) / closest_m;
            CurvePoint {
                travel,
                dioptres: Some(Measured::new(dioptres, 0.001)),
                shift_pct: Measured::new(worst_pct * (1.0 - travel), u_pct),
            }
        })
        .collect();
    ShiftCurve::new(points)
}

fn zoom(width: u32, height: u32, theme: Theme) -> ShiftChart {
    let series = [
        (28, -1.4),
        (35, -0.4),
        (50, 0.7),
        (75, 1.6),
        (100, 2.4),
        (135, 4.3),
    ]
    .into_iter()
    .map(|(focal, worst)| Series {
        label: format!("{focal} mm"),
        curve: curve(worst, 0.45, 0.02),
    })
    .collect();
    ShiftChart {
        title: "Ostrel 28–135 mm f/3.5".to_owned(),
        notes: Vec::new(),
        series,
        tolerance_pct: 2.0,
        axis: Axis::Distance,
        theme,
        width,
        height,
        pull_dioptres: None,
    }
}

/// Columns, rows and colour type of a PNG, from its header.
fn png_header(png: &[u8]) -> (u32, u32, u8) {
    assert_eq!(&png[..8], b"\x89PNG\r\n\x1a\n");
    let number = |at: usize| u32::from_be_bytes(png[at..at + 4].try_into().expect("four bytes"));
    (number(16), number(20), png[25])
}

#[test]
fn png_has_the_size_that_was_asked_for_and_only_clear_has_transparency() {
    for (width, height) in [(160, 120), (320, 300), (1280, 720)] {
        for (theme, colour_type) in [(Theme::Light, 2), (Theme::Dark, 2), (Theme::Clear, 6)] {
            let png = zoom(width, height, theme).png().expect("in range");
            assert_eq!(png_header(&png), (width, height, colour_type));
        }
    }
}

#[test]
fn a_clear_picture_shows_the_ground_between_its_lines() {
    let png = zoom(320, 300, Theme::Clear).png().expect("in range");
    let picture = image::load_from_memory(&png).expect("a PNG").to_rgba8();
    let clear = picture.pixels().filter(|pixel| pixel.0[3] == 0).count();
    let solid = picture.pixels().filter(|pixel| pixel.0[3] == 255).count();
    assert!(clear > 320 * 300 / 5, "{clear} clear pixels");
    assert!(solid > 1000, "{solid} solid pixels");
}

#[test]
fn the_same_numbers_give_the_same_bytes() {
    let chart = zoom(480, 320, Theme::Dark);
    assert_eq!(
        chart.svg().expect("in range"),
        chart.svg().expect("in range")
    );
    assert_eq!(
        chart.png().expect("in range"),
        chart.png().expect("in range")
    );
    assert_ne!(
        chart.png().expect("in range"),
        zoom(480, 320, Theme::Light).png().expect("in range")
    );
}

#[test]
fn svg_keeps_a_strict_content_security_policy_and_has_a_name() {
    for theme in [Theme::Light, Theme::Dark, Theme::Clear, Theme::Page] {
        let mut chart = zoom(720, 420, theme);
        chart.title = "<script>\"&' 28–135 mm".to_owned();
        let svg = chart.svg().expect("in range");
        assert!(
            svg.starts_with("<svg ") && svg.ends_with("</svg>"),
            "{theme:?}"
        );
        assert!(svg.contains("role=\"img\"") && svg.contains("<desc>Shift in per cent"));
        assert!(svg.contains("<title>&lt;script&gt;"), "{theme:?}");
        for forbidden in [" style=", "<style", "<script", "javascript:", "href"] {
            assert!(!svg.contains(forbidden), "{theme:?}: {forbidden}");
        }
    }
}

#[test]
fn svg_to_take_away_needs_no_font_and_svg_in_a_page_has_the_font_of_the_page() {
    let page = zoom(720, 420, Theme::Page).svg().expect("in range");
    assert!(page.contains(">135 mm</text>"), "text stays text");
    let words = page.matches("</text>").count();
    for theme in [Theme::Light, Theme::Dark, Theme::Clear] {
        let svg = zoom(720, 420, theme).svg().expect("in range");
        assert!(!svg.contains("<text") && !svg.contains("font"), "{theme:?}");
        assert_eq!(svg.matches("<path ").count(), words, "{theme:?}");
    }
    assert!(!page.contains("font-family"), "{page}");
}

/// The two ways of drawing words must not part: an SVG would then read differently from its PNG. Compared is the box
/// around the title, from the outlines in the SVG and from the pixels; a glyph's edge may fall on either side of a
/// pixel and plotters places each glyph on whole ones, hence 2 px up and down and 1 px a letter along the line.
#[test]
fn words_stand_in_the_same_place_in_svg_and_png() {
    let mut chart = zoom(720, 420, Theme::Light);
    chart.title = "HIMMEL".to_owned();
    let svg = chart.svg().expect("in range");
    let path = svg
        .split("<path ")
        .filter_map(|rest| rest.split_once(" d=\"")?.1.split_once('"'))
        .map(|(data, _)| numbers(data))
        .min_by(|a, b| top(a).total_cmp(&top(b)))
        .expect("a path");
    let outlined = extent(path.into_iter());
    let png = image::load_from_memory(&chart.png().expect("in range"))
        .expect("a PNG")
        .to_luma8();
    let below = (outlined[3] + 4.0) as u32;
    let drawn = extent(
        png.enumerate_pixels()
            .filter(|(_, y, pixel)| *y < below && pixel.0[0] < 128)
            .map(|(x, y, _)| (f64::from(x) + 0.5, f64::from(y) + 0.5)),
    );
    for (side, reach) in [(0, 2.0), (1, 2.0), (2, 6.0), (3, 2.0)] {
        assert!(
            (outlined[side] - drawn[side]).abs() <= reach,
            "{outlined:?} {drawn:?}"
        );
    }
}

/// Places in the data of a path, px.
fn numbers(data: &str) -> Vec<(f64, f64)> {
    // As in the SVG writer: eight units of the view box are a pixel.
    let values: Vec<f64> = data
        .split(|letter: char| !(letter.is_ascii_digit() || letter == '-'))
        .filter_map(|number| number.parse::<f64>().ok())
        .map(|units| units / 8.0)
        .collect();
    values
        .chunks_exact(2)
        .map(|pair| (pair[0], pair[1]))
        .collect()
}

fn top(places: &[(f64, f64)]) -> f64 {
    places
        .iter()
        .fold(f64::INFINITY, |least, (_, y)| least.min(*y))
}

/// Left, top, right and bottom of places.
fn extent(places: impl Iterator<Item = (f64, f64)>) -> [f64; 4] {
    let far = f64::INFINITY;
    places.fold(
        [far, far, -far, -far],
        |[left, top, right, bottom], (x, y)| [left.min(x), top.min(y), right.max(x), bottom.max(y)],
    )
}

#[test]
fn a_chart_for_the_page_has_classes_instead_of_colours() {
    let svg = zoom(720, 420, Theme::Page).svg().expect("in range");
    assert!(!svg.contains("=\"#"), "a fixed colour is left");
    for class in ["k-line-0", "k-line-4", "k-band", "k-ink", "k-ground"] {
        assert!(svg.contains(&format!("class=\"{class}\"")), "{class}");
    }
}

#[test]
fn sides_out_of_range_are_refused_by_name() {
    for (width, height, side) in [
        (159, 400, "width"),
        (7681, 400, "width"),
        (720, 119, "height"),
        (720, 4321, "height"),
        (0, 0, "width"),
    ] {
        let chart = zoom(width, height, Theme::Light);
        let error = chart.png().expect_err("out of range").to_string();
        assert!(error.contains(side) && error.contains("px"), "{error}");
        assert!(chart.svg().is_err());
    }
}

#[test]
fn curves_without_points_or_with_absurd_numbers_are_drawn_all_the_same() {
    let mut chart = zoom(320, 300, Theme::Light);
    chart.series[0].curve = ShiftCurve::default();
    chart.series[1].curve = curve(1e12, 0.001, 1e9);
    chart.series[2].curve = curve(f64::NAN, 1.0, f64::NAN);
    chart.tolerance_pct = f64::INFINITY;
    chart.pull_dioptres = Some((-5.0, 1e9));
    assert!(chart.svg().is_ok());
    assert!(chart.png().is_ok());
    chart.series.clear();
    assert!(chart.png().is_ok());
}
