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
    for (width, height) in [(320, 240), (500, 300), (1280, 720)] {
        for (theme, colour_type) in [(Theme::Light, 2), (Theme::Dark, 2), (Theme::Clear, 6)] {
            let png = zoom(width, height, theme).png().expect("in range");
            assert_eq!(png_header(&png), (width, height, colour_type));
        }
    }
}

/// The picture under a clear chart is covered by lines and letters alone: of the tolerance band, which takes nearly all of
/// the plot of a quiet lens, nothing is left but its edges.
#[test]
fn a_clear_picture_shows_the_ground_between_its_lines() {
    let mut chart = zoom(1280, 720, Theme::Clear);
    chart.series.truncate(1);
    let png = chart.png().expect("in range");
    let picture = image::load_from_memory(&png).expect("a PNG").to_rgba8();
    let count = |alphas: std::ops::RangeInclusive<u8>| {
        let inside = |pixel: &&image::Rgba<u8>| alphas.contains(&pixel.0[3]);
        picture.pixels().filter(inside).count() as f64 / (1280.0 * 720.0)
    };
    // Lines, letters and their rims took 11 % when this was written; the band alone would take more than half.
    assert!(count(0..=0) > 0.8, "{} clear", count(0..=0));
    assert!(count(255..=255) > 0.02, "{} solid", count(255..=255));
    let svg = chart.svg().expect("in range");
    assert!(!svg.contains("#E9ECEA"), "a ground of the band");
    chart.pull_dioptres = Some((0.2, 2.0));
    let pulled = chart.png().expect("in range");
    let pulled = image::load_from_memory(&pulled).expect("a PNG").to_rgba8();
    // A fifth of 255.
    let tinted = pulled
        .pixels()
        .filter(|pixel| (45..=56).contains(&pixel.0[3]));
    assert!(tinted.count() > 1280 * 720 / 3, "a pull is a tint");
}

/// On black the light rims are seen, on white the dark ink: in both, letters and lines stand out.
#[test]
fn clear_ink_is_readable_on_dark_and_on_bright_pictures() {
    let chart = zoom(1280, 720, Theme::Clear);
    let png = chart.png().expect("in range");
    let picture = image::load_from_memory(&png).expect("a PNG").to_rgba8();
    let solid = |x: u32, y: u32, test: &dyn Fn(u8) -> bool| {
        let pixel = picture.get_pixel(x, y).0;
        pixel[3] > 200 && pixel[..3].iter().all(|value| test(*value))
    };
    let (mut ink, mut rimmed) = (0, 0);
    for y in 8..712 {
        for x in 8..1272 {
            if !solid(x, y, &|value| value < 60) {
                continue;
            }
            ink += 1;
            let near = (y - 6..=y + 6).flat_map(|y| (x - 6..=x + 6).map(move |x| (x, y)));
            let light = near.filter(|(x, y)| solid(*x, *y, &|value| value > 230));
            rimmed += u32::from(light.count() >= 6);
        }
    }
    assert!(ink > 3000, "{ink} pixels of dark ink");
    // Dark ink inside a marker or in a crossing of lines may be farther from a rim.
    assert!(
        f64::from(rimmed) > 0.97 * f64::from(ink),
        "{rimmed} of {ink}"
    );
    let svg = chart.svg().expect("in range");
    let rims = svg.matches("stroke-linejoin=\"round\"").count();
    let words = svg.matches("<path ").count();
    assert_eq!(2 * rims, words, "every word has its rim in the SVG");
}

/// A rim on each side would make the grid five times as heavy as it is on paper; a mid grey shows on dark and on bright.
#[test]
fn a_clear_grid_is_grey_and_has_no_rims() {
    let png = zoom(1280, 720, Theme::Clear).png().expect("in range");
    let picture = image::load_from_memory(&png).expect("a PNG").to_rgba8();
    let at = |x: u32, y: u32| picture.get_pixel(x, y).0;
    let (mut grey, mut alone) = (0, 0);
    for y in 8..712 {
        for x in 8..1272 {
            let pixel = at(x, y);
            // Contrast with white and with black is at least 3 for these (WCAG 2.2).
            if pixel[3] < 100
                || pixel[..3]
                    .iter()
                    .any(|value| !(0x60..=0x95).contains(value))
            {
                continue;
            }
            grey += 1;
            let across = at(x - 4, y)[3] == 0 && at(x + 4, y)[3] == 0;
            let along = at(x, y - 4)[3] == 0 && at(x, y + 4)[3] == 0;
            alone += u32::from(across || along);
        }
    }
    assert!(grey > 2000, "{grey} pixels of the grid");
    // The rest is beside letters and lines, and on the edges of both.
    assert!(
        f64::from(alone) > 0.7 * f64::from(grey),
        "{alone} of {grey}"
    );
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
        // Over a picture every word has a rim behind it.
        let layers = if theme == Theme::Clear { 2 } else { 1 };
        assert_eq!(svg.matches("<path ").count(), layers * words, "{theme:?}");
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
        (319, 400, "width"),
        (7681, 400, "width"),
        (720, 239, "height"),
        (720, 4321, "height"),
        (0, 0, "width"),
    ] {
        let chart = zoom(width, height, Theme::Light);
        let error = chart.png().expect_err("out of range").to_string();
        assert!(error.contains(side) && error.contains("px"), "{error}");
        assert!(chart.svg().is_err());
    }
}

/// Four names of lenses, each by its line: a reader of an article needs no key.
#[test]
fn four_lenses_are_named_beside_their_lines_in_an_article() {
    let names = [
        "Ostrel 28–135 mm f/4 Traveller at 50 mm",
        "Brackwell 70–200 mm f/4 at 70 mm",
        "Tindra Cine 85 mm T1.5",
        "Ostrel Macro 100 mm f/2.8",
    ];
    let mut chart = zoom(1200, 675, Theme::Page);
    chart.title = String::new();
    chart.series.truncate(4);
    for (line, name) in chart.series.iter_mut().zip(names) {
        name.clone_into(&mut line.label);
    }
    let svg = chart.svg().expect("in range");
    let plot = |name: &str| -> f64 {
        let (_, rest) = svg.split_once(&format!("data-{name}=\"")).expect("a plot");
        let value = rest.split('"').next().expect("its end");
        value.parse::<f64>().expect("a number") / 8.0
    };
    let right = plot("right");
    assert!(
        right - plot("left") > 0.55 * 1200.0,
        "the plot keeps its room"
    );
    for name in names {
        let words: Vec<&str> = name.split(' ').collect();
        let found = svg.split("<text ").skip(1).any(|text| {
            let (attributes, rest) = text.split_once('>').expect("a text");
            let (_, x) = attributes.split_once("x=\"").expect("a place");
            let x: f64 = x
                .split('"')
                .next()
                .and_then(|x| x.parse().ok())
                .expect("a number");
            rest.starts_with(&words[..2].join(" ")) && x / 8.0 > right
        });
        assert!(found, "{name}: {svg}");
    }
}

/// Distances can be read in feet too where the chart has the height for it, at round feet.
#[test]
fn distances_stand_in_feet_above_the_plot() {
    for (width, height) in [(860, 430), (360, 340), (1200, 675)] {
        let svg = zoom(width, height, Theme::Page).svg().expect("in range");
        for feet in ["3 ft", "5 ft"] {
            assert!(svg.contains(&format!(">{feet}</text>")), "{feet}: {svg}");
        }
        let mut travel = zoom(width, height, Theme::Page);
        travel.axis = Axis::Travel;
        assert!(!travel.svg().expect("in range").contains(" ft<"));
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
